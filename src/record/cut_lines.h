/* What a cut and its recheck came to, as plain structs, and their lines in the journal. */
#ifndef RECORD_CUT_LINES_H
#define RECORD_CUT_LINES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "record/flush_pairs.h"

struct error;
struct line;
struct record_writer;

enum cut_ending {
	CUT_GONE, /* the target stopped answering: the cut took place */
	CUT_TIME_UP, /* it still answers; power may be cut now */
	CUT_INTERRUPTED,
	CUT_REMAINS, /* the command that cuts has ended and the target still answers */
	CUT_FAILED, /* a request failed and the target still answers */
};

struct cut_summary {
	enum cut_ending ending;
	bool ready; /* the baseline was written and flushed */
	bool pulled; /* the trigger was started */
	uint64_t writes, bytes, flushes, throughs; /* that returned, after the baseline */
	uint64_t ns; /* from the end of the baseline to the end */
	/* errors and resets by the kernel's count, as long as the target answered; of one that is gone, up to the batch before */
	uint64_t device_errors;
	uint64_t writes_at_risk, bytes_at_risk; /* acknowledged since the last flush */
	struct {
		const char *what; /* "write", "flush", "read" ; NULL: nothing failed */
		int code; /* positive errno; 0: a short transfer */
		uint64_t at, wanted, got;
	} failure;
};

const char *cut_ending_name(enum cut_ending e); /* the journal's word */

/* ---- recheck ---- */

/* Why a block must be what it is. */
enum recheck_duty {
	RECHECK_FLUSHED, /* promised by a flush or a write-through */
	RECHECK_ACKNOWLEDGED, /* promised by an answer: the target claims no write cache */
	RECHECK_IN_FLIGHT, /* written since, not promised: old or new */
	RECHECK_UNTOUCHED, /* never written after the baseline */
	RECHECK_DUTIES,
};

const char *recheck_duty_name(enum recheck_duty d);

enum { RECHECK_KINDS_MAX = 16, RECHECK_DAMAGES_MAX = 1000 };

struct recheck_damage { /* neighbouring blocks with the same finding; line "damage" */
	uint64_t at, bytes;
	enum recheck_duty duty;
	char kind[16]; /* lost, torn, blank, bit-error, ... */
	char detail[96];
	uint32_t expected, found; /* generations; found 0: none */
	bool aged; /* the two below are known */
	uint64_t ns_before,
		bytes_before; /* when the promised write was acknowledged, before the cut */
};

struct recheck_result { /* line "recheck" */
	uint32_t cycle;
	uint64_t seed;
	uint32_t block_bytes;
	bool acknowledged_counts; /* the target claims no write cache */
	uint64_t blocks[RECHECK_DUTIES], broken[RECHECK_DUTIES]; /* by duty */
	uint64_t in_flight_old, in_flight_new; /* blocks */
	uint64_t forgotten; /* in-flight blocks whose newest acknowledged write is gone: allowed */
	bool order_kept; /* among acknowledged, unpromised writes none survived a lost earlier one */
	uint64_t promises, promises_broken; /* writes with at least one block left to tell */
	/* blocks that answers alone had promised, whatever was on its way over them, and that are left to tell */
	uint64_t unflushed;
	bool unflushed_known; /* since records have it */
	/* blocks that a write with FUA alone had promised, as no flush came after it, and that are left to tell */
	uint64_t through_alone;
	bool through_alone_known; /* since records have it */
	struct {
		char name[16];
		uint64_t blocks;
	} kinds[RECHECK_KINDS_MAX]; /* of broken blocks */
	uint32_t kind_count;
	bool ages_known;
	uint64_t ns_before_min, ns_before_max, bytes_before_min, bytes_before_max;
	bool complete; /* every block was read */
	/* As far as the host can tell nothing was cut: the target answered to the end and was never unplugged. */
	bool uncut;
	/* as far as the host can tell the cut came after writing had ended, at a moment that nobody knows: the target may have
	 * had all the time it needs */
	bool late, late_known;
	bool unended; /* the journal has no "stop": promises may be missing at its end */
	/* blocks with a later write of this seed than the journal announced: its end is missing */
	uint64_t beyond;
	struct recheck_damage *damages; /* the first RECHECK_DAMAGES_MAX ranges */
	size_t damage_count;
	uint64_t damages_more; /* ranges beyond those */
	/* of the journal's own lines, not of this one */
	struct flush_pairs flushes;
	uint64_t
		throughs; /* writes with FUA that returned; 0 where the kernel makes them of a write and a flush */
	bool through_last; /* one of them was the last thing that returned */
};

enum recheck_conclusion { RECHECK_KEPT, RECHECK_BROKEN, RECHECK_NOT_SHOWN };

/* No promise was made; or each answer is one, and none is left to tell that no flush had covered as well: such a flush stored
 * it, whatever the answer is worth. */
bool recheck_tests_nothing(const struct recheck_result *r);

/* Not shown: nothing is broken, but no promise was tested either: none was made, nothing was cut, or too late. */
enum recheck_conclusion recheck_conclude(const struct recheck_result *r);

uint64_t recheck_broken(const struct recheck_result *r); /* blocks, all duties */
void recheck_result_release(struct recheck_result *r);

struct line_kind;
extern const struct line_kind kind_recheck, kind_damage;

/* Both kinds of lines; synced when the record is closed. */
int recheck_write(struct record_writer *w, const struct recheck_result *r, struct error *err);

/* Each takes a line of its kind; what a line lacks is 0. Names come as they are in the record: clean them before they are shown.
 * A duty that this version does not know: false. */
void recheck_take(struct recheck_result *out, const struct line *recheck);
bool recheck_take_damage(struct recheck_damage *out, const struct line *damage);

#endif
