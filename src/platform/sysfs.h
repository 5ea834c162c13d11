/* Reading attributes of a sysfs tree, whose root can be moved for tests. Device text is hostile: it is cleaned here. */
#ifndef PLATFORM_SYSFS_H
#define PLATFORM_SYSFS_H

#include <limits.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SYSFS_PATH_MAX = PATH_MAX };

/* printf into a path; 0 or -ENAMETOOLONG. */
int sysfs_path(char out[SYSFS_PATH_MAX], const char *fmt, ...)
	__attribute__((format(printf, 2, 3)));

/* The bytes of DIR/NAME as they are, at most room; their number, or a negative errno. */
long sysfs_read_bytes(const char *dir, const char *name, void *out, size_t room);

/* The attribute as text: cut to room, cleaned. 0 or a negative errno (out is then ""). */
int sysfs_read_text(const char *dir, const char *name, char *out, size_t room);

/* The attribute as it is, less the newline at its end: for paths. 0 or a negative errno. */
int sysfs_read_line(const char *dir, const char *name, char *out, size_t room);

/* A whole decimal number. 0 or a negative errno (*out unchanged). */
int sysfs_read_number(const char *dir, const char *name, uint64_t *out);

/* Calls visit for each entry of DIR whose name does not begin with a dot; any answer but 0 ends the walk and is passed
 * on. A DIR that is not there is an error, or with may_lack one without entries. 0, or a negative errno, also when DIR
 * cannot be read to its end: a folder half read is never taken for all of it. */
int sysfs_each_entry(const char *dir, bool may_lack, int (*visit)(void *context, const char *name),
	void *context);

/* Does DIR belong to a partition? 1, 0 (it has no such attribute, or is none itself), or a negative errno. */
int sysfs_is_partition(const char *dir);

/* "8:16", as `dev` attributes and mountinfo have it. */
bool sysfs_parse_device_number(const char *text, unsigned *major, unsigned *minor);

/* The last component of what the link DIR/NAME points to. false when there is no such link. */
bool sysfs_read_link_name(const char *dir, const char *name, char *out, size_t room);

/* Cleans text in place: control characters are removed, what is not ASCII becomes '?', blanks at both ends go and
 * runs of blanks inside shrink to one. */
void sysfs_clean_text(char *text);

#endif
