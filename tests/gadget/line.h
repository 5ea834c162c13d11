/* The line of a modelled gadget on the bus: its waits are slept out, its data moves in pieces. */
#ifndef GADGET_LINE_H
#define GADGET_LINE_H

#include "gadget/bus.h"
#include "medium/model_line.h"

enum { LINE_SPARE_BYTES = 128 * 1024 };

struct line {
	struct model_line base; /* what the model knows */
	struct bus *bus;
	struct truth *note;
	unsigned char *
		data; /* of the command; room for LINE_SPARE_BYTES at least, and a packet more than it moves */
	bool in;
	size_t total; /* bytes the model will have carried, when that is known: a read's or write's */
	size_t piece; /* bytes moved at once */
	size_t upto; /* what the model has had carried */
	size_t stop_at; /* no data passes behind this byte, nor anything else before a reset; 0: it goes on */
	double shift; /* added to the model's times so far */
};

void line_begin(struct line *l, struct bus *b, struct truth *note,
	const struct model_bulk_command *x, size_t total, const struct model_link *link);
/* What nothing but a reset ends, or t of clock_ns; whoever gives orders is heard. 0 or -ECANCELED. */
int line_hang(struct bus *b, double t);
/* Returns at t of the model's times: 0 or -ECANCELED. */
int line_wait(struct line *l, double t);
/* Moves the command's data up to `upto` now, where the model has not had it carried: an answer, or data that nobody wants,
 * which is thrown away. */
int line_finish(struct line *l, size_t upto);

#endif
