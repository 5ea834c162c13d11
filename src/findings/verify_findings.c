/* What a verify found, in sentences. */
#include <inttypes.h>
#include <string.h>

#include "analysis/interval.h"
#include "base/advice.h"
#include "base/number.h"
#include "base/shell.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/numbers.h"
#include "findings/run_findings.h"
#include "findings/verify_view.h"

enum { LARGEST_REQUEST = 4 << 20 };
static const double confidence = 0.95;

enum {
	CLEAN,
	DAMAGED,
	CAPACITY,
	NOT_WRITTEN,
	OTHER_RUN,
	FAILED,
	STOPPED,
	WRITTEN,
	NOTHING,
	GO_ON,
	READ_LATER,
	BOUND,
	UNDER_POWER,
	ALL_SEEN,
	MAY_HIDE,
	REPEATS,
	READS_REPEAT,
	SOME_REPEAT,
	COPIES,
	CUT_ADDRESSES,
	ENDS,
	LAST_BLOCK,
	REQUEST_END,
	REQUEST_START,
	WHOLE_REQUESTS,
	CAUSE,
	ONE_DISTANCE,
	ONE_SLIP,
	ONE_BIT,
	ONE_LINE,
	ONE_BYTE,
	EARLIER_RUN,
	EXTENT,
	PERIOD,
	ALIGNED,
	UNLISTED,
	WRITES_FAILED,
	READS_FAILED,
	FLUSH_FAILED,
	DEVICE_ERRORS,
};

#define JUDGED "judged_blocks distinct_blocks block_bytes"
#define FAILURES "requests first_offset_bytes error retried_blocks failed_blocks"

const struct finding_code verify_codes[] = {
	[CLEAN] = { "clean", FINDING_PLAIN, true,
		"all that was asked for was judged, and every block holds what was written",
		JUDGED },
	[DAMAGED] = { "damaged", FINDING_CAUTION, true, "blocks do not hold what was written",
		"damaged_blocks " JUDGED },
	[CAPACITY] = { "capacity-wrong", FINDING_CAUTION, true,
		"addresses repeat, or all that lies beyond some byte lands on one place: less can "
		"be stored than the target states",
		"capacity_bytes stated_bytes" },
	[NOT_WRITTEN] = { "not-written", FINDING_CAUTION, true,
		"not one block that was read bears a stamp, so nobody has shown that anything was "
		"written: not shown",
		JUDGED },
	[OTHER_RUN] = { "other-run", FINDING_CAUTION, true,
		"nothing bears the stamp of this seed, and some of it that of another: not shown",
		"other_run_blocks other_seed " JUDGED },
	[FAILED] = { "requests-failed", FINDING_CAUTION, true,
		"no block that was judged is damaged, but requests failed", JUDGED },
	[STOPPED] = { "stopped", FINDING_CAUTION, true,
		"the run ended early; of what it did not judge nothing is known",
		"requests_failed " JUDGED },
	[WRITTEN] = { "written", FINDING_PLAIN, true, "all was written, and nothing judged yet",
		"written_bytes" },
	[NOTHING] = { "nothing", FINDING_CAUTION, true, "the record ends before anything was done",
		NULL },
	[GO_ON] = { "go-on", FINDING_PLAIN, false, "the run can be resumed where it ended",
		"command" },
	[READ_LATER] = { "read-later", FINDING_PLAIN, false, "how to judge what was written",
		"seed command" },
	[BOUND] = { "bound", FINDING_PLAIN, false,
		"without damage found: the most that there can be, as far as damage falls on "
		"blocks at random",
		"damaged_share_at_most confidence_share" },
	[UNDER_POWER] = { "read-under-power", FINDING_PLAIN, false,
		"without damage found, in a run that wrote and read: what was written last may "
		"have come from the gadget's memory",
		NULL },
	[ALL_SEEN] = { "no-false-capacity", FINDING_PLAIN, false,
		"places of --spot would have shown any false capacity", "region_bytes" },
	[MAY_HIDE] = { "capacity-not-shown", FINDING_PLAIN, false,
		"places of --spot would have shown only some false capacities", "seen_share" },
	[REPEATS] = { "addresses-repeat", FINDING_CAUTION, false,
		"two places reach the same storage; the capacity is their distance or a whole "
		"fraction of it",
		"repeat_bytes" },
	[READS_REPEAT] = { "reads-repeat", FINDING_CAUTION, false,
		"reads from some byte on give what lies before, which nothing has overwritten",
		"repeat_bytes" },
	[SOME_REPEAT] = { "repeats-undecided", FINDING_CAUTION, false,
		"addresses repeat, and too few requests were damaged to tell whether storage ends "
		"there or only reads go astray",
		"repeat_bytes" },
	[COPIES] = { "copies", FINDING_CAUTION, false,
		"misplaced blocks that hold copies of what lies, right, elsewhere: written anew, "
		"they left the other place alone, so that the capacity is not what is wrong",
		"places_tried places_apart" },
	[CUT_ADDRESSES] = { "power-of-two", FINDING_PLAIN, false,
		"the capacity shown is a power of two of blocks, as when addresses are cut to so "
		"many bits",
		"address_bits" },
	[ENDS] = { "storage-ends", FINDING_CAUTION, false,
		"nothing from some byte on was kept, and everything before it",
		"kept_up_to_bytes lost_from_bytes" },
	[LAST_BLOCK] = { "last-block", FINDING_CAUTION, false,
		"only the very last block is lost, as when a capacity is one block too large",
		NULL },
	[REQUEST_END] = { "request-end", FINDING_CAUTION, false,
		"only the last block of a request is ever damaged", "request_bytes" },
	[REQUEST_START] = { "request-start", FINDING_CAUTION, false,
		"only the first block of a request is ever damaged", "request_bytes" },
	[WHOLE_REQUESTS] = { "whole-requests", FINDING_PLAIN, false,
		"requests are damaged whole or not at all", "requests request_bytes" },
	[CAUSE] = { "usual-cause", FINDING_PLAIN, false,
		"what usually brings such damage about: common practice, no source", "class" },
	[ONE_DISTANCE] = { "one-distance", FINDING_PLAIN, false,
		"all misplaced blocks are off by the same distance", "distance_bytes" },
	[ONE_SLIP] = { "one-slip", FINDING_PLAIN, false, "all shifted blocks slipped alike",
		"slip_bytes" },
	[ONE_BIT] = { "one-bit", FINDING_CAUTION, false, "always the same bit of a block",
		"byte bit" },
	[ONE_LINE] = { "one-data-line", FINDING_CAUTION, false,
		"only bits that a 4-bit card bus carries on one line", "data_line" },
	[ONE_BYTE] = { "one-byte", FINDING_CAUTION, false, "always the same byte of a block",
		"byte" },
	[EARLIER_RUN] = { "earlier-run", FINDING_PLAIN, false,
		"blocks found hold the data of another run", "other_run_blocks other_seed" },
	[EXTENT] = { "extent", FINDING_PLAIN, false, "where damage begins and ends",
		"first_offset_bytes last_offset_bytes" },
	[PERIOD] = { "period", FINDING_PLAIN, false, "damage comes at even distances",
		"stretches period_bytes requests" },
	[ALIGNED] = { "alignment", FINDING_PLAIN, false,
		"damage begins and ends at multiples of a size larger than a block",
		"aligned_bytes" },
	[UNLISTED] = { "unlisted", FINDING_CAUTION, false,
		"damaged blocks that are counted, but listed nowhere", "unlisted_blocks" },
	[WRITES_FAILED] = { "writes-failed", FINDING_CAUTION, false,
		"requests could not be written at first", FAILURES },
	[READS_FAILED] = { "reads-failed", FINDING_CAUTION, false,
		"requests could not be read at first", FAILURES },
	[FLUSH_FAILED] = { "flush-failed", FINDING_CAUTION, false,
		"the target did not say that its data was stored", "error" },
	[DEVICE_ERRORS] = { "device-errors", FINDING_CAUTION, false,
		"the kernel counted errors or resets of the device, and no request of the run "
		"failed meanwhile",
		"device_errors" },
};

