/* The places of a quick look. */
#ifndef CLI_VERIFY_PLACES_H
#define CLI_VERIFY_PLACES_H

#include <stddef.h>
#include <stdint.h>

struct verify_plan;

/* Fills `offsets` with up to `room` places of p->sizes[0] bytes in the plan's region, ascending, none touching another;
 * the same for the same plan and room. Returns how many. With enough room they show any false capacity: see
 * analysis/wrap.h. */
size_t verify_places_choose(
	uint64_t *offsets, size_t room, const struct verify_plan *p, uint32_t align);

#endif
