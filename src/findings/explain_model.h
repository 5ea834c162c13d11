/* A gadget model out of an explained sweep: the text of blkassay-model(5). */
#ifndef FINDINGS_EXPLAIN_MODEL_H
#define FINDINGS_EXPLAIN_MODEL_H

#include "findings/explain.h"

struct error;
struct text;

/* Each line with a comment on what it rests on; what the figures could not tell stands under `not known`, and in `unknown`
 * with commas between (cleared first). 0, or -1 with *err: no table to make it from, or out of memory. */
int explain_model_text(struct text *t, struct text *unknown, const struct run *run,
	const struct explanation *e, struct error *err);

#endif
