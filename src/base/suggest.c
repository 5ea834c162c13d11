/* What somebody may have meant. */
#include "base/suggest.h"

#include <stdint.h>
#include <string.h>

enum { EDITS_MAX = 2 };

static size_t least(size_t a, size_t b, size_t c)
{
	size_t ab = a < b ? a : b;

	return ab < c ? ab : c;
}

size_t suggest_distance(const char *a, const char *b)
{
	/* edits[i][k]: from the first i letters of a to the first k of b */
	size_t edits[SUGGEST_LONGEST + 1][SUGGEST_LONGEST + 1];
	size_t n = strlen(a), m = strlen(b);

	if (n > SUGGEST_LONGEST || m > SUGGEST_LONGEST)
		return SIZE_MAX;
	for (size_t i = 0; i <= n; i++)
		edits[i][0] = i;
	for (size_t k = 0; k <= m; k++)
		edits[0][k] = k;
	for (size_t i = 1; i <= n; i++)
		for (size_t k = 1; k <= m; k++) {
			size_t replaced = edits[i - 1][k - 1] + (a[i - 1] != b[k - 1]);

			edits[i][k] = least(edits[i - 1][k] + 1, edits[i][k - 1] + 1, replaced);
			if (i > 1 && k > 1 && a[i - 1] == b[k - 2] && a[i - 2] == b[k - 1])
				edits[i][k] =
					least(edits[i][k], edits[i - 2][k - 2] + 1, edits[i][k]);
		}
	return edits[n][m];
}

void suggest_begin(struct suggest *s, const char *word)
{
	*s = (struct suggest){ .word = word, .distance = SIZE_MAX };
}

static size_t distance_of(const char *word, const char *candidate)
{
	size_t n = strlen(word), edits = suggest_distance(word, candidate);

	if (edits <= EDITS_MAX && edits * 2 < strlen(candidate))
		return edits;
	/* What was only begun is a worse guess than what was mistyped. */
	return n >= 2 && !strncmp(word, candidate, n) ? EDITS_MAX + 1 : SIZE_MAX;
}

void suggest_try(struct suggest *s, const char *candidate)
{
	size_t distance = distance_of(s->word, candidate);

	if (distance < s->distance) {
		s->distance = distance;
		s->nearest = candidate;
	}
}
