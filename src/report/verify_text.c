/* The summary of a verify run. */
#include "report/verify_text.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "analysis/interval.h"
#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/notices.h"
#include "findings/verify_pattern.h"
#include "report/csv.h"
#include "report/text_view.h"
#include "report/verify_map.h"

enum { RANGES_SHOWN = 20, LARGEST_REQUEST = 4 << 20 };

struct writer {
	struct text_view view;
	struct text *t; /* the view's */
	struct verify_record *v;
	struct verify_pattern pattern;
	const struct notice_visitor *sentences; /* when set: sentences alone, and to it */
};

/* ---- pieces ---- */

static void heading(struct writer *w, const char *name)
{
	if (!w->sentences)
		text_view_section(&w->view, name);
}

/* One sentence or several, as one item; '+' tells, '!' asks for a look. */
static void item(struct writer *w, char mark, const char *fmt, ...)
	__attribute__((format(printf, 3, 4)));

static void item(struct writer *w, char mark, const char *fmt, ...)
{
	enum notice_kind kind = mark == '!' ? NOTICE_CAUTION : NOTICE_FINDING;
	char sentence[1024];
	va_list args;

	va_start(args, fmt);
	vsnprintf(sentence, sizeof sentence, fmt, args);
	va_end(args);
	if (w->sentences)
		w->sentences->notice(w->sentences->context, kind, sentence);
	else
		text_view_notice(&w->view, kind, sentence);
}

static const char *plural(uint64_t n)
{
	return n == 1 ? "" : "s";
}

/* ---- what was done ---- */

static void add_sizes(struct text *t, const struct verify_record_plan *p)
{
	char size[SIZE_TEXT_MAX];

	for (uint64_t i = 0; i < p->size_count; i++)
		text_addf(t, "%s%s", i ? ", " : "", size_format(size, p->sizes[i]));
}

static void add_plan(struct writer *w)
{
	const struct verify_record *v = w->v;
	const struct verify_record_plan *p = &v->plan;
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];
	struct text t;

	text_init(&t);
	text_addf(&t, "%s of ",
		p->write ? p->read ? "write and read back" : "write only" : "read only");
	if (p->spot_count)
		text_addf(&t, "%" PRIu64 " places in ", p->spot_count);
	text_addf(&t, "%s at byte %" PRIu64 " in requests of ", size_format(a, p->region_bytes),
		p->region_start);
	add_sizes(&t, p);
	text_addf(&t, ", %s%s%s; %" PRIu64 " generation%s, seed %" PRIu64,
		p->sequential ? "sequential" : "", p->sequential && p->random ? " and " : "",
		p->random ? "random" : "", p->rewrites, plural(p->rewrites), v->run.head.seed);
	if (p->kept_data)
		text_adds(&t, "; the target's own data was kept");
	text_view_fact(&w->view, "verify", t.bytes);
	text_reset(&t);
	if (v->state.write_ns + v->state.flush_ns)
		text_addf(&t, "%s written at %s, flushes included",
			size_format_decimal(a, (double)v->state.written_bytes),
			rate_format(b, (double)v->state.written_bytes * 1e9 /
					       (double)(v->state.write_ns + v->state.flush_ns)));
	if (v->state.read_ns)
		text_addf(&t, "%s%s read and judged at %s", t.length ? "; " : "",
			size_format_decimal(a, (double)v->state.read_bytes),
			rate_format(
				b, (double)v->state.read_bytes * 1e9 / (double)v->state.read_ns));
	if (t.length && v->run.target.modelled)
		text_adds(&t, " (modelled, not measured)");
	if (t.length)
		text_view_fact(&w->view, "rates", t.bytes);
	text_release(&t);
}

/* ---- the verdict ---- */

