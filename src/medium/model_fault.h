/* What a gadget model does wrong with the data of a write, each fault by its own count of writes. */
#ifndef MEDIUM_MODEL_FAULT_H
#define MEDIUM_MODEL_FAULT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "medium/model_pace.h"
#include "medium/model_spec.h"

struct model_fault_counts {
	uint64_t writes; /* device commands */
	uint64_t long_writes; /* of more than one sector */
	uint64_t bytes;
};

struct model_harm { /* to one write command */
	bool lost, lost_at_cut, drops_last;
	uint64_t shift_bytes; /* stored this much further on */
	bool slips;
	uint64_t bytes_before; /* written before this command */
};

/* What happens to this command. */
struct model_harm model_fault_count(
	struct model_fault_counts *n, const struct model_spec *s, const struct model_command *c);
/* How many bytes behind a piece of its data are needed to make that piece. */
size_t model_fault_ahead(const struct model_spec *s, const struct model_harm *h);
/* [offset, offset+n) of the command's data as it will be stored, to `out`: spoiled where a fault says so. */
void model_fault_spoil(const struct model_spec *s, const struct model_harm *h,
	const unsigned char *data, size_t len, size_t offset, unsigned char *out, size_t n);

/* Does a write of this block fail? */
bool model_fault_is_bad(const struct model_spec *s, uint64_t at);
/* How much of [at, at+len) can be read before a block that fails. */
size_t model_fault_readable(const struct model_spec *s, uint64_t at, size_t len);

#endif
