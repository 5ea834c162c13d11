/* After the cut: which promises were kept. */
#include "integrity/recheck.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/advice.h"
#include "base/buffer.h"
#include "base/error.h"
#include "base/text.h"
#include "integrity/judge.h"
#include "integrity/transfer.h"
#include "medium/medium.h"

enum {
	CHUNK_BYTES = 128 * 1024,
	GIVE_UP_AFTER = 256 /* unreadable blocks when none could be read */
};

struct finding {
	enum recheck_duty duty;
	bool broken;
	bool beyond; /* later than all the journal knows */
	uint32_t floor, found; /* the generation owed at least; the one found, 0: none */
	struct verdict verdict; /* of a damaged block; class NONE: whole, but too old */
};

struct rechecking {
	struct medium *m;
	const struct journal *j;
	struct recheck_result *out;
	struct error *err;
	struct judge judge;
	unsigned char *promised, *broken; /* one bit a write number */
	uint32_t lost_first,
		survived_last; /* acknowledged, unpromised writes: earliest lost, latest found */
	uint64_t readable, unreadable; /* blocks */
	struct transfer_patience patience;
	void *buf;
	struct finding last;
	uint64_t last_at;
	bool last_open; /* the last damage range may grow */
};

static void set_bit(unsigned char *bits, uint32_t n)
{
	bits[n / 8] |= (unsigned char)(1u << (n % 8));
}

static uint64_t count_bits(const unsigned char *bits, uint32_t up_to)
{
	uint64_t n = 0;

	for (uint32_t i = CUT_BASELINE + 1; i <= up_to; i++)
		n += bits[i / 8] >> (i % 8) & 1;
	return n;
}

/* What is owed: the newest generation promised, and why. */
static enum recheck_duty duty_of(
	const struct rechecking *r, const struct journal_block *b, uint32_t *floor)
{
	bool every_answer = r->j->cycle.promise == PROMISE_ACKNOWLEDGED;

	*floor = every_answer && b->acknowledged > b->stored ? b->acknowledged : b->stored;
	if (b->announced > *floor)
		return RECHECK_IN_FLIGHT;
	if (*floor == CUT_BASELINE)
		return RECHECK_UNTOUCHED;
	return *floor > b->stored ? RECHECK_ACKNOWLEDGED : RECHECK_FLUSHED;
}

static struct finding judge(
	struct rechecking *r, const struct journal_block *b, const void *block, uint64_t at)
{
	struct stamp_header h;
	struct finding f = { 0 };
	bool ours = stamp_read(block, &h) && h.seed == r->j->cycle.seed && h.offset == at;

	f.duty = duty_of(r, b, &f.floor);
	/* Nobody but cut makes such a block, and not before it was announced: the journal lost that line. */
	f.beyond = ours && h.generation > r->j->announced;
	if (ours && h.generation && (h.generation <= b->announced || f.beyond) &&
		stamp_holds(&r->judge.stamp, block, at, h.generation)) {
		f.found = h.generation;
		f.broken = f.found < f.floor;
		return f;
	}
	f.broken = true;
	judge_block(&r->judge, block, at, b->announced, &f.verdict);
	/* A write that was under way is judged as new; what does not resemble it may still resemble the old one. */
	if (f.verdict.class == DAMAGE_FOREIGN && b->announced != f.floor)
		judge_block(&r->judge, block, at, f.floor, &f.verdict);
	return f;
}

/* The promise that a broken block breaks, whatever was on its way over it. */
static enum recheck_duty blame(const struct finding *f, const struct journal_block *b)
{
	if (f->duty != RECHECK_IN_FLIGHT || f->found == 0)
		return f->duty;
	return f->floor > b->stored ? RECHECK_ACKNOWLEDGED : RECHECK_FLUSHED;
}

static void note_in_flight(
	struct rechecking *r, const struct journal_block *b, const struct finding *f)
{
	if (f->found > f->floor)
		r->out->in_flight_new++;
	else
		r->out->in_flight_old++;
	if (b->acknowledged > f->floor && f->found < b->acknowledged) {
		r->out->forgotten++;
		if (!r->lost_first || b->acknowledged < r->lost_first)
			r->lost_first = b->acknowledged;
	}
	if (f->found > f->floor && f->found > r->survived_last)
		r->survived_last = f->found;
}

