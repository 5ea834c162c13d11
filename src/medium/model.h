/* model:FILE as a target: a gadget described in a text file, run on a virtual clock. */
#ifndef MEDIUM_MODEL_H
#define MEDIUM_MODEL_H

#include <stdbool.h>

#include "medium/medium.h"

struct model_spec;

bool model_is_target(const char *target); /* "model:..." */

/* As medium_open. */
int model_open(
	struct medium **out, const char *target, enum medium_access access, struct error *err);
/* From a description that was checked already; it is copied. */
int model_open_spec(struct medium **out, const struct model_spec *spec, const char *path,
	enum medium_access access, struct error *err);

/* For tests: writes that reached the card which "card swapped at" put in. */
uint64_t model_strays(const struct medium *m);

#endif
