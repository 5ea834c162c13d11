/* A look at chunks of a target beside what was saved of them: what each block holds now. For kept*.c alone. */
#ifndef INTEGRITY_KEPT_LOOK_H
#define INTEGRITY_KEPT_LOOK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "integrity/kept_file.h"
#include "integrity/own.h"

enum { KEPT_CHUNK_BLOCKS = KEPT_CHUNK_BYTES / 512 };

struct kept_looking {
	const struct kept *k;
	struct medium *m;
	struct own own;
	bool any_run; /* the file names no run: test data of any is its own */
	enum kept_over over;
	uint32_t block; /* bytes, logical */
	size_t unit; /* of reads */
	unsigned char *saved, *there; /* KEPT_CHUNK_BYTES each */
	bool unreadable[KEPT_CHUNK_BLOCKS]; /* by block of the chunk */
	unsigned char found[KEPT_CHUNK_BLOCKS]; /* enum kept_there */
};

/* False: no memory. Release it either way. */
bool kept_looking_init(
	struct kept_looking *l, const struct kept *k, struct medium *m, enum kept_over over);
void kept_looking_release(struct kept_looking *l);

/* Reads the stretch c of the target and judges its blocks into l->found, with what was saved of it in l->saved. *changed: how
 * many of them are. 0 or a negative errno. */
int kept_looking_at(struct kept_looking *l, const struct kept_chunk *c, uint64_t *changed);

/* Adds what was found. */
void kept_look_add(struct kept_look *out, const struct kept_looking *l, const struct kept_chunk *c);

#endif
