/* A file that this program made, known by the descriptor that made it. A name is only a hint: in between, another file may
 * have been moved there. Low-level: nothing in here may call a higher layer. */
#ifndef BASE_OWN_FILE_H
#define BASE_OWN_FILE_H

enum own_name {
	OWN_NAME_SAME, /* the name, not followed when it is a link, is the file behind the descriptor */
	OWN_NAME_OTHER, /* it is something else, or cannot be looked at */
	OWN_NAME_GONE, /* there is nothing of this name */
};

/* fd: open. Compared by device and inode, which nobody else can have while fd is open. */
enum own_name own_file_name(int fd, const char *path);

/* Removes the name while it means this file. 0; 1 when it means another file or none, which is left as it is; or a
 * negative errno. Linux has no removal by descriptor: between look and deed there are some microseconds. */
int own_file_unlink(int fd, const char *path);

/* rename(from, to) while `from` means this file. 0, 1 or a negative errno as above. */
int own_file_rename(int fd, const char *from, const char *to);

#endif