static void note_kind(struct recheck_result *out, const char *name)
{
	uint32_t i = 0;

	while (i < out->kind_count && strcmp(out->kinds[i].name, name) != 0)
		i++;
	if (i == RECHECK_KINDS_MAX)
		return;
	if (i == out->kind_count) {
		text_copy(out->kinds[i].name, sizeof out->kinds[i].name, name);
		out->kind_count++;
	}
	out->kinds[i].blocks++;
}

static void name_kind(char out[16], const struct finding *f)
{
	text_copy(out, 16, f->found ? "lost" : damage_row(f->verdict.class)->code);
}

static bool continues(const struct rechecking *r, const struct finding *f, uint64_t at)
{
	uint32_t block = r->j->cycle.block_bytes;

	if (!r->last_open || r->last_at + block != at || r->last.duty != f->duty ||
		r->last.floor != f->floor || r->last.found != f->found)
		return false;
	return f->found || verdict_continues(&r->last.verdict, &f->verdict, block);
}

static int note_damage(struct rechecking *r, const struct finding *f, uint64_t at)
{
	struct recheck_result *out = r->out;
	struct recheck_damage *d;
	char kind[16];

	name_kind(kind, f);
	note_kind(out, kind);
	if (continues(r, f, at)) {
		if (!out->damages_more)
			out->damages[out->damage_count - 1].bytes += r->j->cycle.block_bytes;
	} else if (out->damage_count == RECHECK_DAMAGES_MAX) {
		out->damages_more++;
	} else {
		d = reallocarray(out->damages, out->damage_count + 1, sizeof *d);
		if (!d)
			return error_set(r->err, ERROR_IO, "out of memory");
		out->damages = d;
		d += out->damage_count++;
		*d = (struct recheck_damage){ .at = at,
			.bytes = r->j->cycle.block_bytes,
			.duty = f->duty,
			.expected = f->floor,
			.found = f->found };
		text_copy(d->kind, sizeof d->kind, kind);
		if (!f->found)
			verdict_detail(d->detail, sizeof d->detail, &f->verdict, at);
	}
	r->last = *f;
	r->last_at = at;
	r->last_open = true;
	return 0;
}

static int note(struct rechecking *r, const struct journal_block *b, struct finding *f, uint64_t at)
{
	bool owed = f->floor > CUT_BASELINE;

	if (f->beyond && !f->broken) {
		r->out->beyond++;
		return 0;
	}
	f->duty = f->broken ? blame(f, b) : f->duty;
	r->out->blocks[f->duty]++;
	if (owed)
		set_bit(r->promised, f->floor);
	r->out->unflushed += f->floor > b->stored && f->found <= f->floor;
	r->out->through_alone += b->stored > r->j->stored && f->found <= f->floor;
	if (!f->broken) {
		if (f->duty == RECHECK_IN_FLIGHT)
			note_in_flight(r, b, f);
		return 0;
	}
	r->out->broken[f->duty]++;
	if (owed)
		set_bit(r->broken, f->floor);
	return note_damage(r, f, at);
}

static int note_unreadable(struct rechecking *r, const struct journal_block *b, uint64_t at, int rc)
{
	struct finding f = { .broken = true };
	const char *advice = advice_gone(medium_traits(r->m)->transport);

	if (rc == -ENODEV || rc == -ENXIO || rc == -ENOMEDIUM || rc == -ESHUTDOWN)
		return error_sys(r->err, ERROR_IO, -rc,
			"the target went away while it was read back, at byte %llu; %s, then "
			"recheck again",
			(unsigned long long)at, advice);
	r->unreadable++;
	if (!r->readable && r->unreadable >= GIVE_UP_AFTER)
		return error_sys(r->err, ERROR_IO, rc ? -rc : EIO,
			"the target answers no read, and no verdict can rest on that; %s, then "
			"recheck again",
			advice);
	f.duty = duty_of(r, b, &f.floor);
	f.verdict.class = DAMAGE_UNREADABLE;
	f.verdict.read_errno = -rc;
	return note(r, b, &f, at);
}

static int no_verdict(struct rechecking *r)
{
	if (r->patience.silent)
		transfer_explain_silence(r->m, &r->patience, r->err);
	else
		medium_explain(r->m, r->err);
	error_add(r->err, ", then recheck again: no verdict can rest on what was read");
	return -1;
}

