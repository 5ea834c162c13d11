/* How many whole lines of each kind a record holds. The line that closes a record says so of all lines before it, in
 * `holds=KIND:COUNT,KIND:COUNT,...`, so that a reader can tell what is missing. */
#ifndef RECORD_TALLY_H
#define RECORD_TALLY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct line;
struct text;

enum { TALLY_KINDS_MAX = 24, TALLY_KIND_MAX = 24, TALLY_WORDS_MAX = 96 };

/* Starts zeroed. */
struct tally {
	struct {
		char kind[TALLY_KIND_MAX];
		uint64_t count;
	} kinds[TALLY_KINDS_MAX];
	size_t count;
	bool more; /* kinds beyond that many: nothing is said, and nothing compared */
};

void tally_add(struct tally *t, const char *kind);

/* Adds the field to the line being built. */
void tally_put(const struct tally *t, struct text *line);

/* Compares what this line says with what was read before it: true when it says nothing or the same. Else `words` tells
 * the largest difference, such as "10 of 36 lines of kind pass". */
bool tally_agrees(const struct tally *t, const struct line *closing, char words[TALLY_WORDS_MAX]);

#endif