const size_t verify_code_count = sizeof verify_codes / sizeof *verify_codes;

struct writer {
	struct findings *f;
	struct pool *pool;
	const struct verify_record *record;
	const struct damage_totals *totals; /* of it */
	const struct verify_pattern *pattern;
};

static const char *amount_words(struct pool *pool, uint64_t bytes)
{
	char size[SIZE_TEXT_MAX];

	return pool_printf(pool, "%s", size_format_decimal(size, (double)bytes));
}

static const char *size_words(struct pool *pool, uint64_t bytes)
{
	char size[SIZE_TEXT_MAX];

	return pool_printf(pool, "%s", size_format(size, bytes));
}

/* The figures of JUDGED. */
static void add_judged(struct finding *one, const struct writer *w)
{
	uint32_t block = w->totals->block_bytes;

	finding_figure(one, "judged_blocks", value_count(w->totals->judged));
	finding_figure(one, "distinct_blocks", value_count(verify_distinct_blocks(w->record)));
	finding_figure(one, "block_bytes", value_if(block, value_bytes(block)));
}

/* ---- what kind of run it was ---- */

static bool is_complete(const struct writer *w)
{
	return verify_is_complete(w->record);
}

static bool any_failure(const struct writer *w)
{
	const struct verify_record_state *s = &w->record->state;

	return s->reads.requests || s->writes.requests || s->flush_errno;
}

static bool has_no_trace(const struct writer *w)
{
	return verify_has_no_trace(w->totals, w->record->plan.write);
}

static bool is_past_last_pass(const struct verify_record *v)
{
	return v->state.passes && v->state.pass >= v->state.passes;
}

/* "Interrupted while reading" */
static const char *ending_words(const struct writer *w)
{
	const struct verify_record_state *s = &w->record->state;
	const char *phase = is_past_last_pass(w->record) ? "at its very end"
			    : s->reading                 ? "while reading"
							 : "while writing";

	if (!strcmp(s->outcome, "interrupted"))
		return pool_printf(w->pool, "Interrupted %s", phase);
	if (!strcmp(s->outcome, "gave up"))
		return pool_printf(w->pool,
			"Gave up %s after %" PRIu64 " failed request%s (--give-up-after)", phase,
			s->reads.requests + s->writes.requests,
			text_plural(s->reads.requests + s->writes.requests));
	if (!strcmp(s->outcome, "failed"))
		return pool_printf(w->pool, "The run failed %s", phase);
	return pool_printf(w->pool, "Stopped %s", phase);
}

