/* Single reads of fresh places, and whether they take their usual time: with a backlog to store, a target may let them
 * wait. */
#ifndef MEASURE_PROBE_H
#define MEASURE_PROBE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/random.h"
#include "base/watch.h"

struct medium;

enum { PROBE_IN_A_ROW = 3 }; /* reads that took their usual time: it has come to rest */

struct probe {
	struct medium *medium;
	void *buf;
	uint64_t unit; /* least transfer */
	struct permutation places; /* all over the target, none twice before all were read */
	uint64_t next;
	uint64_t failed, bytes; /* reads that did not come back whole, and what came */
	uint64_t usual_ns; /* median of the reads of probe_learn; 0: not known */
	uint64_t limit_ns; /* what is longer is not usual */
	uint64_t usual_high_ns, usual_low_ns; /* their range, less the two slowest */
	/* of the last wait: what reads took that did not end it, had nothing waited */
	uint64_t own_ns;
};

int probe_init(struct probe *p, struct medium *m, uint64_t seed); /* 0, -ENOMEDIUM, -ENOMEM */
void probe_release(struct probe *p);

/* How long reads take when nothing waits. Call before anything was written. 0, or a negative errno: the target is gone.
 * Reads that fail otherwise are left out; where too many do, usual_ns stays 0 and nothing settles. */
int probe_learn(struct probe *p);

/* Reads until three in a row take their usual time, or for two minutes. *wait_ns: from now to the end of the last that
 * did not, less its usual time; own_ns of it may be the reads' own, where storing takes turns with them. *settled: they do.
 * 0 or a negative errno. */
int probe_settle(struct probe *p, uint64_t *wait_ns, bool *settled, const struct watch *watch);

#endif
