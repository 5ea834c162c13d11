/* Where a modelled command meets the world. On a virtual clock there is no such place (NULL): nothing waits. On a real bus
 * (tests/gadget) the command's data moves here and its time is slept out. */
#ifndef MEDIUM_MODEL_LINE_H
#define MEDIUM_MODEL_LINE_H

#include <stddef.h>

/* Both calls return 0, or a negative errno when the command is given up: plug or power gone, reset. Times are ns of the
 * gadget's clock. */
struct model_line {
	int (*wait)(struct model_line *line, double t); /* returns at t */
	/* Returns when the first `upto` bytes of the command's data have passed, the last of which the link carries from
	 * start to end. To be exact at the end of the data is enough. */
	int (*carry)(struct model_line *line, size_t upto, double start, double end);
	size_t carried; /* bytes that have passed */
	double given_up; /* when a call failed */
};

static inline int model_line_wait(struct model_line *line, double t)
{
	return line ? line->wait(line, t) : 0;
}

static inline int model_line_carry(struct model_line *line, size_t upto, double start, double end)
{
	return line ? line->carry(line, upto, start, end) : 0;
}

#endif