/* Blocks judged, each counted once however many passes came to it. The first pass judges none twice. */
static uint64_t distinct_blocks(const struct verify_record *v)
{
	const struct verify_record_plan *p = &v->plan;
	const struct damage_totals *t = &v->state.totals;
	uint64_t bytes = p->spot_count ? p->spot_count * p->sizes[0] : p->region_bytes;
	uint64_t each = t->block_bytes ? bytes / t->block_bytes : 0;

	return each && each < t->judged ? each : t->judged;
}

/* "", or how it comes that more was judged than there is. */
static const char *add_again(char out[64], const struct verify_record *v)
{
	uint64_t judged = v->state.totals.judged, once = distinct_blocks(v);

	out[0] = 0;
	if (judged > once && judged % once == 0)
		snprintf(out, 64, " (each %" PRIu64 " times)", judged / once);
	else if (judged > once)
		snprintf(out, 64, " (some of them again: %" PRIu64 " in all)", judged);
	return out;
}

/* A block that was right twice says no more about the others than one that was right once. */
static void add_bound(struct writer *w)
{
	const struct damage_totals *t = &w->v->state.totals;
	uint64_t blocks = distinct_blocks(w->v);
	double bound = interval_upper_of_none(blocks, 0.95);
	char again[64];

	item(w, '+',
		"All %" PRIu64
		" blocks of %u B judged%s hold what was written. With 95 %% confidence "
		"fewer than %.3g in a million blocks are damaged (1 - 0.05^(1/n): %.3g), as far as "
		"damage falls on blocks at random.",
		blocks, t->block_bytes, add_again(again, w->v), bound * 1e6, bound);
}

/* How many places of which size would see every capacity. */
static void name_enough_places(char *out, size_t room, const struct verify_record *v)
{
	const struct verify_record_plan *p = &v->plan;
	uint64_t unit = v->state.totals.block_bytes, length = p->sizes[0];
	char size[SIZE_TEXT_MAX];
	struct wrap_comb c;

	for (;; length *= 2) {
		wrap_comb(&c, p->region_bytes, length, unit, unit);
		if (c.low + c.high <= VERIFY_RECORD_SPOTS || length * 2 > LARGEST_REQUEST)
			break;
	}
	if (c.low + c.high > VERIFY_RECORD_SPOTS)
		snprintf(out, room, "a verify without --spot names every one");
	else if (length == p->sizes[0])
		snprintf(out, room, "--spot %" PRIu64 " names every one", c.low + c.high);
	else
		snprintf(out, room,
			"--spot %" PRIu64 " with --sizes %" PRIu64 " (%s) names every one",
			c.low + c.high, length, size_format(size, length));
}

/* What a clean quick look says about the capacity. */
static void add_sight(struct writer *w)
{
	const struct verify_record *v = w->v;
	const struct wrap_sight *s = &w->pattern.sight;
	char size[SIZE_TEXT_MAX], enough[96];

	if (!w->pattern.sight_known || strcmp(v->state.outcome, "complete") != 0)
		return;
	if (s->all_seen) {
		item(w, '+',
			"Addresses that repeat after any number of blocks below %" PRIu64
			", or lead nowhere from there on, would have been seen at these places: "
			"no false capacity hides in these %s.",
			v->plan.region_bytes / v->state.totals.block_bytes,
			size_format_decimal(size, (double)v->plan.region_bytes));
		return;
	}
	name_enough_places(enough, sizeof enough, v);
	item(w, '+',
		"A false capacity could hide: addresses that repeat after a capacity between half "
		"of the region and all of it would have been seen for %.3g %% of these "
		"capacities; %s.",
		s->share * 100, enough);
}

static void add_counts(struct writer *w)
{
	const struct damage_totals *t = &w->v->state.totals;
	uint64_t damaged = damage_totals_damaged(t);
	struct text list;

	text_init(&list);
	for (int c = DAMAGE_NONE + 1; c < DAMAGE_CLASSES; c++)
		if (t->by_class[c])
			text_addf(&list, "%s%" PRIu64 " %s", list.length ? ", " : "",
				t->by_class[c], damage_class_name((enum damage_class)c));
	item(w, '!', "%" PRIu64 " of %" PRIu64 " blocks of %u B judged are damaged: %s.%s", damaged,
		t->judged, t->block_bytes, list.bytes,
		t->judged > distinct_blocks(w->v)
			? " A block counts each time it was judged: once a pass."
			: "");
	item(w, '+',
		"The first damaged block is at byte %" PRIu64 ", the last at byte %" PRIu64 ".",
		t->first_offset, t->last_offset);
	text_release(&list);
}