/* Before a refusal counts the target is asked whether it is there and serves at all. The result of the last read into *rc
 * and *got; -1 with the error when none can be believed. */
static int read_unit(struct rechecking *r, uint64_t at, size_t unit, int *rc, size_t *got)
{
	int believed = TRANSFER_AGAIN;

	for (int tries = 0; believed == TRANSFER_AGAIN && tries <= TRANSFER_AGAIN_MAX; tries++) {
		bool refused;

		*got = 0;
		*rc = medium_read(r->m, at, r->buf, unit, got);
		refused = *rc < 0 || *got < unit;
		if (refused && medium_check(r->m, MEDIUM_CHECK_FAILED) < 0)
			return no_verdict(r);
		believed = transfer_believe(
			r->m, &r->patience, at, medium_traits(r->m)->offset_align_bytes, refused);
	}
	return believed < 0 ? no_verdict(r) : 0;
}

/* After a chunk could not be read whole: unit by unit, so that only what is unreadable counts as such. */
static int read_by_unit(struct rechecking *r, uint64_t at, size_t length)
{
	const struct journal_cycle *y = &r->j->cycle;
	size_t unit = medium_traits(r->m)->offset_align_bytes, block = y->block_bytes;

	if (unit < block)
		unit = block;
	for (size_t done = 0; done < length; done += unit) {
		size_t got;
		int rc;

		if (read_unit(r, at + done, unit, &rc, &got) < 0)
			return -1;
		for (size_t i = 0; i < unit; i += block) {
			uint64_t where = at + done + i;
			const struct journal_block *b =
				&r->j->blocks[(where - y->region_start) / block];
			struct finding f;

			if (rc < 0 || got < i + block) {
				if (note_unreadable(r, b, where, rc) < 0)
					return -1;
				continue;
			}
			r->readable++;
			f = judge(r, b, (unsigned char *)r->buf + i, where);
			if (note(r, b, &f, where) < 0)
				return -1;
		}
	}
	return 0;
}

static int judge_chunk(struct rechecking *r, uint64_t at, size_t length)
{
	const struct journal_cycle *y = &r->j->cycle;

	for (size_t i = 0; i < length; i += y->block_bytes) {
		const struct journal_block *b =
			&r->j->blocks[(at + i - y->region_start) / y->block_bytes];
		struct finding f = judge(r, b, (unsigned char *)r->buf + i, at + i);

		r->readable++;
		if (note(r, b, &f, at + i) < 0)
			return -1;
	}
	return 0;
}

static int judge_served(struct rechecking *r, uint64_t at, size_t length)
{
	(void)transfer_believe(r->m, &r->patience, at, medium_traits(r->m)->offset_align_bytes,
		false); /* notes it */
	return judge_chunk(r, at, length);
}

static int read_region(struct rechecking *r, const struct watch *watch)
{
	const struct journal_cycle *y = &r->j->cycle;

	for (uint64_t done = 0; done < y->region_bytes;) {
		uint64_t left = y->region_bytes - done, at = y->region_start + done;
		size_t n = left < CHUNK_BYTES ? (size_t)left : CHUNK_BYTES, got = 0;
		int rc;

		if (watch_should_stop(watch))
			return error_set(r->err, ERROR_INTERRUPTED,
				"interrupted before every block was read: no verdict; recheck "
				"again");
		rc = medium_read(r->m, at, r->buf, n, &got);
		if (rc < 0 || got < n)
			rc = read_by_unit(r, at, n);
		else
			rc = judge_served(r, at, n);
		if (rc < 0)
			return -1;
		done += n;
		watch_step(watch, &(struct watch_step){ .phase = "reading back",
					  .done = done,
					  .total = y->region_bytes,
					  .seconds_left = -1 });
	}
	return 0;
}

static int compare_ages(const void *a, const void *b)
{
	uint32_t x = ((const struct journal_age *)a)->number;
	uint32_t y = ((const struct journal_age *)b)->number;

	return (x > y) - (x < y);
}

