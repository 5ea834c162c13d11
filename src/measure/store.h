/* What of a write pass was stored, and how that is known. Once, before the first write pass, bursts show which evidence this
 * target gives (analysis/storing.h); then every write pass is timed in the way that this evidence asks for. */
#ifndef MEASURE_STORE_H
#define MEASURE_STORE_H

#include <stdbool.h>
#include <stdint.h>

#include "analysis/storing.h"
#include "measure/flusher.h"
#include "measure/pass.h"
#include "measure/probe.h"

struct store_plan {
	uint64_t region_start, region_bytes;
	uint64_t smallest_bytes, largest_bytes; /* requests of the passes to come */
	uint64_t pass_ns;
	uint64_t seed;
	struct phases *phases; /* NULL: nobody watches the bus */
};

/* What followed a burst, as the bus showed it: its flush, and the single reads after that. */
struct store_on_bus {
	struct command_sum flush, reads;
};

/* What was found, as plain figures. */
struct store_evidence {
	enum pass_stored_by by; /* what passes are told by; PASS_NOT_SHOWN: nothing tells */
	enum flusher_way flusher;
	bool reads_wait; /* reads wait for what is not stored */
	bool waits_for_idle; /* it stores when flushed, read or left alone, not by itself */
	bool by_place; /* it slowed down at some places and not at others: no buffer was seen full */
	/* What was looked at while one of these was so counts for nothing: */
	bool host_away; /* the host was stopped or too busy to look */
	bool foreign; /* the device served others */
	uint64_t device_errors; /* errors and timeouts that the kernel counted */
	uint64_t idle_flush_ns, usual_read_ns;
	uint64_t
		failed_reads; /* single reads, anywhere on the target, that failed and count for nothing */
	uint64_t request_bytes; /* of the bursts that decided, and of the longest: */
	uint64_t burst_bytes, burst_ns, burst_flush_ns, burst_wait_ns;
	struct store_on_bus on_bus; /* after that burst */
	uint64_t idle_flush_on_bus_ns; /* 0: not seen */
	struct command_sum usual_reads; /* on the bus, with nothing to store */
	bool held_up; /* it slowed down: then the next three, else 0 */
	/* buffer_bytes where neither held up nor shown: one write in so much waited for a second or more */
	double buffer_bytes, head_bps, drain_bps;
	uint64_t free_bytes; /* the most written in one go without (another) slowing down */
	/* Places written twice: where either time was clearly the longer one, what both took (medians); else ns 0. */
	uint64_t again_bytes, first_ns, again_ns;
	/* Single writes, each with a flush after it, of the smallest and the largest size; ns 0: not timed. */
	struct store_flushed {
		uint64_t request_bytes, ns;
	} flushed[2];
};

/* The largest share of a rate that a buffer of STORE_HIDES times free_bytes could hide. */
#define STORE_HIDES 0.1

/* A request that meets room in a buffer takes so long. */
struct store_free_time {
	uint64_t request_bytes, ns;
};

enum { STORE_FREE_MAX = 32 };

struct store {
	struct medium *medium;
	const struct store_plan *plan;
	struct pass_buffers *buffers;
	struct flusher flusher;
	struct probe probe;
	struct store_evidence evidence;
	struct storing_bursts bursts; /* of the size in hand */
	struct curve curve;
	uint64_t at; /* the next burst goes there */
	uint64_t written; /* bytes of bursts */
	uint64_t wait_ns; /* a burst's request that takes longer waited for room */
	uint64_t gaps_ns; /* between requests of bursts, all in all */
	uint64_t long_ns; /* of the last burst: see struct storing_times */
	struct store_on_bus on_bus, full_on_bus; /* of the last burst, and of bursts.full */
	bool flush_seen; /* idle flushes were, on the bus: then */
	double flush_host_s; /* how much more the host takes for one */
	uint64_t longest_bytes; /* of a burst that was written to see it full; 0: there was none */
	uint64_t period_ns; /* between long requests of the last burst; 0: none, or too rare */
	double seldom_bytes; /* between waits too long and too seldom for passes; 0: none seen */
	double fills_bytes; /* of two bursts that filled it together: it holds no more; 0: one did */
	double most_held_bytes; /* it holds, where that took both to see; else 0 */
	double period_bytes; /* the same in bytes, where a pass with the buffer full can be fair to them */
	bool in_starts; /* a full buffer is stored as a whole: single requests wait long */
	bool held; /* writes may be timed while the buffer is full */
	enum storing_by told_by;
	bool level; /* nothing ever held writes up */
	struct pass_failure failure; /* of a burst: the request that failed */
	struct store_free_time free_times[STORE_FREE_MAX];
	unsigned free_count;
};

/* 0, or a negative errno: no medium, or no memory. */
int store_init(struct store *s, struct medium *m, const struct store_plan *plan,
	struct pass_buffers *buffers);
void store_release(struct store *s);

/* Looks for evidence: how long reads take while nothing waits (so this comes before the first write of the run), then what
 * bursts of writes show. Up to STORE_LOOK_BYTES, and what the answers ask for. 0, 1 when the watch asked to stop, or a
 * negative errno with failure saying which request (a flush where failure.flush). */
int store_examine(struct store *s, const struct watch *watch);

/* The host was away for some of that: nothing tells. */
void store_host_was_away(struct store *s);

/* One write pass, from a target with nothing left to store to such a one again, or with its buffer full. As pass_run; fills
 * stored_by, stored_ns, settle_ns and lead_bytes too. */
int store_pass(struct store *s, const struct pass_plan *plan, struct pass_result *out,
	const struct watch *watch);

/* What store_examine writes at most. */
uint64_t store_most_bytes(const struct store_plan *plan);

#endif