static void add_clean(struct writer *w)
{
	add_bound(w);
	add_sight(w);
}

static void add_next_step(struct writer *w)
{
	const struct verify_record *v = w->v;

	if (!v->plan.write || v->plan.read || strcmp(v->state.outcome, "complete") != 0)
		return;
	item(w, '+',
		"Nothing has been judged yet. To judge it, also after a power cycle or in another "
		"reader, read with the same --seed %" PRIu64 ", --region, --sizes, --order, "
		"--generations or --spot: verify --only read.",
		v->run.head.seed);
}

static void add_outcome(struct writer *w)
{
	const struct verify_record_state *s = &w->v->state;
	const char *phase = s->reading ? "reading" : "writing";
	char damage[RUN_DAMAGE_MAX];

	if (run_damage_words(damage, &w->v->run))
		item(w, '!', "%s: what follows may be an earlier state of the run. Verify again.",
			damage);
	if (!w->v->stated) {
		item(w, '!', "The record ends before anything was done.");
	} else if (!strcmp(s->outcome, "running")) {
		item(w, '!',
			"The run was stopped while %s and could not say so; what follows is what "
			"was "
			"known last. verify --resume goes on from there.",
			phase);
	} else if (!strcmp(s->outcome, "interrupted")) {
		item(w, '!', "Interrupted while %s; verify --resume goes on from there.", phase);
	} else if (!strcmp(s->outcome, "gave up")) {
		item(w, '!',
			"Gave up while %s after %" PRIu64 " failed requests (--give-up-after).",
			phase, s->reads.requests + s->writes.requests);
	} else if (!strcmp(s->outcome, "failed")) {
		item(w, '!', "The run failed while %s: %s.", phase,
			*w->v->run.end.reason ? w->v->run.end.reason
					      : "the reason was not recorded");
	}
	if (w->v->stated && strcmp(s->outcome, "complete") != 0 && w->v->plan.read)
		item(w, '!', "The rest was not judged: this says nothing about it.");
}

static void add_failures(struct writer *w, const struct verify_record_failures *f, const char *verb,
	const char *stayed)
{
	if (!f->requests)
		return;
	item(w, '!',
		"%" PRIu64 " request%s could not be %s at first, the first at byte %" PRIu64
		" (%s). Block by block, once more each, %" PRIu64 " were tried again; %" PRIu64
		" of them %s.",
		f->requests, plural(f->requests), verb, f->first_offset,
		f->first_errno ? strerrordesc_np((int)f->first_errno) : "the target ended early",
		f->retries, f->blocks, stayed);
}

static void add_verdict(struct writer *w)
{
	const struct verify_record_state *s = &w->v->state;

	heading(w, "FOUND");
	add_outcome(w);
	if (s->totals.judged && damage_totals_damaged(&s->totals))
		add_counts(w);
	else if (s->totals.judged)
		add_clean(w);
	add_failures(w, &s->writes, "written", "were refused again");
	add_failures(w, &s->reads, "read", "stayed unreadable");
	if (s->flush_errno)
		item(w, '!',
			"A flush failed (%s): the target did not say that its data was stored.",
			strerrordesc_np((int)s->flush_errno));
	if (s->device_errors)
		item(w, '!',
			"The kernel counted %llu error%s or reset%s of the device that no request "
			"of "
			"this run saw: see the kernel log (dmesg).",
			(unsigned long long)s->device_errors, s->device_errors == 1 ? "" : "s",
			s->device_errors == 1 ? "" : "s");
	add_next_step(w);
}

