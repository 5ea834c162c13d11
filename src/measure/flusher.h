/* How a run has its target store what it wrote. The kernel's flush reaches a target that the kernel takes for write back,
 * and an image. To a disk it takes for write through it sends nothing (Linux Documentation/block/
 * writeback_cache_control), so there this sends SYNCHRONIZE CACHE itself. A target that refuses that, or does not answer,
 * is not asked again. */
#ifndef MEASURE_FLUSHER_H
#define MEASURE_FLUSHER_H

#include <stdbool.h>

struct medium;

enum flusher_way {
	FLUSHER_KERNEL,
	FLUSHER_COMMAND, /* SYNCHRONIZE CACHE of our own */
	FLUSHER_REFUSED, /* it does not know that command */
	FLUSHER_SILENT, /* it did not answer within its time: the kernel has reset it */
	FLUSHER_NONE, /* write through, and no way to send a command */
};

struct flusher {
	struct medium *medium;
	enum flusher_way way;
	bool fell_silent; /* in the last call */
};

void flusher_init(struct flusher *f, struct medium *m);

/* Is there a flush that reaches the target? */
static inline bool flusher_works(const struct flusher *f)
{
	return f->way == FLUSHER_KERNEL || f->way == FLUSHER_COMMAND;
}

/* Returns when the target says so. 0 also where there is no way to flush, any more; -EIO when it says that storing failed,
 * -ENOMEDIUM when its medium is gone or is another one, or what the kernel says. */
int flusher_flush(struct flusher *f);

#endif
