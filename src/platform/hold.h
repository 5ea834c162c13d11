/* A target kept from others: an image file, or the file beneath a loop device, held for a whole run by the descriptor that was opened first: a name
 * can come to mean another file at any moment, and so can an inode number that nobody holds. Locked against other
 * programs, and asked again and again whether somebody came by a way that no lock closes. */
#ifndef PLATFORM_HOLD_H
#define PLATFORM_HOLD_H

#include <stdbool.h>

struct error;
struct hold; /* hold.c's own */
struct stat;

/* Opens the image at `path` for reading and locks it: alone when it is to be written, else together with other readers.
 * 0; 1 when there is no regular file of that name, *out then NULL; or -1 with *err (locked by another: ERROR_REFUSED). */
int hold_image(struct hold **out, const char *path, bool writing, struct error *err);

/* The same of a file this run has just made, by the descriptor that made it: it is the hold's from here on, unless this
 * fails. */
int hold_made(struct hold **out, int fd, const char *path, struct error *err);

/* Of a block device, the whole disk `disk` (kernel name) of node `node`: what opening it alone does not see to. That is
 * loop devices, on it or beside it, and the file beneath it when it is one itself, which is locked; one that cannot be
 * reached is refused when the device is to be written. */
int hold_device(
	struct hold **out, const char *disk, const char *node, bool writing, struct error *err);

/* Before the first writing, and after whatever else can be said about who uses the file: refuses a file that anybody has
 * open for writing, and locks the files beneath the filesystem it lies in, however many levels down, against being
 * written by themselves. */
int hold_for_writing(struct hold *h, struct error *err);

void hold_release(struct hold *h); /* NULL: nothing */

/* Opens the very file again with other flags of open(2). A descriptor, or a negative errno. */
int hold_reopen(const struct hold *h, int flags);

bool hold_is_image(const struct hold *h); /* false: of a block device */
int hold_stat(const struct hold *h, struct stat *st); /* 0 or a negative errno (ENOENT: no file) */
const char *hold_place(const struct hold *h); /* its full path when it was opened */

/* Does the loop device still lie on the file that is held? Always true of an image. */
bool hold_is_where_it_was(const struct hold *h);

enum hold_look {
	HOLD_DUE, /* a few nanoseconds, unless some milliseconds have passed since the last look */
	HOLD_NOW,
};

/* Of a hold for writing: has a loop device been put on the file or the disk, has somebody opened it for writing, has an image been
 * removed or got another length? Of one for reading: the length, with HOLD_NOW. 0, or -1 with *why, ever after: nothing
 * may be written any more. From any thread. */
int hold_check(struct hold *h, enum hold_look look, struct error *why);

/* Removes what this run made, while its path still means it. 0; 1: it means another file or none; a negative errno. */
int hold_unlink(const struct hold *h);

/* At the end: does the path of an image still lead to it? 0, or -1 with *err that says where it is. */
int hold_check_name(const struct hold *h, struct error *err);

#endif