/* ---- what it means: common practice, no source ---- */

static void explain_misplaced(struct writer *w)
{
	const struct verify_pattern *p = &w->pattern;
	const struct damage_totals *t = &w->v->state.totals;
	char size[SIZE_TEXT_MAX], enough[96];

	if (p->repeat_is_capacity) {
		item(w, '!',
			"The capacity is false: addresses repeat after %" PRIu64
			" bytes (%s), which is "
			"what there really is. Everything beyond overwrites what lies before.",
			p->repeat_bytes, size_format_decimal(size, (double)p->repeat_bytes));
		return;
	}
	if (p->repeat_bytes) {
		name_enough_places(enough, sizeof enough, w->v);
		item(w, '!',
			"Places %" PRIu64
			" bytes (%s) apart reach the same storage: the real capacity is "
			"that, or a whole fraction of it; %s.",
			p->repeat_bytes, size_format_decimal(size, (double)p->repeat_bytes),
			enough);
		return;
	}
	if (p->one_distance && t->distance_min == t->block_bytes)
		item(w, '+',
			"misplaced by one block: usually an off-by-one in the sector number or in "
			"the "
			"count of a multi-block write.");
	else if (p->one_distance)
		item(w, '+',
			"misplaced by %" PRIu64
			" bytes each time: usually a wrong base address, or a "
			"buffer that is sent twice.",
			t->distance_min);
	else
		item(w, '+',
			"misplaced: whole blocks of other offsets. Usually a buffer that is reused "
			"before it was sent, or a sector number cut to too few bits.");
}

static void explain_shifted(struct writer *w)
{
	const struct damage_totals *t = &w->v->state.totals;

	if (t->slip_min == t->slip_max)
		item(w, '+',
			"shifted, each time by %" PRId64
			" byte%s %s: usually a clock edge missed or "
			"doubled on the card bus, or a DMA length or FIFO level off by that much.",
			t->slip_min < 0 ? -t->slip_min : t->slip_min,
			plural((uint64_t)(t->slip_min < 0 ? -t->slip_min : t->slip_min)),
			t->slip_min < 0 ? "lost" : "inserted");
	else
		item(w, '+',
			"shifted, by different amounts: usually bytes lost or doubled on the card "
			"bus, or "
			"in a FIFO that over- or underruns.");
}

static void explain_bits(struct writer *w)
{
	const struct verify_pattern *p = &w->pattern;
	const struct damage_totals *t = &w->v->state.totals;
	const char *way = p->only_set       ? ", always 0 to 1"
			  : p->only_cleared ? ", always 1 to 0"
					    : "";

	if (p->one_bit)
		item(w, '+',
			"bit error: always bit %" PRIu64 " of byte %" PRIu64
			" of the block%s. The same "
			"cell of a buffer: look at the RAM or at what else writes there.",
			t->bit_lowest % 8, t->bit_lowest / 8, way);
	else if (p->data_line >= 0)
		item(w, '+',
			"bit error: only bits that a 4-bit card bus carries on line DAT%d (bits %d "
			"and "
			"%d of the byte)%s%s. Look at that line, its pull-up and the clock edge.",
			p->data_line, p->data_line, p->data_line + 4, way,
			t->stuck_low || t->stuck_high ? ", stuck in every such block" : "");
	else
		item(w, '+',
			"bit error%s: usually timing or power on a bus, RAM, or a card at its end; "
			"the link's own CRC does not cover what happens inside the gadget.",
			way);
	if (p->one_byte && !p->one_bit)
		item(w, '!',
			"bit error: always in byte %" PRIu64
			" of the block: look at what touches that place of a buffer.",
			t->bit_lowest / 8);
}