/* What the ending leaves unknown. */
static const char *rest_words(const struct writer *w)
{
	const struct verify_record_state *s = &w->record->state;

	if (is_past_last_pass(w->record))
		return "All passes were made, but the record lacks their conclusion.";
	return s->reading && s->pass + 1 >= s->passes ? "The rest was not judged."
						      : "Not all passes were made.";
}

static struct value failed_requests(const struct writer *w)
{
	const struct verify_record_state *s = &w->record->state;

	return value_count(s->reads.requests + s->writes.requests);
}

/* ---- the verdict ---- */

/* "", or how it comes that more was judged than there is. */
static const char *again_words(const struct writer *w)
{
	uint64_t judged = w->totals->judged, once = verify_distinct_blocks(w->record);

	if (judged == once || !once)
		return "";
	if (judged % once == 0)
		return pool_printf(w->pool, " (each %" PRIu64 " times)", judged / once);
	return pool_printf(w->pool, " (some of them again: %" PRIu64 " in all)", judged);
}

/* "All 192 blocks of 512 B judged hold what was written" */
static const char *all_words(const struct writer *w, bool begins)
{
	uint64_t blocks = verify_distinct_blocks(w->record);
	unsigned size = w->totals->block_bytes;

	if (blocks == 1)
		return pool_printf(w->pool,
			"%che one block of %u B judged%s holds what was written",
			begins ? 'T' : 't', size, again_words(w));
	return pool_printf(w->pool,
		"%cll %" PRIu64 " blocks of %u B judged%s hold what was written",
		begins ? 'A' : 'a', blocks, size, again_words(w));
}

/* " at 24 places", " in these 8.39 MB"; "": on the whole target */
static const char *where_words(const struct writer *w)
{
	const struct verify_record_plan *p = &w->record->plan;

	if (p->spot_count)
		return pool_printf(w->pool, " at %" PRIu64 " place%s", p->spot_count,
			text_plural(p->spot_count));
	return verify_is_whole_target(w->record) ? ""
						 : pool_printf(w->pool, " in these %s",
							   amount_words(w->pool, p->region_bytes));
}

static const char *class_words(const struct writer *w)
{
	const char *list = "";

	for (int c = DAMAGE_NONE + 1; c < DAMAGE_CLASSES; c++)
		if (w->totals->by_class[c])
			list = pool_printf(w->pool, "%s%s%" PRIu64 " %s", list, *list ? ", " : "",
				w->totals->by_class[c], damage_row((enum damage_class)c)->counted);
	return list;
}

static void add_damaged(struct writer *w)
{
	const struct damage_totals *t = w->totals;
	struct finding *one;

	one = finding_add(w->f, &verify_codes[DAMAGED],
		"%" PRIu64 " of %" PRIu64 " blocks of %u B judged%s %s damaged: %s.%s",
		damage_totals_damaged(t), t->judged, t->block_bytes,
		is_complete(w) ? "" : " so far", damage_totals_damaged(t) == 1 ? "is" : "are",
		class_words(w),
		t->judged > verify_distinct_blocks(w->record)
			? " A block counts each time it was judged: once a pass."
			: "");
	finding_figure(one, "damaged_blocks", value_count(damage_totals_damaged(t)));
	add_judged(one, w);
}

static const char *fold_words(const struct writer *w)
{
	return w->pattern->same_places
		       ? "blocks there, written once more, changed others with them"
		       : "all that is damaged holds what was written to the very end";
}

static void add_capacity(struct writer *w)
{
	uint64_t folded = w->pattern->folded_bytes;
	uint64_t bytes = folded ? folded : w->pattern->repeat_bytes;
	uint64_t stated = w->record->run.target.size_bytes;
	const char *claim = stated ? pool_printf(w->pool, ", not the %s that the target states",
					     amount_words(w->pool, stated))
				   : "";
	struct finding *one;

	if (folded)
		one = finding_add(w->f, &verify_codes[CAPACITY],
			"The stated capacity is wrong: no more than %" PRIu64
			" bytes (%s) can be stored and read back%s. What is written beyond lands "
			"on one place again and again: %s.",
			bytes, amount_words(w->pool, bytes), claim, fold_words(w));
	else
		one = finding_add(w->f, &verify_codes[CAPACITY],
			"The stated capacity is wrong: addresses repeat after %" PRIu64
			" bytes (%s), and no more than that can be stored%s. What is written "
			"beyond overwrites what lies before.",
			bytes, amount_words(w->pool, bytes), claim);
	finding_figure(one, "capacity_bytes", value_bytes_decimal(bytes));
	finding_figure(one, "stated_bytes", value_if(stated, value_bytes_decimal(stated)));
}

static void add_not_written(struct writer *w)
{
	add_judged(finding_add(w->f, &verify_codes[NOT_WRITTEN],
			   "There is nothing to judge here: not one of the %" PRIu64
			   " blocks of %u B read bears a stamp of this tool (%s). Either no verify "
			   "ever wrote here, or all that it wrote is gone.",
			   w->totals->judged, w->totals->block_bytes, class_words(w)),
		w);
}

static void add_other_run(struct writer *w)
{
	const struct damage_totals *t = w->totals;
	struct finding *one;

	one = finding_add(w->f, &verify_codes[OTHER_RUN],
		"Nothing here is from seed %" PRIu64 ": %" PRIu64 " of the %" PRIu64
		" blocks of %u B judged carry the stamp of another run, with seed %" PRIu64
		". Either --seed is not that of the run that wrote last, or nothing that it wrote "
		"arrived.",
		w->record->run.head.seed, t->other_run, t->judged, t->block_bytes, t->other_seed);
	finding_figure(one, "other_run_blocks", value_count(t->other_run));
	finding_figure(one, "other_seed", value_count(t->other_seed));
	add_judged(one, w);
}

