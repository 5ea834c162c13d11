/* Getting bytes of our own files to the disk for good. */
#ifndef BASE_DURABLE_H
#define BASE_DURABLE_H

#include <stdbool.h>
#include <stddef.h>

/* An errno of a call that may simply be made again: EINTR, EAGAIN. */
bool durable_is_passing(int sys_errno);

/* Writes everything at the descriptor's place; a call that a signal ended, or that found no room in a queue, is made
 * again, though not for ever. 0, or a negative errno with some of it written. */
int durable_write_all(int fd, const void *bytes, size_t length);

/* A new, renamed or removed file is only certain once its folder is synced: syncs the folder that `path` lies in. 0, also
 * where the filesystem offers no such sync (EINVAL: fsync(2)); or a negative errno. */
int durable_sync_folder_of(const char *path);

#endif
