/* What the gadgets say of themselves, set against what the runs are labelled: one firmware under two labels, two under
 * one, two gadgets. */
#ifndef FINDINGS_COMPARE_BUILDS_H
#define FINDINGS_COMPARE_BUILDS_H

#include <stddef.h>

struct compared;
struct pool;

enum build_doubt { BUILDS_ONE_FIRMWARE, BUILDS_MANY_FIRMWARES, BUILDS_ANOTHER_GADGET };

enum { BUILD_DOUBTS_MAX = 4 }; /* two firmwares on either side, one on both, two gadgets */

struct build_doubts {
	struct {
		enum build_doubt what;
		const char *sentence;
	} list[BUILD_DOUBTS_MAX];
	size_t count;
};

/* Once all runs were taken. Sentences lie in the pool. */
struct build_doubts compare_builds(struct pool *pool, const struct compared *c);

#endif