static void add_stopped(struct writer *w)
{
	struct finding *one;

	if (!w->totals->judged)
		one = finding_add(w->f, &verify_codes[STOPPED], "%s: nothing has been judged.",
			ending_words(w));
	else if (damage_totals_damaged(w->totals))
		one = finding_add(
			w->f, &verify_codes[STOPPED], "%s. %s", ending_words(w), rest_words(w));
	else
		one = finding_add(w->f, &verify_codes[STOPPED],
			"%s, no damaged blocks%s so far. %s. %s", ending_words(w), where_words(w),
			all_words(w, true), rest_words(w));
	finding_figure(one, "requests_failed", failed_requests(w));
	add_judged(one, w);
}

static void add_right(struct writer *w)
{
	bool failed = any_failure(w);

	add_judged(finding_add(w->f, &verify_codes[failed ? FAILED : CLEAN],
			   failed ? "Requests failed, but no block%s is damaged: %s."
				  : "No damaged blocks%s. %s.",
			   where_words(w), all_words(w, !failed)),
		w);
}

static void add_written(struct writer *w)
{
	uint64_t bytes = w->record->state.written_bytes;

	if (any_failure(w))
		add_judged(finding_add(w->f, &verify_codes[FAILED],
				   "Requests failed during writing. Nothing has been judged yet."),
			w);
	else
		finding_figure(finding_add(w->f, &verify_codes[WRITTEN],
				       "%s written. Nothing has been judged yet.",
				       amount_words(w->pool, bytes)),
			"written_bytes", value_bytes_decimal(bytes));
}

static void add_verdict(struct writer *w)
{
	const struct verify_record *v = w->record;

	if (!v->stated)
		finding_add(
			w->f, &verify_codes[NOTHING], "The record ends before anything was done.");
	else if (has_no_trace(w) && w->totals->other_run)
		add_other_run(w);
	else if (has_no_trace(w))
		add_not_written(w);
	else if (w->pattern->repeat_is_capacity || w->pattern->folded_bytes)
		add_capacity(w);
	else if (damage_totals_damaged(w->totals))
		add_damaged(w);
	else if (!is_complete(w))
		add_stopped(w);
	else if (w->totals->judged)
		add_right(w);
	else
		add_written(w);
}

/* ---- what to do next ---- */

static void begin_command(struct text *t, const struct verify_record *v)
{
	text_init(t);
	text_adds(t, "blkassay verify ");
	shell_add_word(t, v->run.target.path, true);
}

static void end_command(struct writer *w, struct finding *one, struct text *t)
{
	w->pool->failed = w->pool->failed || t->failed;
	finding_command(w->f, one, t->bytes);
	text_release(t);
}

static bool writes_remain(const struct verify_record *v)
{
	const struct verify_record_state *s = &v->state;

	return v->plan.write && !(s->reading && s->pass + 1 >= s->passes);
}

/* Data that was put back, or a model that is gone, leaves nothing to go on with. */
static void add_go_on(struct writer *w)
{
	const struct verify_record *v = w->record;
	struct finding *one;
	struct text t;

	if (!v->planned || v->plan.kept_data || v->run.target.modelled)
		return;
	one = finding_add(w->f, &verify_codes[GO_ON], "The run can be resumed from there:");
	begin_command(&t, v);
	text_adds(&t, " --resume ");
	shell_add_word(&t, v->run.path, true);
	if (writes_remain(v)) {
		text_adds(&t, " --erase ");
		shell_add_word(&t, v->run.target.token, true);
	}
	end_command(w, one, &t);
}

/* What was expected of a block depends on how often, and in requests of which sizes, it was written. */
static void add_same_plan(struct text *t, const struct verify_record *v)
{
	const struct verify_record_plan *p = &v->plan;

	text_addf(t, " --only read --seed %" PRIu64, v->run.head.seed);
	if (!verify_is_whole_target(v))
		text_addf(t, " --region %" PRIu64 "+%" PRIu64, p->region_start, p->region_bytes);
	for (uint64_t i = 0; i < p->size_count; i++)
		text_addf(t, "%s%" PRIu64, i ? "," : " --sizes ", p->sizes[i]);
	if (p->random)
		text_adds(t, p->sequential ? " --order sequential,random" : " --order random");
	if (p->rewrites > 1)
		text_addf(t, " --generations %" PRIu64, p->rewrites);
}

static void add_read_later(struct writer *w)
{
	const struct verify_record *v = w->record;
	struct finding *one;
	struct text t;

	if (v->run.target.modelled) /* its card is gone with it */
		return;
	one = finding_add(w->f, &verify_codes[READ_LATER],
		v->plan.spot_count
			? "To judge it, also after a power cycle or in another reader: verify "
			  "--only read with the same --seed %" PRIu64
			  " and the options of this run."
			: "To judge it, also after a power cycle or in another reader (with seed "
			  "%" PRIu64 "):",
		v->run.head.seed);
	finding_figure(one, "seed", value_count(v->run.head.seed));
	if (v->plan.spot_count) {
		finding_figure(one, "command", value_text(NULL));
		return;
	}
	begin_command(&t, v);
	add_same_plan(&t, v);
	end_command(w, one, &t);
}

