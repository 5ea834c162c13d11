/* Keeping other programs off a file, and finding out whether one is at it already. */
#ifndef PLATFORM_FILE_LOCK_H
#define PLATFORM_FILE_LOCK_H

#include <stdbool.h>

/* Locks the whole file for as long as the open description behind fd lives: an open file description lock
 * (F_OFD_SETLK, fcntl(2)) and flock(2), because neither is seen by who takes the other. Exclusive wants a descriptor open
 * for writing; with another, the open file description lock is only looked for. 0, or -EAGAIN: another has locked it.
 * A filesystem without locks is taken as it is: 0. */
int file_lock(int fd, bool exclusive);
/* The first of the two alone. */
int file_lock_description(int fd, bool exclusive);

/* Has anybody the file open for writing, this program included? By asking for a read lease, which the kernel grants only
 * when not (F_SETLEASE, fcntl(2)), and giving it back. fd: open for reading only. 1, 0, or a negative errno where that
 * cannot be asked: another's file, a filesystem without leases. */
int file_is_written(int fd);

#endif