static void explain_stale(struct writer *w)
{
	const struct damage_totals *t = &w->v->state.totals;

	if (t->other_run > t->judged / 2)
		item(w, '!',
			"stale: %" PRIu64 " of the %" PRIu64
			" blocks judged carry the stamp of another run, with seed %" PRIu64
			". Either --seed is not the one of the run that wrote, or next to nothing "
			"of it arrived.",
			t->other_run, t->judged, t->other_seed);
	else
		item(w, '+',
			"stale: whole blocks that the last write did not change, though it was "
			"acknowledged. Usually a write lost behind a cache, or dropped when a "
			"buffer was full.");
	if (t->other_run && t->other_run <= t->judged / 2)
		item(w, '+',
			"%" PRIu64 " of the blocks found belong to an earlier run (seed %" PRIu64
			").",
			t->other_run, t->other_seed);
}

static void explain(struct writer *w)
{
	const uint64_t *n = w->v->state.totals.by_class;

	heading(w, "WHAT IT USUALLY MEANS");
	if (n[DAMAGE_UNREADABLE])
		item(w, '+',
			"unreadable: the card itself, or firmware that gives up on a slow read.");
	if (n[DAMAGE_BLANK])
		item(w, '+',
			"blank: all one byte. Usually a write that was acknowledged and dropped, a "
			"buffer "
			"sent before it was filled, or an address beyond the real capacity.");
	if (n[DAMAGE_STALE])
		explain_stale(w);
	if (n[DAMAGE_MISPLACED])
		explain_misplaced(w);
	if (n[DAMAGE_TORN])
		item(w, '+',
			"torn: part new, part not. Usually a multi-block write cut short, or a "
			"card "
			"operation ended before its last blocks were programmed.");
	if (n[DAMAGE_SHIFTED])
		explain_shifted(w);
	if (n[DAMAGE_BIT_ERROR])
		explain_bits(w);
	if (n[DAMAGE_FOREIGN])
		item(w, '+',
			"foreign: nothing this run or another one wrote. Usually data that was "
			"there "
			"before, or memory that was never filled.");
}

static void add_end(struct writer *w)
{
	const struct verify_pattern *p = &w->pattern;
	const struct verify_record *v = w->v;
	uint64_t end = v->plan.region_start + v->plan.region_bytes;
	const char * or = v->plan.write ? "" : ", or the run that wrote stopped there";
	char size[SIZE_TEXT_MAX];

	if (!p->ends_at)
		return;
	if (p->ends_after == p->ends_at)
		item(w, '!',
			"Nothing from byte %" PRIu64
			" on was kept, and everything before it: the target seems to end there, "
			"at %s, whatever it claims, or has lost what was written last%s.",
			p->ends_at, size_format_decimal(size, (double)p->ends_at), or);
	else
		item(w, '!',
			"Nothing from byte %" PRIu64
			" on was kept, and everything up to byte %" PRIu64
			": the target seems to end between them, whatever it claims, or has lost "
			"what was written last%s.",
			p->ends_at, p->ends_after, or);
	if (end == v->run.target.size_bytes && end - p->ends_at == v->state.totals.block_bytes)
		item(w, '!',
			"It is the last block alone: READ CAPACITY has to answer with the address "
			"of the last block, not with their number (SBC-3).");
}

/* Bit errors at the end of a request are no end that got lost. */
static void add_request_places(struct writer *w)
{
	const struct verify_pattern *p = &w->pattern;
	const struct damage_totals *t = &w->v->state.totals;
	bool flips = t->by_class[DAMAGE_BIT_ERROR] == damage_totals_damaged(t);

	if (p->always_last)
		item(w, '!', "Only the last block of a request is ever damaged: %s.",
			flips ? "look at how the end of a multi-block transfer is handled"
			      : "the end of a multi-block write gets lost");
	else if (p->always_first)
		item(w, '!',
			"Only the first block of a request is ever damaged: look at how a "
			"multi-block transfer begins.");
	else if (p->request_known && p->whole > 1 && damage_totals_damaged(t) < t->judged)
		item(w, '+', "Requests are damaged whole or not at all.");
	else if (p->request_known && p->whole == 1)
		item(w, '+', "One whole request is damaged, and no other.");
}