/* What the verdict leaves open, and what to do about it. */
static void add_open(struct writer *w)
{
	const struct verify_record *v = w->record;
	const struct finding_code *verdict = w->f->list[0].code;

	if (!v->stated)
		return;
	if (verdict == &verify_codes[CAPACITY])
		add_damaged(w);
	if (!is_complete(w) && verdict != &verify_codes[STOPPED])
		add_stopped(w);
	if (!is_complete(w))
		add_go_on(w);
	else if (v->plan.write && !v->plan.read)
		add_read_later(w);
}

/* ---- no damage ---- */

/* "183 in a million", "1.55 % of" */
static const char *share_words(struct pool *pool, double share)
{
	bool small = share < 1e-3;
	const char *words;
	struct text t;

	text_init(&t);
	number_add(&t, share * (small ? 1e6 : 100));
	words = pool_printf(pool, "%s%s", t.bytes, small ? " in a million" : " % of");
	text_release(&t);
	return words;
}

/* A block that was right twice says no more about the others than one that was right once. */
static void add_bound(struct writer *w)
{
	double bound = interval_upper_of_none(verify_distinct_blocks(w->record), confidence);
	struct finding *one;

	one = finding_add(w->f, &verify_codes[BOUND],
		"With 95 %% confidence fewer than %s blocks are damaged, as far as damage falls on "
		"blocks at random.",
		share_words(w->pool, bound));
	finding_figure(one, "damaged_share_at_most", value_share(bound));
	finding_figure(one, "confidence_share", value_share(confidence));
}

/* A gadget may answer from what it has not stored yet, and would pass though it never did. */
static void add_under_power(struct writer *w)
{
	const struct verify_record_plan *p = &w->record->plan;

	if (p->write && p->read && strcmp(w->record->run.target.kind, "image") != 0)
		finding_add(w->f, &verify_codes[UNDER_POWER],
			"Read back under power: what was written last may have come from the "
			"gadget's memory. verify --only write, a power cycle and verify --only "
			"read with the same --seed judge the card alone; 'blkassay cut' judges "
			"power cuts.");
}

/* How many places of which size would see every capacity. */
static const char *enough_words(struct writer *w)
{
	const struct verify_record_plan *p = &w->record->plan;
	uint64_t unit = w->totals->block_bytes, length = p->sizes[0];
	struct wrap_comb c;

	for (;; length *= 2) {
		wrap_comb(&c, p->region_bytes, length, unit, unit);
		if (c.low + c.high <= VERIFY_RECORD_SPOTS || length * 2 > LARGEST_REQUEST)
			break;
	}
	if (c.low + c.high > VERIFY_RECORD_SPOTS)
		return "a verify without --spot names every one";
	if (length == p->sizes[0])
		return pool_printf(w->pool, "--spot %" PRIu64 " names every one", c.low + c.high);
	return pool_printf(w->pool,
		"--spot %" PRIu64 " with --sizes %" PRIu64 " (%s) names every one", c.low + c.high,
		length, size_words(w->pool, length));
}

/* What a clean quick look says about the capacity. */
static void add_sight(struct writer *w)
{
	const struct verify_record_plan *p = &w->record->plan;
	const struct wrap_sight *s = &w->pattern->sight;

	if (!w->pattern->sight_known)
		return;
	if (s->all_seen) {
		finding_figure(
			finding_add(w->f, &verify_codes[ALL_SEEN],
				"Addresses that repeat after any number of blocks below "
				"%" PRIu64
				", or lead nowhere from there on, would have been seen at "
				"these places: no such capacity hides in these %s. Storage "
				"whose end takes everything beyond shows for certain only in "
				"a verify of all of it.",
				p->region_bytes / w->totals->block_bytes,
				amount_words(w->pool, p->region_bytes)),
			"region_bytes", value_bytes(p->region_bytes));
		return;
	}
	finding_figure(
		finding_add(w->f, &verify_codes[MAY_HIDE],
			"A false capacity could hide: addresses that repeat after a capacity "
			"between half of the region and all of it would have been seen for %.3g %% "
			"of these capacities; %s.",
			s->share * 100, enough_words(w)),
		"seen_share", value_share(s->share));
}

/* ---- what the damage has in common ---- */

static void add_reads_repeat(struct writer *w)
{
	uint64_t bytes = w->pattern->read_repeat_bytes;

	finding_figure(finding_add(w->f, &verify_codes[READS_REPEAT],
			       "Reads go astray: addresses repeat after %" PRIu64
			       " bytes (%s), but what was written there first is still there. Look "
			       "at the block number of reads; what lies beyond was not seen.",
			       bytes, amount_words(w->pool, bytes)),
		"repeat_bytes", value_bytes_decimal(bytes));
}

static void add_some_repeat(struct writer *w)
{
	uint64_t bytes = w->pattern->some_repeat_bytes;

	finding_figure(finding_add(w->f, &verify_codes[SOME_REPEAT],
			       "Addresses repeat after %" PRIu64
			       " bytes (%s): either no more than that can be stored, or only reads "
			       "go astray; too few requests are damaged to tell. Verify again with "
			       "--order sequential.",
			       bytes, amount_words(w->pool, bytes)),
		"repeat_bytes", value_bytes_decimal(bytes));
}

