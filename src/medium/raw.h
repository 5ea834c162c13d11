/* A block device or image file, opened with O_DIRECT. */
#ifndef MEDIUM_RAW_H
#define MEDIUM_RAW_H

#include "medium/medium.h"

/* Alignment comes from the kernel: BLKSSZGET, BLKPBSZGET, statx STATX_DIOALIGN. A filesystem without O_DIRECT is an
 * error, never a buffered run. After opening, the file must still be the one that was examined. */
int raw_open(struct medium **out, const char *path, enum medium_access access, struct error *err);

/* As medium_open_held says. An image that nobody holds yet is held by raw_open, until it is closed. */
int raw_open_held(struct medium **out, struct hold *hold, const char *path,
	enum medium_access access, struct error *err);

#endif
