/* Whether a medium is still the one that was opened: asked at every request, remembered for good. For medium/ only;
 * others use medium_check, medium_lost, medium_explain and their like. */
#ifndef MEDIUM_IDENTITY_H
#define MEDIUM_IDENTITY_H

#include <stdatomic.h>

#include "medium/medium.h"

struct scsi_exchange;

enum identity_stage {
	IDENTITY_HELD, /* it may not change */
	IDENTITY_EXPECTING, /* the run itself makes it change; it has not yet */
	IDENTITY_LEFT, /* it has: nothing is read or written before it is confirmed */
};

/* A wrapper has no identity of its own. */
static inline struct medium *identity_owner(const struct medium *m)
{
	while (m->inner)
		m = m->inner;
	return (struct medium *)(uintptr_t)m;
}

/* The errno it was lost with, 0 while it is not. */
static inline int identity_lost(const struct medium *wrapped)
{
	const struct medium *m = identity_owner(wrapped);

	return atomic_load_explicit(&m->identity.lost, memory_order_acquire);
}

/* The sentences for a `check` of medium_ops, and the errno with each. how: what showed it; rc: ENODEV or ENOMEDIUM, negative. */
int identity_changed(const struct medium *m, struct error *why, const char *how); /* -ESTALE */
int identity_gone(const struct medium *m, struct error *why, int rc, const char *how);

/* Not there, or another: lost for good; by _leave only when the run itself does not make it leave. The errno to answer with. */
int identity_lose(struct medium *m, int rc, const struct error *why);
int identity_leave(struct medium *m, int rc, const struct error *why);

/* The device was reset, or said that a medium came before this run held it: tell-tales are read back before it goes on. */
static inline void identity_doubt(struct medium *m)
{
	atomic_store(&m->identity.doubted, true);
}

/* Before a request: 0 when it may go out, or a negative errno. */
int identity_admit_read(struct medium *m);
int identity_admit_write(struct medium *m);
int identity_admit_flush(struct medium *m);
int identity_admit_scsi(struct medium *m, const struct scsi_exchange *x);

/* After one: what was written, and what a device said of itself. 0, or a negative errno when that tells that the medium
 * is lost. */
void identity_wrote(struct medium *m, uint64_t at, const void *bytes, size_t length);
int identity_heed(struct medium *m, const struct scsi_exchange *x);

/* Around a flush. */
void identity_flush_begins(struct medium *m);
void identity_flushed(struct medium *m);

#endif