static void spread_ages(struct recheck_result *out, const struct journal_age *ages, size_t count)
{
	for (size_t i = 0; i < out->damage_count; i++) {
		struct recheck_damage *d = &out->damages[i];
		struct journal_age key = { .number = d->expected };
		const struct journal_age *a = bsearch(&key, ages, count, sizeof key, compare_ages);

		if (!a || a->ns_before == UINT64_MAX)
			continue;
		d->aged = true;
		d->ns_before = a->ns_before;
		d->bytes_before = a->bytes_before;
		if (!out->ages_known || a->ns_before < out->ns_before_min)
			out->ns_before_min = a->ns_before;
		if (!out->ages_known || a->bytes_before < out->bytes_before_min)
			out->bytes_before_min = a->bytes_before;
		if (a->ns_before > out->ns_before_max)
			out->ns_before_max = a->ns_before;
		if (a->bytes_before > out->bytes_before_max)
			out->bytes_before_max = a->bytes_before;
		out->ages_known = true;
	}
}

/* When the promises behind the listed damage were made, relative to the cut. */
static int date_damages(struct rechecking *r)
{
	struct recheck_result *out = r->out;
	struct journal_age *ages = calloc(out->damage_count + 1, sizeof *ages);
	size_t n = 0, kept = 0;
	int rc;

	if (!ages)
		return error_set(r->err, ERROR_IO, "out of memory");
	for (size_t i = 0; i < out->damage_count; i++)
		if (out->damages[i].expected > CUT_BASELINE)
			ages[n++].number = out->damages[i].expected;
	qsort(ages, n, sizeof *ages, compare_ages);
	for (size_t i = 0; i < n; i++)
		if (!kept || ages[kept - 1].number != ages[i].number)
			ages[kept++] = ages[i];
	rc = kept ? journal_ages(r->j, ages, kept, r->err) : 0;
	if (rc == 0)
		spread_ages(out, ages, kept);
	free(ages);
	return rc;
}

static int prepare(struct rechecking *r)
{
	const struct medium_traits *t = medium_traits(r->m);
	size_t bits = r->j->announced / 8 + 1;

	r->promised = calloc(bits, 1);
	r->broken = calloc(bits, 1);
	r->buf = buffer_new(CHUNK_BYTES, t->memory_align_bytes);
	if (!r->promised || !r->broken || !r->buf)
		return error_set(r->err, ERROR_IO, "out of memory");
	if (r->j->cycle.region_bytes > t->size_bytes ||
		r->j->cycle.region_start > t->size_bytes - r->j->cycle.region_bytes)
		return error_set(r->err, ERROR_REFUSED,
			"the journal's region ends at byte %llu, but the target has only %llu "
			"bytes; is it the same one?",
			(unsigned long long)(r->j->cycle.region_start + r->j->cycle.region_bytes),
			(unsigned long long)t->size_bytes);
	judge_init(&r->judge, r->j->cycle.seed, r->j->cycle.block_bytes);
	return 0;
}

int recheck_run(struct medium *m, const struct journal *j, const struct watch *watch,
	struct recheck_result *out, struct error *err)
{
	struct rechecking *r = aligned_alloc(_Alignof(struct rechecking), sizeof *r);
	int rc;

	*out = (struct recheck_result){ .cycle = j->cycle.number,
		.seed = j->cycle.seed,
		.block_bytes = j->cycle.block_bytes,
		.acknowledged_counts = j->cycle.promise == PROMISE_ACKNOWLEDGED,
		.unended = !*j->stop,
		.unflushed_known = true,
		.through_alone_known = true,
		.flushes = j->pairs,
		/* Else the kernel makes them of a write and a flush. */
		.throughs = medium_traits(m)->fua ? j->throughs : 0,
		.through_last = j->through_last };
	if (!r)
		return error_set(err, ERROR_IO, "out of memory");
	memset(r, 0, sizeof *r);
	r->m = m;
	r->j = j;
	r->out = out;
	r->err = err;
	rc = prepare(r);
	if (rc == 0)
		rc = read_region(r, watch);
	if (rc == 0) {
		out->promises = count_bits(r->promised, j->announced);
		out->promises_broken = count_bits(r->broken, j->announced);
		/* Of one write part may be lost and part there: that is no later one. */
		out->order_kept = !r->lost_first || r->survived_last <= r->lost_first;
		out->complete = true;
		rc = date_damages(r);
	}
	if (rc < 0)
		recheck_result_release(out);
	free(r->promised);
	free(r->broken);
	free(r->buf);
	free(r);
	return rc;
}
