/* Reads and writes that go wrong on order, each N-th of them: what firmware does that no model file says. */
#ifndef GADGET_SLIP_H
#define GADGET_SLIP_H

#include <stdbool.h>

#include "medium/model_bulk.h"

enum slip_kind {
	SLIP_NONE,
	SLIP_LOST, /* done, and its status never comes */
	SLIP_TAG, /* its status is for another command */
	SLIP_RESIDUE, /* done whole, and said to lack a block */
	SLIP_SHORT, /* half of it is done, with good status, and the residue says so */
	SLIP_HIDDEN, /* the same, and the residue says nothing is missing */
	SLIP_UNDONE, /* stuck in the middle of its data; the reset that ends it is acknowledged and not done */
};

struct slip {
	enum slip_kind kind;
	unsigned each, count;
};

/* "lost", "tag", ... or "none": 0, or -1 when there is no such word. */
int slip_parse(const char *word, enum slip_kind *kind);
/* Which way this command goes wrong, if any; counts it. */
enum slip_kind slip_next(struct slip *s, const uint8_t *cdb);
/* Before it is done: half of it is left out. */
void slip_shorten(enum slip_kind kind, uint8_t *cdb);
/* When it has been done: what is said of it. */
void slip_status(enum slip_kind kind, struct model_bulk_command *x);

#endif
