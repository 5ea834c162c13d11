/* Which models an emulated bus can carry in real time. */
#ifndef GADGET_LIMITS_H
#define GADGET_LIMITS_H

#include "medium/model_spec.h"

struct error;

enum {
	LIMITS_REQUEST_BYTES = 120 * 1024
}; /* usb-storage's limit up to high speed: Linux drivers/usb/storage */

/* 0, or -1 with *err, which names `path` and says why not. */
int limits_check(const struct model_spec *s, const char *path, struct error *err);
/* What of the model the host decides on a real bus is left to it. */
void limits_adapt(struct model_spec *s);

#endif
