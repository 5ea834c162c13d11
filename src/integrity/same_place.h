/* One storage or two? A block that reads as one that belongs elsewhere may lie in the same storage as that one, because
 * addresses fold there; or a copy of it was written there once. Only a write tells: what is written to one place shows in
 * the other, or it does not. */
#ifndef INTEGRITY_SAME_PLACE_H
#define INTEGRITY_SAME_PLACE_H

#include <stdint.h>

#include "integrity/judge.h"

struct damage;
struct medium;

struct same_place {
	uint64_t tried; /* places that still read as others, and were written anew */
	uint64_t same; /* which changed the other place with them */
	uint64_t apart; /* which did not: both then read right */
};

/* A few of the misplaced blocks in the list are written as they must be, and then as they were found. generation: what was
 * written last, everywhere. Reads and writes that fail end it: they tell nothing. */
void same_place_look(struct same_place *out, struct medium *m, struct judge *j,
	const struct damage *d, uint32_t generation);

#endif