static void add_pattern(struct writer *w)
{
	const struct verify_pattern *p = &w->pattern;
	const char *listed = p->ranges_complete ? "" : ", as far as they are listed";
	char size[SIZE_TEXT_MAX];

	add_end(w);
	add_request_places(w);
	if (p->period_bytes)
		item(w, '+',
			"The %" PRIu64 " damaged stretches%s begin every %" PRIu64 " bytes (%s).",
			p->stretches, listed, p->period_bytes, size_format(size, p->period_bytes));
	if (p->period_bytes && p->request_known && p->period_bytes % p->request_bytes == 0 &&
		p->period_bytes > p->request_bytes)
		item(w, '+', "That is one request in %" PRIu64 ".",
			p->period_bytes / p->request_bytes);
	if (p->aligned_bytes > w->v->state.totals.block_bytes)
		item(w, '+', "All damaged stretches%s begin and end at multiples of %s.", listed,
			size_format(size, p->aligned_bytes));
}

/* ---- ranges ---- */

static void add_range(struct writer *w, const struct damage_range *r)
{
	char size[SIZE_TEXT_MAX], head[80];

	snprintf(head, sizeof head, "  %14" PRIu64 "  %9s  %-10s ", r->offset,
		size_format(size, r->bytes), damage_class_name(r->class));
	text_adds(w->t, head);
	text_view_words(&w->view, r->detail, strlen(head), strlen(head));
}

static void add_ranges(struct writer *w)
{
	const struct verify_record *v = w->v;
	size_t shown = v->range_count < RANGES_SHOWN ? v->range_count : RANGES_SHOWN;

	heading(w, "DAMAGED RANGES");
	text_adds(w->t, "         at byte     length  class      evidence of the first block\n");
	for (size_t i = 0; i < shown; i++)
		add_range(w, &v->ranges[i]);
	if (shown < v->range_count)
		item(w, '+', "%zu more ranges: see --damage FILE, or report --csv.",
			v->range_count - shown);
	if (v->state.totals.unlisted)
		item(w, '!',
			"There were too many ranges to keep: %" PRIu64
			" damaged blocks are counted above "
			"but listed nowhere.",
			v->state.totals.unlisted);
}

static void add_all(struct writer *w)
{
	const struct damage_totals *t = &w->v->state.totals;

	text_view_head(&w->view, &w->v->run);
	add_plan(w);
	add_verdict(w);
	if (!t->judged)
		return;
	if (damage_totals_damaged(t)) {
		explain(w);
		add_pattern(w);
		add_ranges(w);
	}
	heading(w, "MAP");
	verify_map_add(w->t, t);
}

int verify_text_add(
	struct text *t, struct verify_record *v, const struct text_style *style, struct error *err)
{
	struct writer w = { .t = t, .v = v };

	text_view_begin(&w.view, t, style);
	verify_pattern_find(&w.pattern, v);
	add_all(&w);
	text_view_end(&w.view);
	return t->failed ? error_set(err, ERROR_IO, "out of memory for the summary") : 0;
}

/* ---- CSV ---- */

void verify_csv_add_header(struct text *t)
{
	text_adds(t, "class,offset_bytes,length_bytes,detail\r\n");
}

void verify_csv_add(struct text *t, const struct damage_range *r)
{
	text_addf(
		t, "%s,%" PRIu64 ",%" PRIu64 ",", damage_class_name(r->class), r->offset, r->bytes);
	csv_add_field(t, r->detail, true);
	text_adds(t, "\r\n");
}

void verify_sentences_visit(struct verify_record *v, const struct notice_visitor *visitor)
{
	struct writer w = { .v = v, .sentences = visitor };

	verify_pattern_find(&w.pattern, v);
	add_verdict(&w);
	if (damage_totals_damaged(&v->state.totals)) {
		explain(&w);
		add_pattern(&w);
	}
}
