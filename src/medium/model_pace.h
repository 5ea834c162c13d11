/* How long each stage of a gadget model takes: link, firmware, card. No data, no clock of its own.
 * Points in time and durations are doubles in ns. */
#ifndef MEDIUM_MODEL_PACE_H
#define MEDIUM_MODEL_PACE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/random.h"
#include "medium/model_line.h"
#include "medium/model_spec.h"

/* One device command that moves data. */
struct model_command {
	bool write, fua;
	uint64_t at;
	size_t len;
	size_t ahead; /* a piece is whole only with this much of what follows it: data that slips */
};

struct model_pace {
	const struct model_spec *spec;
	struct random random;
	double link_factor, card_factor; /* jitter of the command at hand */
	uint64_t written_bytes; /* on the card, for the stalls */
	double data_end; /* when the last of the command's data had passed the link; 0: none has */
};

void model_pace_init(struct model_pace *p, const struct model_spec *spec);
void model_pace_draw(struct model_pace *p); /* a new command: new jitter */

/* From `t`: when the command has arrived; when its status has gone out. */
double model_pace_link_begin(const struct model_pace *p, double t);
double model_pace_link_end(const struct model_pace *p, double t);
/* When a data phase that is ready at t begins. */
double model_pace_link_data_start(const struct model_pace *p, double t);
/* How long the first `bytes` of a data phase take. */
double model_pace_link_data(const struct model_pace *p, uint64_t bytes);

/* How long the card takes for [offset, offset+len) of the command; counts writes for the stalls. */
double model_pace_card(
	struct model_pace *p, const struct model_command *c, size_t offset, size_t len);

/* A data command through link and card, one stage after the other or overlapped in chunks with two buffers:
 * from its arrival (link_begin), *t, to the end of its last stage, *t afterwards. 0, or what `line` (NULL: virtual) gave up
 * with; then *t is when it would have ended. */
int model_pace_through(
	struct model_pace *p, const struct model_command *c, double *t, struct model_line *line);
/* When the card begins with it, at the earliest. */
double model_pace_card_start(const struct model_pace *p, const struct model_command *c, double t);
/* How much of [0, len) must have passed before [0, end) can be used. */
size_t model_pace_upto(const struct model_command *c, size_t end);

#endif
