/* What somebody may have meant: the word of a list that is nearest to a mistyped one. Low-level: calls nothing above. */
#ifndef BASE_SUGGEST_H
#define BASE_SUGGEST_H

#include <stddef.h>

/* Letters to insert, drop, replace, or swap with their neighbour to make b of a (optimal string alignment distance:
 * Damerau, "A technique for computer detection and correction of spelling errors", CACM 7 (1964) 171, in the restricted
 * form that edits no place twice). Words beyond SUGGEST_LONGEST bytes are infinitely far (SIZE_MAX). */
enum { SUGGEST_LONGEST = 40 };
size_t suggest_distance(const char *a, const char *b);

/* Keeps the nearest word of those tried. */
struct suggest {
	const char *word; /* mistyped */
	const char *nearest; /* NULL: none is near enough */
	size_t distance;
};

void suggest_begin(struct suggest *s, const char *word);
/* Near enough: at most two edits and fewer than half of its letters, or it begins with the word. */
void suggest_try(struct suggest *s, const char *candidate);

#endif
