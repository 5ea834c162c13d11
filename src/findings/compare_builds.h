/* What the gadgets say of themselves, set against what the runs are labelled: one firmware under two labels, two under
 * one, one label on both sides, two gadgets. */
#ifndef FINDINGS_COMPARE_BUILDS_H
#define FINDINGS_COMPARE_BUILDS_H

#include <stddef.h>

struct compared;
struct pool;

enum build_doubt {
	BUILDS_ONE_FIRMWARE,
	BUILDS_MANY_FIRMWARES,
	BUILDS_MIXED_LABELS,
	BUILDS_ANOTHER_GADGET
};

/* two firmwares on either side, one on both, a label on both, two gadgets */
enum { BUILD_DOUBTS_MAX = 5 };

struct build_doubts {
	struct {
		enum build_doubt what;
		const char *sentence;
		const char *
			holds; /* why no gate may pass on it, a clause with its full stop; NULL: it may */
	} list[BUILD_DOUBTS_MAX];
	size_t count;
};

/* Once all points are judged. Sentences lie in the pool. */
struct build_doubts compare_builds(struct pool *pool, const struct compared *c);

/* The first that holds a gate; NULL: none does. */
const char *compare_builds_hold(const struct build_doubts *d);

#endif
