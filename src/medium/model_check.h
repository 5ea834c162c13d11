/* What of a model must be given and what fits together. A setting that would have no effect is refused. */
#ifndef MEDIUM_MODEL_CHECK_H
#define MEDIUM_MODEL_CHECK_H

#include "medium/model_spec.h"

void model_spec_defaults(struct model_spec *s);

/* line_of: where a key stood, 0 when it was not given. 0, or -1 with *err. */
int model_spec_check(struct model_spec *s, const char *name,
	unsigned (*line_of)(const void *context, const char *section, const char *key),
	const void *context, struct error *err);

#endif
