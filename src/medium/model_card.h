/* The card of a gadget model as the firmware sees it: a store, which may be smaller than it claims to be and may forget
 * what was written last when power goes. */
#ifndef MEDIUM_MODEL_CARD_H
#define MEDIUM_MODEL_CARD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "medium/model_spec.h"
#include "medium/model_store.h"

struct model_undo {
	uint64_t at;
	unsigned char *before; /* one block */
};

enum { MODEL_UNDO_MAX = 1024 }; /* volatile blocks remembered; older ones count as stored */

struct model_memory {
	const struct model_spec *spec;
	struct model_store store;
	struct model_undo *undo; /* oldest first */
	size_t undo_count;
	bool swapped; /* another card than at the start */
	uint64_t strays; /* writes that reached that one */
};

/* writable: with a temporary file behind it. 0, or -1 with *err. */
int model_memory_open(
	struct model_memory *c, const struct model_spec *spec, bool writable, struct error *err);
void model_memory_close(struct model_memory *c);

/* Whole blocks. 0 or a negative errno of the temporary file. */
int model_memory_put(struct model_memory *c, uint64_t at, const void *data, size_t len);
int model_memory_get(const struct model_memory *c, uint64_t at, void *data, size_t len);
/* One block that is gone again after a power cut. */
int model_memory_put_volatile(struct model_memory *c, uint64_t at, const void *data);
int model_memory_cut_power(struct model_memory *c);
/* Another card of the same size, with nothing on it. */
int model_memory_swap(struct model_memory *c);

#endif
