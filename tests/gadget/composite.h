/* The gadget in the kernel: configfs, FunctionFS, and the one controller it may be bound to, dummy_hcd's. */
#ifndef GADGET_COMPOSITE_H
#define GADGET_COMPOSITE_H

#include <stdbool.h>

#include "medium/model_spec.h"

struct error;

struct composite {
	char folder[64]; /* where FunctionFS is mounted */
	char controller[64];
	bool bound;
};

/* Makes it after what `device` says; not on the bus yet. speed: enum model_speed, which the emulated bus must have.
 * 0, or -1 with *err. */
int composite_make(
	struct composite *c, const struct model_device *device, int speed, struct error *err);
int composite_plug(struct composite *c, struct error *err);
int composite_unplug(struct composite *c, struct error *err);
void composite_remove(struct composite *c);

#endif
