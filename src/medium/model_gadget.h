/* A modelled gadget at work: one device command at a time, on its own virtual clock, or on a real bus by its line. */
#ifndef MEDIUM_MODEL_GADGET_H
#define MEDIUM_MODEL_GADGET_H

#include "medium/model_card.h"
#include "medium/model_fault.h"
#include "medium/model_pace.h"
#include "medium/model_pending.h"

struct model_gadget {
	struct model_spec spec;
	struct model_pace pace;
	struct model_pending pending;
	struct model_memory memory;
	struct model_fault_counts fault_counts;
	unsigned char *scratch; /* one command's data */
	struct model_line *line; /* NULL: a virtual clock */
	double now_ns; /* of the host; whole ns */
	double busy_until_ns; /* the device serves one command at a time */
	double sent_ns,
		taken_ns; /* the last command: when the host offered it, and when it was taken */
	bool background_failed; /* a background write failed and nobody was told yet */
	uint64_t background_failed_at;
	bool ejected, removal_prevented, attention; /* attention: a medium came in */
	bool was_reset; /* unit attention 29/00 waits */
	bool unplugged;
	uint64_t commands; /* that came so far */
	uint64_t sequence; /* as the host counts what it knows to be another disk or medium */
};

/* spec is copied. 0, or -1 with *err. */
int model_gadget_init(
	struct model_gadget *g, const struct model_spec *spec, bool writable, struct error *err);
void model_gadget_release(struct model_gadget *g);

/* A command comes: whatever was to happen just before it happens. 0, -ENODEV once it is unplugged, or another negative
 * errno. */
int model_gadget_arrive(struct model_gadget *g);

/* Stores what the card has taken by now. */
int model_gadget_settle(struct model_gadget *g);

/* One command: at and len whole blocks inside the capacity, len <= the request limit. 0, -EIO or, of a read, -ENODATA (the
 * device says medium error, after the blocks before the bad one) or another negative errno (the temporary file failed, or the line gave up).
 * With a line, a write's `buf` fills as the line carries it. */
int model_gadget_read(struct model_gadget *g, uint64_t at, void *buf, size_t len);
int model_gadget_write(struct model_gadget *g, uint64_t at, const void *buf, size_t len, bool fua);
/* SYNCHRONIZE CACHE. -EIO when the model reports a failed background write here. */
int model_gadget_synchronize(struct model_gadget *g);
/* A command without data. */
int model_gadget_nothing(struct model_gadget *g);
/* START STOP UNIT with eject: the buffer is emptied first, unless a fault forgets that. */
int model_gadget_eject(struct model_gadget *g);
/* Unplugs at once and comes back; without power the buffer is lost. */
int model_gadget_replug(struct model_gadget *g, bool power_lost);

#endif