static void add_copies(struct writer *w)
{
	uint64_t n = w->pattern->apart_places, tried = w->record->state.places_tried;
	struct finding *one;

	if (!n)
		return;
	one = finding_add(w->f, &verify_codes[COPIES],
		"This is no false capacity: %" PRIu64 " of %" PRIu64
		" misplaced blocks that were written once more came back right, and the place "
		"that their data belongs to kept its own. That data was written twice, or to the "
		"wrong place.",
		n, tried);
	finding_figure(one, "places_tried", value_count(tried));
	finding_figure(one, "places_apart", value_count(n));
}

static void add_repeat(struct writer *w)
{
	uint64_t bytes = w->pattern->repeat_bytes, blocks;

	add_copies(w);
	if (w->pattern->read_repeat_bytes)
		add_reads_repeat(w);
	if (w->pattern->some_repeat_bytes)
		add_some_repeat(w);
	if (!bytes)
		return;
	if (!w->pattern->repeat_is_capacity) {
		finding_figure(finding_add(w->f, &verify_codes[REPEATS],
				       "Places %" PRIu64
				       " bytes (%s) apart reach the same storage: the real "
				       "capacity is that, or a whole fraction of it; %s.",
				       bytes, amount_words(w->pool, bytes), enough_words(w)),
			"repeat_bytes", value_bytes_decimal(bytes));
		return;
	}
	blocks = bytes / w->totals->block_bytes;
	if (!number_is_power_of_two(blocks))
		return;
	finding_figure(finding_add(w->f, &verify_codes[CUT_ADDRESSES],
			       "That is a power of two: if the storage holds more, the gadget cuts "
			       "block numbers to %d bits.",
			       __builtin_ctzll(blocks)),
		"address_bits", value_count((uint64_t)__builtin_ctzll(blocks)));
}

static void add_end(struct writer *w)
{
	const struct verify_pattern *p = w->pattern;
	const struct verify_record *v = w->record;
	const char *stopped = v->plan.write ? "" : ", or the run that wrote stopped there";
	uint64_t end = v->plan.region_start + v->plan.region_bytes;
	struct finding *one;

	if (!p->ends_at)
		return;
	if (p->ends_after == p->ends_at)
		one = finding_add(w->f, &verify_codes[ENDS],
			"Nothing from byte %" PRIu64
			" on was kept, and everything before it: the target seems to end there, "
			"at %s, whatever it states, or has lost what was written last%s.",
			p->ends_at, amount_words(w->pool, p->ends_at), stopped);
	else
		one = finding_add(w->f, &verify_codes[ENDS],
			"Nothing from byte %" PRIu64
			" on was kept, and everything up to byte %" PRIu64
			": the target seems to end between them, whatever it states, or has lost "
			"what was written last%s.",
			p->ends_at, p->ends_after, stopped);
	finding_figure(one, "kept_up_to_bytes", value_bytes_decimal(p->ends_after));
	finding_figure(one, "lost_from_bytes", value_bytes_decimal(p->ends_at));
	if (end == v->run.target.size_bytes && end - p->ends_at == w->totals->block_bytes)
		finding_add(w->f, &verify_codes[LAST_BLOCK],
			"It is the last block alone: READ CAPACITY has to answer with the address "
			"of the last block, not with their number (SBC-3).");
}

/* Bit errors at the end of a request are no end that got lost. */
static void add_request_places(struct writer *w)
{
	const struct verify_pattern *p = w->pattern;
	uint64_t damaged = damage_totals_damaged(w->totals);
	struct value size = value_bytes(p->request_bytes);
	struct finding *one;

	if (p->always_last)
		finding_figure(
			finding_add(w->f, &verify_codes[REQUEST_END],
				"Only the last block of a request is ever damaged: %s.",
				w->totals->by_class[DAMAGE_BIT_ERROR] == damaged
					? "look at how the end of a multi-block transfer is handled"
					: "the end of a multi-block write gets lost"),
			"request_bytes", size);
	else if (p->always_first)
		finding_figure(finding_add(w->f, &verify_codes[REQUEST_START],
				       "Only the first block of a request is ever damaged: look "
				       "at how a multi-block transfer begins."),
			"request_bytes", size);
	if (p->always_last || p->always_first || !p->request_known || !p->whole ||
		(p->whole > 1 && damaged == w->totals->judged))
		return;
	one = finding_add(w->f, &verify_codes[WHOLE_REQUESTS], "%s",
		p->whole == 1 ? "One whole request is damaged, and no other."
			      : "Requests are damaged whole or not at all.");
	finding_figure(one, "requests", value_count(p->whole));
	finding_figure(one, "request_bytes", size);
}

/* ---- what usually brings it about: common practice, no source ---- */

static void add_cause(struct writer *w, enum damage_class c)
{
	const struct damage_row *row = damage_row(c);

	finding_figure(finding_add(w->f, &verify_codes[CAUSE], "%c%s (%s): usually %s.",
			       row->name[0] - 'a' + 'A', row->name + 1, row->meaning, row->cause),
		"class", value_code(row->code));
}

