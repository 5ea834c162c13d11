/* Whether a loop device has been put on a file: asked again and again, so made cheap. */
#ifndef PLATFORM_LOOP_WATCH_H
#define PLATFORM_LOOP_WATCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct stat;

struct loop_seen {
	char name[32];
	uint64_t sequence; /* disk sequence when it was last asked what it lies on */
};

struct loop_watch {
	int uevents; /* /sys/kernel/uevent_seqnum; -1: not to be had */
	uint64_t counted; /* that number at the last look */
	uint64_t looked_ns;
	struct loop_seen *seen; /* loop devices known to lie elsewhere */
	size_t count, room;
};

/* Where a loop device would be on top of what is watched over: it lies on a file, or on a disk or one of its partitions. */
struct loop_watched {
	const struct stat *file; /* NULL: none */
	const char *disk; /* kernel name; NULL: none */
};

void loop_watch_init(struct loop_watch *w);
void loop_watch_release(struct loop_watch *w);

/* Is there something to look at? Setting up a loop device sends a uevent, and all of these are counted; without a
 * change a look is due every quarter of a second all the same, should a kernel not send one. About 1 us. */
bool loop_watch_is_due(struct loop_watch *w);

/* Asks the loop devices that are new, or changed, since the last look. 1: `name` lies on the file or the disk; 0: none does, but for
 * the disk itself; or a negative errno when that could not be found out. One watch is for one file or disk. */
int loop_watch_look(struct loop_watch *w, const struct loop_watched *under, char name[64]);

#endif