static void add_misplaced_cause(struct writer *w)
{
	const struct damage_totals *t = w->totals;

	if (w->pattern->repeat_bytes || w->pattern->read_repeat_bytes ||
		w->pattern->some_repeat_bytes || w->pattern->folded_bytes)
		return; /* told */
	if (!w->pattern->one_distance) {
		add_cause(w, DAMAGE_MISPLACED);
		return;
	}
	finding_figure(
		t->distance_min == t->block_bytes
			? finding_add(w->f, &verify_codes[ONE_DISTANCE],
				  "Misplaced by one block: usually an off-by-one in the block "
				  "number or in the count of a multi-block write.")
			: finding_add(w->f, &verify_codes[ONE_DISTANCE],
				  "Misplaced by %" PRIu64
				  " bytes each time: usually a wrong base address, or a buffer "
				  "that is sent twice.",
				  t->distance_min),
		"distance_bytes", value_bytes(t->distance_min));
}

static void add_shifted_cause(struct writer *w)
{
	int64_t slip = w->totals->slip_min;
	uint64_t bytes = (uint64_t)(slip < 0 ? -slip : slip);

	if (slip != w->totals->slip_max) {
		add_cause(w, DAMAGE_SHIFTED);
		return;
	}
	finding_figure(finding_add(w->f, &verify_codes[ONE_SLIP],
			       "Shifted, each time by %" PRIu64
			       " byte%s %s: usually a clock edge missed or doubled on the card "
			       "bus, or a DMA length or FIFO level off by that much.",
			       bytes, text_plural(bytes), slip < 0 ? "lost" : "inserted"),
		"slip_bytes", value_number((double)slip));
}

static void add_one_bit(struct writer *w, const char *way)
{
	uint64_t at = w->totals->bit_lowest;
	struct finding *one;

	one = finding_add(w->f, &verify_codes[ONE_BIT],
		"Bit errors: always bit %" PRIu64 " of byte %" PRIu64
		" of the block%s. The same cell of a buffer: look at the RAM, or at what else "
		"writes there.",
		at % 8, at / 8, way);
	finding_figure(one, "byte", value_count(at / 8));
	finding_figure(one, "bit", value_count(at % 8));
}

static void add_one_line(struct writer *w, const char *way)
{
	int line = w->pattern->data_line;
	bool stuck = w->totals->stuck_low || w->totals->stuck_high;

	finding_figure(
		finding_add(w->f, &verify_codes[ONE_LINE],
			"Bit errors: only bits that a 4-bit card bus carries on line DAT%d "
			"(bits %d and %d of the byte)%s%s. Look at that line, its pull-up "
			"and the clock edge.",
			line, line, line + 4, way, stuck ? ", stuck in every such block" : ""),
		"data_line", value_count((uint64_t)line));
}

static void add_bits_cause(struct writer *w)
{
	const struct verify_pattern *p = w->pattern;
	const char *way = p->only_set       ? ", always read 1, expected 0"
			  : p->only_cleared ? ", always read 0, expected 1"
					    : "";
	uint64_t byte = w->totals->bit_lowest / 8;

	if (p->one_bit)
		add_one_bit(w, way);
	else if (p->data_line >= 0)
		add_one_line(w, way);
	else
		add_cause(w, DAMAGE_BIT_ERROR);
	if (p->one_byte && !p->one_bit)
		finding_figure(finding_add(w->f, &verify_codes[ONE_BYTE],
				       "Bit errors are always in byte %" PRIu64
				       " of the block: look at what touches that place of a "
				       "buffer.",
				       byte),
			"byte", value_count(byte));
}

/* Where the figures tell more than the class alone. */
static void (*const own_causes[DAMAGE_CLASSES])(struct writer *w) = {
	[DAMAGE_MISPLACED] = add_misplaced_cause,
	[DAMAGE_SHIFTED] = add_shifted_cause,
	[DAMAGE_BIT_ERROR] = add_bits_cause,
};

static void add_causes(struct writer *w)
{
	for (int c = DAMAGE_NONE + 1; c < DAMAGE_CLASSES; c++) {
		if (!w->totals->by_class[c])
			continue;
		if (own_causes[c])
			own_causes[c](w);
		else
			add_cause(w, (enum damage_class)c);
	}
}

static void add_earlier_run(struct writer *w)
{
	const struct damage_totals *t = w->totals;
	struct finding *one;

	if (!t->other_run)
		return;
	one = finding_add(w->f, &verify_codes[EARLIER_RUN],
		t->other_run > t->judged / 2
			? "%" PRIu64 " of the blocks judged carry the stamp of another run, with "
			  "seed %" PRIu64 ". Either --seed is not that of the run that wrote last, "
			  "or next to nothing that it wrote arrived."
			: "%" PRIu64 " of the blocks found belong to an earlier run (seed %" PRIu64
			  ").",
		t->other_run, t->other_seed);
	finding_figure(one, "other_run_blocks", value_count(t->other_run));
	finding_figure(one, "other_seed", value_count(t->other_seed));
}

/* ---- where it lies ---- */

static void add_extent(struct writer *w)
{
	const struct damage_totals *t = w->totals;
	struct finding *one;

	one = t->first_offset == t->last_offset
		      ? finding_add(w->f, &verify_codes[EXTENT],
				"The damaged block is at byte %" PRIu64 ".", t->first_offset)
		      : finding_add(w->f, &verify_codes[EXTENT],
				"The first damaged block is at byte %" PRIu64
				", the last at byte %" PRIu64 ".",
				t->first_offset, t->last_offset);
	finding_figure(one, "first_offset_bytes", value_count(t->first_offset));
	finding_figure(one, "last_offset_bytes", value_count(t->last_offset));
}

static void add_period(struct writer *w, const char *listed)
{
	const struct verify_pattern *p = w->pattern;
	bool whole = p->request_known && p->period_bytes > p->request_bytes &&
		     p->period_bytes % p->request_bytes == 0;
	uint64_t requests = whole ? p->period_bytes / p->request_bytes : 0;
	struct finding *one;

	if (!p->period_bytes)
		return;
	one = finding_add(w->f, &verify_codes[PERIOD],
		"The %" PRIu64 " damaged stretches%s begin every %" PRIu64 " bytes (%s)%s.",
		p->stretches, listed, p->period_bytes, size_words(w->pool, p->period_bytes),
		whole ? pool_printf(w->pool, ": one request in %" PRIu64, requests) : "");
	finding_figure(one, "stretches", value_count(p->stretches));
	finding_figure(one, "period_bytes", value_bytes(p->period_bytes));
	finding_figure(one, "requests", value_if(whole, value_count(requests)));
}

static void add_places(struct writer *w)
{
	const struct verify_pattern *p = w->pattern;
	const char *listed = p->ranges_complete ? "" : ", as far as they are listed";

	add_extent(w);
	add_period(w, listed);
	if (p->aligned_bytes > w->totals->block_bytes)
		finding_figure(finding_add(w->f, &verify_codes[ALIGNED],
				       "All damaged stretches%s begin and end at multiples of %s.",
				       listed, size_words(w->pool, p->aligned_bytes)),
			"aligned_bytes", value_bytes(p->aligned_bytes));
}

/* ---- requests that failed ---- */

static void add_failures(struct writer *w, int code, const struct verify_record_failures *f,
	const char *done, const char *stayed)
{
	const char *why = verify_why(w->pool, f->first_errno);
	struct finding *one;

	if (!f->requests)
		return;
	one = finding_add(w->f, &verify_codes[code],
		"%" PRIu64 " request%s could not be %s at first, the first at byte %" PRIu64
		" (%s). %" PRIu64 " block%s were tried again one by one; %s.",
		f->requests, text_plural(f->requests), done, f->first_offset, why, f->retries,
		text_plural(f->retries),
		f->blocks ? pool_printf(w->pool, "%" PRIu64 " of them %s", f->blocks, stayed)
			  : "all of them succeeded then");
	finding_figure(one, "requests", value_count(f->requests));
	finding_figure(one, "first_offset_bytes", value_count(f->first_offset));
	finding_figure(one, "error", value_text(why));
	finding_figure(one, "retried_blocks", value_count(f->retries));
	finding_figure(one, "failed_blocks", value_count(f->blocks));
}

static void add_all_failures(struct writer *w)
{
	const struct verify_record_state *s = &w->record->state;
	const char *why = verify_why(w->pool, s->flush_errno);

	add_failures(w, WRITES_FAILED, &s->writes, "written", "were refused again");
	add_failures(w, READS_FAILED, &s->reads, "read", "stayed unreadable");
	if (s->flush_errno)
		finding_figure(finding_add(w->f, &verify_codes[FLUSH_FAILED],
				       "A flush failed (%s): the target did not say that its data "
				       "was stored.",
				       why),
			"error", value_text(why));
	if (s->device_errors)
		finding_figure(finding_add(w->f, &verify_codes[DEVICE_ERRORS],
				       "The kernel counted %" PRIu64
				       " error%s or reset%s of the device that no request of this "
				       "run saw: %s.",
				       s->device_errors, text_plural(s->device_errors),
				       text_plural(s->device_errors),
				       advice_errors(w->record->run.target.modelled)),
			"device_errors", value_count(s->device_errors));
}

/* ---- all of it ---- */

/* Of a false capacity all is said, unless there is more than that. */
static bool is_capacity_alone(const struct writer *w)
{
	return (w->pattern->repeat_is_capacity || w->pattern->folded_bytes) &&
	       w->totals->by_class[DAMAGE_MISPLACED] == damage_totals_damaged(w->totals);
}

static void add_pattern(struct writer *w)
{
	add_repeat(w);
	add_end(w);
	if (!is_capacity_alone(w))
		add_request_places(w);
	add_causes(w);
	add_earlier_run(w);
	if (!is_capacity_alone(w))
		add_places(w);
	if (w->totals->unlisted)
		finding_figure(finding_add(w->f, &verify_codes[UNLISTED],
				       "There were too many ranges to keep: %" PRIu64
				       " damaged block%s counted above %s listed nowhere.",
				       w->totals->unlisted, text_plural(w->totals->unlisted),
				       w->totals->unlisted == 1 ? "is" : "are"),
			"unlisted_blocks", value_count(w->totals->unlisted));
}

void verify_findings_add(
	struct findings *f, const struct verify_record *record, const struct verify_pattern *p)
{
	struct writer w = { .f = f,
		.pool = f->pool,
		.record = record,
		.totals = &record->state.totals,
		.pattern = p };
	uint64_t damaged = damage_totals_damaged(w.totals);

	add_verdict(&w);
	run_findings_add(f, &record->run);
	add_open(&w);
	if (damaged && !has_no_trace(&w))
		add_pattern(&w);
	add_all_failures(&w);
	if (w.totals->judged && !damaged) {
		add_bound(&w);
		add_under_power(&w);
		if (is_complete(&w))
			add_sight(&w);
	}
}
