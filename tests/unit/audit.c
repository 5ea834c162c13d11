/* The audit against gadget models: each fault alone under its own line, honest gadgets clean, over many seeds.
 * BLKASSAY_AUDIT_SEEDS=N runs N seeds of each and prints the rates. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audit/audit.h"
#include "audit/probe_context.h"
#include "audit/probes.h"
#include "base/error.h"
#include "base/random.h"
#include "base/watch.h"
#include "measure/phases.h"
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/model_spec.h"
#include "support/hostile_scsi.h"
#include "support/scsi_tap.h"

enum { SEEDS = 2, AREA = 1 << 20 };

static unsigned seeds(void)
{
	const char *more = getenv("BLKASSAY_AUDIT_SEEDS");

	return more ? (unsigned)atoi(more) : SEEDS;
}

/* A gadget whose link, card, costs, buffer and jitter are drawn from the seed. */
static void draw_gadget(
	char *out, size_t room, uint64_t seed, bool behind, const char *claims, const char *faults)
{
	struct random r = { random_mix(seed + 99) };
	bool high = random_below(&r, 3) == 0;
	uint64_t link = high ? 20000 + random_below(&r, 15000) : 900 + random_below(&r, 250);
	uint64_t card = high ? 4000 + random_below(&r, 12000) : 800 + random_below(&r, 1500);
	size_t n;

	/* Write-behind shows, and its faults bite, only where the card is the slower one. */
	if (behind)
		card = link * (40 + random_below(&r, 40)) / 100;
	n = (size_t)snprintf(out, room,
		"gadget-model 1\ndevice:\nname = t\ncapacity = 20Mi\nfill = FFh\nseed = "
		"%llu\njitter = %llu %%\n"
		"link:\nspeed = %s\nrate = %llu kB/s\nrequest cost = %llu us\n"
		"card:\nread rate = %llu kB/s\nwrite rate = %llu kB/s\nread command cost = %llu "
		"us\n"
		"write command cost = %llu us\nfirmware:\nunit = request\ntransfer = %s\n",
		(unsigned long long)seed, (unsigned long long)random_below(&r, 5),
		high ? "high" : "full", (unsigned long long)link,
		(unsigned long long)(high ? 60 + random_below(&r, 100)
					  : 200 + random_below(&r, 400)),
		(unsigned long long)(card * 3 / 2), (unsigned long long)card,
		(unsigned long long)(100 + random_below(&r, 200)),
		(unsigned long long)(500 + random_below(&r, 900)),
		random_below(&r, 2) ? "overlapped" : "store-and-forward");

	if (behind)
		n += (size_t)snprintf(out + n, room - n, "write behind = %lluKi\nreads = %s\n",
			8ULL << random_below(&r, 4),
			random_below(&r, 2) ? "drain-first" : "from-buffer");
	snprintf(out + n, room - n, "claims:\n%s%s%s", claims, *faults ? "faults:\n" : "", faults);
}

static uint32_t only; /* of the next audits; 0: all promises */

static void audit_text(const char *text, uint64_t seed, uint64_t area_bytes, struct promises *out)
{
	struct audit_hooks hooks = { 0 };
	struct error err = { 0 };
	enum audit_outcome outcome;
	struct model_spec spec;
	struct audit_plan plan = {
		.area_bytes = area_bytes, .whole_target = true, .seed = seed, .with_eject = true
	};
	struct medium *m;

	ck_assert_msg(model_spec_parse(&spec, text, strlen(text), "t", &err) == 0, "%s", err.text);
	ck_assert_msg(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err) == 0, "%s",
		err.text);
	audit_plan_defaults(&plan, m);
	plan.burst_limit_bytes = 1 << 20;
	plan.many_writes = area_bytes > AREA ? 4096 : 256;
	plan.only = only;
	ck_assert_msg(audit_run(m, &plan, &hooks, out, &outcome, &err) == 0, "%s", err.text);
	ck_assert_int_eq(outcome, AUDIT_COMPLETE);
	ck_assert(!out->partial);
	medium_close(m);
}

static const struct promise *line(const struct promises *f, const char *id)
{
	for (size_t i = 0; i < f->count; i++)
		if (!strcmp(f->list[i].name, id))
			return &f->list[i];
	ck_abort_msg("no line '%s'", id);
	return NULL;
}

static const char back[] = "write cache = yes\nfua = yes\n";
static const char through[] = "caching page = no\n";
static const char no_cache[] = "write cache = no\n";

static void honest(bool behind, const char *claims, const char *what)
{
	unsigned broken = 0, n = seeds() * 3;

	for (unsigned seed = 1; seed <= n; seed++) {
		struct promises f;
		char text[2048];

		draw_gadget(text, sizeof text, seed, behind, claims, "");
		audit_text(text, seed, AREA, &f);
		if (!promises_tally(&f, PROMISE_BROKEN))
			continue;
		broken++;
		printf("seed %u:\n", seed);
		for (size_t i = 0; i < f.count; i++)
			if (f.list[i].verdict == PROMISE_BROKEN)
				printf("  %s: %s\n", f.list[i].name, f.list[i].evidence);
	}
	if (getenv("BLKASSAY_AUDIT_SEEDS"))
		printf("honest %s: %u of %u falsely broken\n", what, broken, n);
	ck_assert_uint_eq(broken, 0);
}

START_TEST(honest_gadgets_pass)
{
	honest(true, back, "write-back");
	honest(false, through, "write-through, no page");
	honest(false, no_cache, "write-through, WCE 0");
	honest(false, back, "write-through that claims a cache");
}
END_TEST

struct fault_case {
	const char *name, *claims, *faults, *id;
	bool certain; /* does not depend on a backlog that can be built and timed */
	bool rare; /* takes thousands of writes to meet */
};

static const struct fault_case fault_cases[] = {
	{ "claims write-through but buffers", through, "", "write-behind", true, false },
	{ "claims WCE 0 but buffers", no_cache, "", "write-behind", true, false },
	{ "ignores flush", back, "ignore flush = yes\n", "flush", false, false },
	{ "ignores flush, seen at a cut", back, "ignore flush = yes\n", "power-cut", true, false },
	{ "lies about FUA", back, "ignore fua = yes\n", "fua", false, false },
	{ "drops a failed background write", back,
		"bad range = 64Ki+4Ki\nbad range report = never\n", "background-error", true,
		false },
	{ "serves stale reads", back, "stale reads = yes\n", "read-after-write", true, false },
	{ "reorders overlapping writes", back, "reorder overlaps = yes\n", "overlap", true, false },
	{ "tears at the cut", back, "torn sectors = yes\n", "power-cut", true, false },
	{ "forgets a flushed write, 1 in 1000", back, "lose flushed write = 1 in 1000\n",
		"power-cut", true, true },
	{ "loses a write, 1 in 1000", back, "lose write = 1 in 1000\n", "stored", true, true },
	{ "accepts requests past the end", back, "past end accepted = yes\n", "past-end", true,
		false },
	{ "ejects without draining", back, "eject without drain = yes\n", "eject", true, false },
	{ "moves less than was asked", back, "wrong residue = 1 in 40\n", "transfer-length", true,
		false },
	{ "drops the last sector", back, "drop last sector = 1 in 20\n", "stored", true, false },
};

/* So small a buffer seldom holds two writes to one place but when they follow each other. */
START_TEST(what_chance_did_not_meet_is_not_kept_beside_what_it_would_break)
{
	static const char text[] =
		"gadget-model 1\ndevice:\nname = t\ncapacity = 32Mi\njitter = 2 %\nlink:\n"
		"speed = full\nrate = 1.0 MB/s\nrequest cost = 0.2 ms\ncard:\nread rate = 1.7 "
		"MB/s\n"
		"write rate = 1.0 MB/s\nread command cost = 0.2 ms\nwrite command cost = 0.2 ms\n"
		"firmware:\nunit = request\ntransfer = overlapped\nwrite behind = 4Ki\n"
		"claims:\nwrite cache = yes\nfua = yes\nfaults:\nreorder overlaps = yes\n";
	struct promises f;
	const struct promise *p;

	audit_text(text, 1, AREA, &f);
	ck_assert_int_eq(line(&f, "overlap")->verdict, PROMISE_BROKEN);
	p = line(&f, "interleaved");
	ck_assert_int_eq(p->verdict, PROMISE_NOT_SHOWN);
	ck_assert_ptr_nonnull(strstr(p->evidence, "0 of "));
	ck_assert_ptr_nonnull(strstr(p->evidence, "did come out in the wrong order"));
}
END_TEST

/* ---- how much it writes ---- */

static void count_written(void *context, struct scsi_exchange *x)
{
	if (x->cdb[0] == SCSI_WRITE_10 || x->cdb[0] == SCSI_WRITE_16)
		*(double *)context += x->data_length;
}

/* Bytes written, by the kernel and past it; announced: by the plan. */
static double written_by(const char *firmware, const char *claims, double *announced)
{
	struct audit_hooks hooks = { 0 };
	struct error err = { 0 };
	enum audit_outcome outcome;
	struct model_spec spec;
	struct audit_plan plan = { .area_bytes = AREA, .whole_target = true, .seed = 3 };
	struct medium_counts counts;
	struct promises f;
	struct medium *m, *model;
	double written = 0;
	char text[1000];

	snprintf(text, sizeof text,
		"gadget-model 1\ndevice:\nname = t\ncapacity = 20Mi\njitter = 1 %%\nlink:\n"
		"speed = high\nrate = 35 MB/s\nrequest cost = 50 us\ncard:\nread rate = 10 "
		"MB/s\nwrite rate = 3 MB/s\nfirmware:\nunit = request\n%sclaims:\n%s",
		firmware, claims);
	ck_assert_msg(model_spec_parse(&spec, text, strlen(text), "t", &err) == 0, "%s", err.text);
	ck_assert_msg(model_open_spec(&model, &spec, "model:t", MEDIUM_READ_WRITE, &err) == 0, "%s",
		err.text);
	m = scsi_tap_new(model, count_written, &written);
	ck_assert_ptr_nonnull(m);
	audit_plan_defaults(&plan, m);
	plan.burst_limit_bytes = 4 << 20;
	plan.many_writes = 256;
	plan.with_eject = true;
	ck_assert_msg(audit_run(m, &plan, &hooks, &f, &outcome, &err) == 0, "%s", err.text);
	ck_assert_int_eq(outcome, AUDIT_COMPLETE);
	ck_assert_int_eq(medium_counts(model, &counts), 0);
	medium_close(m);
	*announced = audit_bytes_to_write(&plan);
	return written + (double)counts.written_bytes;
}

/* Never more than it says before it begins; a buffer of nearly half of its longest burst makes it write most. */
START_TEST(it_writes_no_more_than_it_announces)
{
	static const char *const claims[] = { "caching page = no\nsynchronize cache = no\n",
		"write cache = yes\nfua = yes\n", "write cache = no\n" };
	double most = 0;

	for (unsigned kib = 0; kib <= 2048; kib += 512) {
		for (size_t i = 0; i < sizeof claims / sizeof *claims; i++) {
			double announced, written;
			char firmware[100] = "";

			if (kib)
				snprintf(firmware, sizeof firmware,
					"write behind = %uKi\nreads = from-buffer\n", kib);
			written = written_by(firmware, claims[i], &announced);
			ck_assert_msg(written <= announced,
				"a buffer of %u KiB, claims %zu: %.0f bytes written, %.0f "
				"announced",
				kib, i, written, announced);
			most = written / announced > most ? written / announced : most;
		}
	}
	/* The bound is no mere large number. */
	ck_assert_msg(most > 0.5, "at most %.2f of what is announced is written", most);
}
END_TEST

START_TEST(each_fault_is_caught)
{
	const struct fault_case *s = &fault_cases[_i];
	unsigned caught = 0, missed = 0, kept = 0;

	for (unsigned seed = 1; seed <= seeds(); seed++) {
		struct promises f;
		const struct promise *found;
		char text[2048];

		draw_gadget(text, sizeof text, seed * 7, true, s->claims, s->faults);
		audit_text(text, seed, s->rare ? 16 * AREA : AREA, &f);
		found = line(&f, s->id);
		caught += found->verdict == PROMISE_BROKEN;
		missed += found->verdict != PROMISE_BROKEN;
		kept += found->verdict == PROMISE_KEPT;
		if (found->verdict == PROMISE_BROKEN)
			ck_assert_uint_gt(strlen(found->mend), 10);
		else
			printf("%s, seed %u: %s: %s\n   buffer: %s\n", s->name, seed,
				promise_verdict_name(found->verdict), found->evidence,
				line(&f, "buffer")->evidence);
	}
	if (getenv("BLKASSAY_AUDIT_SEEDS"))
		printf("%s: caught %u, not shown %u, falsely kept %u\n", s->name, caught,
			missed - kept, kept);
	fflush(stdout);
	ck_assert_msg(kept == 0, "%s was called kept", s->name);
	ck_assert_msg(!s->certain || missed == 0, "%s was missed", s->name);
	/* What rests on timing may be "not shown" where link and card are equally fast, but not as a rule. */
	ck_assert_msg(caught * 4 >= seeds() * 3, "%s was caught only %u times", s->name, caught);
}
END_TEST

/* A flush that returns with a third of the buffer still waiting takes long, too: the burst right after it gives it away. */
START_TEST(what_a_flush_leaves_is_seen)
{
	unsigned broken = 0, n = 2 * seeds();

	for (unsigned seed = 1; seed <= n; seed++) {
		const struct promise *found;
		struct promises f;
		char text[2048], faults[100], *at;
		unsigned kib;

		draw_gadget(text, sizeof text, seed * 5, true, back, "");
		at = strstr(text, "write behind = ");
		ck_assert_int_eq(sscanf(at, "write behind = %uKi", &kib), 1);
		snprintf(faults, sizeof faults, "faults:\nflush leaves = %u\n",
			(kib * 1024 / 3 + 511) / 512 * 512);
		strncat(text, faults, sizeof text - strlen(text) - 1);
		audit_text(text, seed, AREA, &f);
		found = line(&f, "flush");
		ck_assert_msg(found->verdict != PROMISE_KEPT, "seed %u: %s", seed, found->evidence);
		broken += found->verdict == PROMISE_BROKEN;
		ck_assert_int_ne(line(&f, "fsync")->verdict, PROMISE_KEPT);
	}
	if (getenv("BLKASSAY_AUDIT_SEEDS"))
		printf("leaves a third: %u of %u broken\n", broken, n);
	ck_assert_uint_ge(broken * 2, n);
}
END_TEST

/* ---- what the bus shows of flushes ---- */

enum bus_watch { BUS_UNWATCHED, BUS_WATCHED, BUS_LOSES_EVENTS };

/* A host that notices some answers late: those of SYNCHRONIZE CACHE after writes, or of every other one. */
struct dawdler {
	struct medium *inner;
	struct phases *phases;
	enum bus_watch watch;
	bool after_writes, every_other;
	bool refuses; /* every SYNCHRONIZE CACHE, once it has stored all */
	uint64_t busy_ns; /* after a write SYNCHRONIZE CACHE is answered NOT READY for so long */
	const char *card; /* MB/s; NULL: 0.4 */
	bool wrote;
	uint64_t wrote_ns;
	unsigned flushes;
};

static void dawdle(void *context, struct scsi_exchange *x)
{
	struct dawdler *d = context;

	if (x->cdb[0] == SCSI_WRITE_10) {
		d->wrote = true;
		d->wrote_ns = medium_now_ns(d->inner);
	}
	if (x->cdb[0] != SCSI_SYNCHRONIZE_CACHE_10)
		return;
	d->flushes++;
	if (d->refuses)
		scsi_tap_fail(x, SENSE_HARDWARE_ERROR, 0x4400, false);
	if (medium_now_ns(d->inner) - d->wrote_ns < d->busy_ns)
		scsi_tap_fail(x, SENSE_NOT_READY, 0x0401, false);
	if ((d->after_writes && d->wrote) || (d->every_other && d->flushes % 2))
		medium_idle_ns(d->inner, 170000000);
	d->wrote = false;
}

static void bus_begin(void *context, enum command_deed deed)
{
	phases_begin_stretch(((struct dawdler *)context)->phases, deed);
}

static void bus_end(void *context, struct command_sum *out)
{
	struct dawdler *d = context;

	phases_end_stretch(d->phases, out);
	if (d->watch == BUS_LOSES_EVENTS && d->flushes % 3 == 0)
		out->seen = false;
}

/* A backlog of 64 KiB, which takes 164 ms to store. */
static const char behind_text[] =
	"gadget-model 1\ndevice:\nname = t\ncapacity = 20Mi\njitter = 1 %%\n"
	"link:\nspeed = full\nrate = 1 MB/s\nrequest cost = 0.2 ms\n"
	"card:\nread rate = 2 MB/s\nwrite rate = %s MB/s\nwrite command cost = 0.4 ms\n"
	"firmware:\nunit = request\nwrite behind = 64Ki\n%sclaims:\nwrite cache = yes\n%s";

static struct promises audited_on_bus(struct dawdler *d, const char *firmware, const char *faults)
{
	struct command_watcher bus = { d, bus_begin, bus_end };
	struct audit_hooks hooks = { .bus = d->watch == BUS_UNWATCHED ? NULL : &bus };
	struct audit_plan plan = { .area_bytes = AREA,
		.whole_target = true,
		.seed = 3,
		.only = PROMISE_BIT(PROMISE_ID_BUFFER) | PROMISE_BIT(PROMISE_ID_FLUSH) };
	struct error err = { 0 };
	enum audit_outcome outcome;
	struct model_spec spec;
	struct promises f;
	struct medium *m;
	char text[2048];

	snprintf(text, sizeof text, behind_text, d->card ? d->card : "0.4", firmware, faults);
	ck_assert_msg(model_spec_parse(&spec, text, strlen(text), "t", &err) == 0, "%s", err.text);
	ck_assert_int_eq(model_open_spec(&d->inner, &spec, "model:t", MEDIUM_READ_WRITE, &err), 0);
	ck_assert_int_eq(phases_open(&d->phases, d->inner, NULL, &err), 0);
	m = scsi_tap_new(d->inner, dawdle, d);
	audit_plan_defaults(&plan, m);
	ck_assert_int_eq(audit_run(m, &plan, &hooks, &f, &outcome, &err), 0);
	phases_close(d->phases);
	medium_close(m);
	return f;
}

static const char ignores[] = "faults:\nignore flush = yes\n";

/* By its own clock alone the host takes its dawdling for the gadget's storing, which goes on meanwhile. */
START_TEST(a_dawdling_host_stores_nothing)
{
	struct dawdler blind = { .after_writes = true },
		       watching = { .watch = BUS_WATCHED, .after_writes = true };
	struct promises f = audited_on_bus(&blind, "", ignores);

	ck_assert_int_eq(line(&f, "flush")->verdict, PROMISE_KEPT); /* the trap is one */
	f = audited_on_bus(&watching, "", ignores);
	ck_assert_msg(
		line(&f, "flush")->verdict == PROMISE_BROKEN, "%s", line(&f, "flush")->evidence);
	ck_assert_ptr_nonnull(strstr(line(&f, "flush")->evidence, "its status at once"));
}
END_TEST

START_TEST(a_dawdling_host_hides_no_storing)
{
	struct dawdler blind = { .every_other = true },
		       watching = { .watch = BUS_WATCHED, .every_other = true };
	struct promises f = audited_on_bus(&blind, "", "");

	ck_assert_int_ne(line(&f, "flush")->verdict, PROMISE_BROKEN);
	f = audited_on_bus(&watching, "", "");
	ck_assert_msg(
		line(&f, "flush")->verdict == PROMISE_KEPT, "%s", line(&f, "flush")->evidence);
}
END_TEST

/* Then the host's clock counts for all, as without a monitor, and the line says so. */
START_TEST(lost_events_judge_no_flush)
{
	static const char *const faults[] = { "", ignores };

	for (int i = 0; i < 2; i++) {
		struct dawdler blind = { .watch = BUS_UNWATCHED },
			       losing = { .watch = BUS_LOSES_EVENTS };
		struct promises f = audited_on_bus(&blind, "", faults[i]),
				g = audited_on_bus(&losing, "", faults[i]);

		ck_assert_int_eq(line(&f, "flush")->verdict, i ? PROMISE_BROKEN : PROMISE_KEPT);
		ck_assert_int_eq(line(&g, "flush")->verdict, line(&f, "flush")->verdict);
		ck_assert_ptr_nonnull(strstr(line(&g, "flush")->evidence, "(the bus did not show"));
		ck_assert_ptr_null(strstr(line(&g, "flush")->evidence, "on the bus (taken"));
	}
}
END_TEST

/* It answers SYNCHRONIZE CACHE at once, as it takes no command before all is stored: the wait is the command's. */
START_TEST(a_flush_may_wait_to_be_taken)
{
	struct dawdler watching = { .watch = BUS_WATCHED };
	struct promises f = audited_on_bus(&watching, "drain = before-next\n", ignores);

	ck_assert_msg(
		line(&f, "flush")->verdict == PROMISE_KEPT, "%s", line(&f, "flush")->evidence);
	ck_assert_ptr_nonnull(strstr(line(&f, "flush")->evidence, "its status at once"));
}
END_TEST

/* It answers that it is about to be ready until all is stored, and the host asks again: that takes as long as storing does, though no
 * command on the bus does. */
START_TEST(a_flush_may_be_asked_for_again)
{
	for (int watch = BUS_UNWATCHED; watch <= BUS_WATCHED; watch++) {
		struct dawdler d = { .watch = (enum bus_watch)watch, .busy_ns = 166000000 };
		struct promises f = audited_on_bus(&d, "", ignores);

		ck_assert_msg(line(&f, "flush")->verdict == PROMISE_KEPT, "%s",
			line(&f, "flush")->evidence);
		ck_assert_ptr_null(strstr(line(&f, "flush")->evidence, "on the bus (taken"));
	}
}
END_TEST

/* It waits until all is stored, and then answers with an error. */
START_TEST(a_flush_refused_keeps_nothing)
{
	for (int watch = BUS_UNWATCHED; watch <= BUS_WATCHED; watch++) {
		struct dawdler d = { .watch = (enum bus_watch)watch, .refuses = true };
		struct promises f = audited_on_bus(&d, "", "");

		ck_assert_msg(line(&f, "flush")->verdict != PROMISE_KEPT, "%s",
			line(&f, "flush")->evidence);
		ck_assert_ptr_nonnull(strstr(line(&f, "flush")->evidence, "refused every time"));
	}
}
END_TEST

/* It lets a flush wait as long as storing would take, and stores only once it is left alone: the buffer is still full. */
START_TEST(a_flush_that_waits_may_store_nothing)
{
	struct dawdler blind = { .after_writes = true };
	struct promises f = audited_on_bus(
		&blind, "drain = after-idle\nidle time = 250 ms\nreads = from-buffer\n", ignores);

	ck_assert_ptr_nonnull(strstr(line(&f, "flush")->evidence, "170 ms"));
	ck_assert_ptr_nonnull(strstr(line(&f, "flush")->evidence, "longer than from idle"));
	ck_assert_msg(
		line(&f, "flush")->verdict == PROMISE_NOT_SHOWN, "%s", line(&f, "flush")->evidence);
}
END_TEST

/* As fast as its link: nothing is left to store, and a flush answered at once breaks nothing. */
START_TEST(a_fast_card_leaves_nothing)
{
	struct dawdler watching = { .watch = BUS_WATCHED, .card = "40" };
	struct promises f = audited_on_bus(&watching, "", "");

	ck_assert_int_eq(line(&f, "flush")->verdict, PROMISE_NOT_SHOWN);
	ck_assert_ptr_nonnull(
		strstr(line(&f, "flush")->evidence, "no backlog long enough to tell"));
}
END_TEST

/* A failed background write that is told, either way, breaks no promise and excuses what it cost. */
START_TEST(reported_failures_are_no_fault)
{
	static const char *const ways[] = { "deferred", "flush" };

	for (unsigned seed = 1; seed <= 2 * seeds(); seed++) {
		char text[2048], faults[100];
		const struct promise *found;
		struct promises f;

		snprintf(faults, sizeof faults, "bad range = 64Ki+4Ki\nbad range report = %s\n",
			ways[seed % 2]);
		draw_gadget(text, sizeof text, seed, true, back, faults);
		audit_text(text, seed, AREA, &f);
		found = line(&f, "background-error");
		ck_assert_msg(found->verdict == PROMISE_KEPT, "%s", found->evidence);
		ck_assert_msg(strstr(found->evidence, "medium error, 0C/00 write error"), "%s",
			found->evidence);
		ck_assert_int_eq(!strstr(found->evidence, " 0 of them deferred"), seed % 2 == 0);
		ck_assert_uint_eq(promises_tally(&f, PROMISE_BROKEN), 0);
		ck_assert_uint_gt(found->tested, 0);
	}
}
END_TEST

/* A gadget under development answers anything: the audit comes to an end, within its bounds, and says something. */
START_TEST(hostile_answers_are_survived)
{
	for (uint64_t seed = 1; seed <= 24; seed++) {
		struct audit_hooks hooks = { 0 };
		struct error err = { 0 };
		enum audit_outcome outcome;
		struct promises f;
		struct model_spec spec;
		struct audit_plan plan = { .area_bytes = AUDIT_AREA_MIN,
			.whole_target = true,
			.seed = seed,
			.with_eject = true };
		struct hostile_scsi h;
		struct medium *m;
		char text[2048];

		draw_gadget(text, sizeof text, seed, seed % 2, back, "");
		ck_assert_int_eq(model_spec_parse(&spec, text, strlen(text), "t", &err), 0);
		ck_assert_int_eq(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err), 0);
		m = hostile_scsi_new(&h, m, seed, seed % 3 ? 40 : 3);
		audit_plan_defaults(&plan, m);
		plan.burst_limit_bytes = 128 * 1024;
		plan.many_writes = 64;
		if (audit_run(m, &plan, &hooks, &f, &outcome, &err) < 0)
			ck_assert_uint_gt(strlen(err.text), 10);
		else
			ck_assert_uint_gt(f.count, 15);
		medium_close(m);
	}
}
END_TEST

static bool stop_soon(void *context)
{
	return ++*(unsigned *)context > 2000;
}

/* An audit that is stopped after 2000 - asked questions whether to go on, of an honest gadget whose kernel took its
 * removable mark for this. */
static enum audit_outcome audit_briefly(struct promises *f, unsigned asked, bool marked_removable)
{
	struct watch watch = { .context = &asked, .stop = stop_soon };
	struct audit_hooks hooks = { .watch = &watch };
	struct audit_plan plan = { .area_bytes = AREA, .whole_target = true, .seed = 1 };
	struct error err = { 0 };
	enum audit_outcome outcome;
	struct model_spec spec;
	struct medium *m;
	char text[2048];

	draw_gadget(text, sizeof text, 1, true, back, "");
	ck_assert_int_eq(model_spec_parse(&spec, text, strlen(text), "t", &err), 0);
	ck_assert_int_eq(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err), 0);
	m->traits.marked_removable = marked_removable;
	audit_plan_defaults(&plan, m);
	ck_assert_int_eq(audit_run(m, &plan, &hooks, f, &outcome, &err), 0);
	medium_close(m);
	return outcome;
}

START_TEST(interrupted_keeps_what_is_known)
{
	struct promises f;

	ck_assert_int_eq(audit_briefly(&f, 0, true), AUDIT_INTERRUPTED);
	ck_assert(f.partial);
	ck_assert_uint_ge(f.count, 4);
	ck_assert_uint_lt(f.count, 10);
}
END_TEST

/* The mark is asked for once more: a firmware that answers it otherwise than when it was plugged in is told so. */
START_TEST(mark_that_changed_is_told)
{
	for (int kernel_says = 0; kernel_says < 2; kernel_says++) {
		struct promises f;

		audit_briefly(
			&f, 1900, kernel_says); /* the claims come first, the rest is not needed */
		ck_assert_int_eq(
			line(&f, "inquiry")->verdict, kernel_says ? PROMISE_KEPT : PROMISE_BROKEN);
	}
}
END_TEST

/* ---- what is asked about, and what a verdict rests on ---- */

START_TEST(every_promise_has_its_line_in_order)
{
	struct promises f;
	char text[2048];

	draw_gadget(text, sizeof text, 1, true, back, "");
	audit_text(text, 1, AREA, &f);
	ck_assert_uint_eq(f.count, PROMISE_IDS);
	for (int id = 0; id < PROMISE_IDS; id++) {
		ck_assert_int_eq(promise_parse(f.list[id].name), id);
		ck_assert_str_eq(f.list[id].claim, promise_row((enum promise_id)id)->claim);
		if (f.list[id].verdict == PROMISE_KEPT)
			ck_assert_msg(f.list[id].tested, "%s rests on nothing", f.list[id].name);
	}
}
END_TEST

/* --only: the others are not asked about, and what they would have cost is not written; what is seen broken in passing
 * is said, and does not count. */
START_TEST(only_what_is_named_counts)
{
	struct promises f;
	char text[2048];

	draw_gadget(text, sizeof text, 3, true, back, "drop last sector = 1 in 20\n");
	only = PROMISE_BIT(PROMISE_ID_INQUIRY) | PROMISE_BIT(PROMISE_ID_PAST_END);
	audit_text(text, 3, AREA, &f);
	ck_assert_uint_eq(f.count, PROMISE_IDS);
	ck_assert_uint_eq(promises_tally(&f, PROMISE_KEPT), 2);
	ck_assert_uint_eq(promises_tally(&f, PROMISE_NOT_ASKED), PROMISE_IDS - 2);
	ck_assert_str_eq(line(&f, "stored")->evidence, "left out by --only");
	ck_assert_int_eq(promises_conclude(&f), PROMISE_KEPT);
	/* Built on the many small writes, which show that sectors are dropped. */
	only = PROMISE_BIT(PROMISE_ID_TRANSFER_LENGTH);
	audit_text(text, 3, AREA, &f);
	ck_assert_int_eq(promises_conclude(&f), PROMISE_KEPT);
	ck_assert_int_eq(line(&f, "stored")->verdict, PROMISE_NOT_ASKED);
	ck_assert_ptr_nonnull(strstr(line(&f, "stored")->evidence, "seen on the way, and broken"));
	ck_assert_str_eq(line(&f, "stored")->mend, "");
	only = 0;
	audit_text(text, 3, AREA, &f);
	ck_assert_int_eq(promises_conclude(&f), PROMISE_BROKEN);
}
END_TEST

static struct probe_context probe;
static struct promises found;
static struct audit_plan context_plan;
static struct medium *context_medium;

/* What the tap makes of an answer. */
static enum {
	FINE,
	NO_CARD,
	STOPPED,
	NO_SUCH_WRITE,
	LOST_ON_THE_WAY,
	RESET_NEWS,
	NO_MORE_READS,
	NO_MORE_WRITES
} spoiled;

static void spoil(void *context, struct scsi_exchange *x)
{
	bool read = x->cdb[0] == 0x28, write = x->cdb[0] == 0x2A; /* READ(10), WRITE(10): SBC-3 */

	(void)context;
	if (spoiled == NO_CARD && write)
		scsi_tap_fail(x, SENSE_NOT_READY, SENSE_NO_MEDIUM, false);
	else if (spoiled == STOPPED &&
		 (read || write)) /* 02/04/02: initializing command required */
		scsi_tap_fail(x, SENSE_NOT_READY, 0x0402, false);
	else if (spoiled == NO_SUCH_WRITE && write)
		scsi_tap_fail(x, SENSE_ILLEGAL_REQUEST, SENSE_INVALID_FIELD, false);
	else if (spoiled == RESET_NEWS && read)
		scsi_tap_fail(x, SENSE_UNIT_ATTENTION, SENSE_POWER_ON, false);
	else if (spoiled == NO_MORE_READS && read) /* 03/11/00: unrecovered read error */
		scsi_tap_fail(x, SENSE_MEDIUM_ERROR, 0x1100, false);
	else if (spoiled == NO_MORE_WRITES && write) /* 03/0C/00: write error */
		scsi_tap_fail(x, SENSE_MEDIUM_ERROR, 0x0C00, false);
	else if (spoiled == LOST_ON_THE_WAY && (read || write))
		x->host_status = 7; /* DID_ERROR: Linux scsi_status.h, from memory */
}

static void context_begin(void)
{
	static struct audit_hooks hooks;
	struct error err = { 0 };
	struct model_spec spec;
	char text[2048];

	spoiled = FINE;
	found = (struct promises){ 0 };
	draw_gadget(text, sizeof text, 1, true, back, "");
	ck_assert_int_eq(model_spec_parse(&spec, text, strlen(text), "t", &err), 0);
	ck_assert_int_eq(
		model_open_spec(&context_medium, &spec, "model:t", MEDIUM_READ_WRITE, &err), 0);
	context_medium = scsi_tap_new(context_medium, spoil, NULL);
	context_plan = (struct audit_plan){ .area_bytes = AREA, .seed = 1 };
	audit_plan_defaults(&context_plan, context_medium);
	ck_assert_int_eq(
		context_init(&probe, context_medium, &context_plan, &hooks, &found, &err), 0);
}

static void context_end(void)
{
	context_release(&probe);
	medium_close(context_medium);
}

static const struct promise *last_line(void)
{
	return &found.list[found.count - 1];
}

START_TEST(nothing_tested_is_nothing_kept)
{
	context_begin();
	ck_assert_int_eq(
		context_report(&probe, PROMISE_ID_STORED, PROMISE_KEPT, 0, "", "0 of 0 blocks"), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN);
	ck_assert_str_eq(last_line()->evidence, "0 of 0 blocks; nothing was tested");
	ck_assert_int_eq(
		context_report(&probe, PROMISE_ID_STORED, PROMISE_KEPT, 1, "", "0 of 1 block"), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_KEPT);
	context_end();
}
END_TEST

/* That there is no card is no report of a write that failed. */
START_TEST(an_absent_card_reports_nothing)
{
	context_begin();
	medium_expect_change(context_medium); /* as --provoke does */
	spoiled = NO_CARD;
	for (int i = 0; i < 3; i++)
		ck_assert_int_ne(context_write(&probe, 0, probe.unit, PROBE_PLAIN), 0);
	spoiled = FINE;
	ck_assert_uint_eq(probe.errors_reported, 0);
	ck_assert_uint_gt(probe.absent_reported, 0);
	ck_assert_int_eq(probe_background_error(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN);
	ck_assert_ptr_nonnull(strstr(last_line()->evidence, "'no card'"));
	context_end();
}
END_TEST

/* A drive that has stopped, or is busy with itself, holds what it held: its refusals are neither damage nor the report of a
 * write that failed. */
START_TEST(a_drive_that_is_not_ready_judges_nothing)
{
	struct probe_check c = { 0 };

	context_begin();
	ck_assert_int_eq(context_write(&probe, 0, 8 * probe.unit, PROBE_PLAIN), 0);
	spoiled = STOPPED;
	ck_assert_int_eq(
		context_write(&probe, 8 * (uint64_t)probe.unit, probe.unit, PROBE_PLAIN), 1);
	ck_assert_int_eq(context_check(&probe, 0, 8 * (uint64_t)probe.unit, &c), 0);
	ck_assert_uint_eq(c.judged, 0);
	ck_assert_uint_eq(probe.errors_reported, 0);
	context_report(&probe, PROMISE_ID_STORED, PROMISE_BROKEN, 1, "mend", "x");
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN);
	ck_assert_ptr_nonnull(strstr(last_line()->evidence, "not ready"));
	context_report(&probe, PROMISE_ID_STORED, PROMISE_KEPT, 1, "", "x"); /* told once */
	ck_assert_int_eq(last_line()->verdict, PROMISE_KEPT);
	spoiled = FINE;
	ck_assert_int_eq(probe_background_error(&probe), 0);
	ck_assert_int_ne(last_line()->verdict, PROMISE_KEPT);
	/* What it held is there once it runs again. */
	ck_assert_int_eq(context_write(&probe, 0, 8 * probe.unit, PROBE_PLAIN), 0);
	ck_assert_int_eq(context_check(&probe, 0, 8 * (uint64_t)probe.unit, &c), 0);
	ck_assert_uint_eq(c.judged - c.wrong, 8 * probe.unit / probe.block);
	context_end();
	/* Nor is a command that makes no sense to it. */
	context_begin();
	spoiled = NO_SUCH_WRITE;
	context_write(&probe, 0, probe.unit, PROBE_PLAIN);
	spoiled = FINE;
	ck_assert_int_eq(probe_background_error(&probe), 0);
	ck_assert_int_ne(last_line()->verdict, PROMISE_KEPT);
	context_end();
}
END_TEST

/* As after an eject that nothing loads again: what is left to ask comes to no verdict, and to no end of the run. */
START_TEST(a_medium_that_stays_away_is_asked_nothing)
{
	context_begin();
	ck_assert_int_eq(context_write(&probe, 0, probe.unit, PROBE_PLAIN), 0);
	medium_expect_change(context_medium);
	spoiled = NO_CARD;
	ck_assert_int_ne(context_write(&probe, 0, probe.unit, PROBE_PLAIN), 0);
	ck_assert(medium_has_left(context_medium));
	ck_assert_int_eq(probe_steady(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN);
	ck_assert_int_eq(probe_vital_pages(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN);
	ck_assert_ptr_nonnull(strstr(last_line()->evidence, "has not come back"));
	context_end();
}
END_TEST

/* The host's own trouble is no answer of the device, and judges it neither way. */
START_TEST(trouble_of_the_host_judges_nothing)
{
	struct probe_check c = { 0 };

	context_begin();
	ck_assert_int_eq(context_write(&probe, 0, 8 * probe.unit, PROBE_PLAIN), 0);
	spoiled = LOST_ON_THE_WAY;
	context_write(&probe, 8 * (uint64_t)probe.unit, probe.unit, PROBE_PLAIN);
	context_check(&probe, 0, 8 * (uint64_t)probe.unit, &c);
	spoiled = FINE;
	ck_assert_uint_eq(probe.errors_reported, 0);
	ck_assert_int_eq(context_report(&probe, PROMISE_ID_STORED,
				 c.wrong ? PROMISE_BROKEN : PROMISE_KEPT, c.judged, "mend", "x"),
		0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN);
	ck_assert_str_eq(last_line()->mend, "");
	ck_assert_ptr_nonnull(strstr(last_line()->evidence, "failed on the way"));
	context_report(&probe, PROMISE_ID_STORED, PROMISE_KEPT, 1, "", "x"); /* told once */
	ck_assert_int_eq(last_line()->verdict, PROMISE_KEPT);
	context_end();
}
END_TEST

/* One answer that went missing may be the cable's doing; what never comes to an answer while all else does is the device's. */
START_TEST(a_command_that_is_never_answered_is_told)
{
	struct scsi_exchange x;

	context_begin();
	ck_assert_int_eq(context_write(&probe, 0, probe.unit, PROBE_PLAIN), 0);
	ck_assert_int_eq(probe_answered(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_KEPT);
	spoiled = LOST_ON_THE_WAY;
	for (int i = 0; i < 3; i++)
		context_write(&probe, 0, probe.unit, PROBE_PLAIN);
	ck_assert_int_eq(probe_answered(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN); /* writes were answered before */
	context_read(&probe, 0, probe.unit);
	ck_assert_int_eq(probe_answered(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN); /* once */
	context_read(&probe, 0, probe.unit);
	ck_assert_int_eq(probe_answered(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_BROKEN);
	ck_assert_ptr_nonnull(strstr(last_line()->evidence, "28h (READ) 2 of 2 times"));
	/* That the device was reset is news, and no answer to a read. */
	spoiled = RESET_NEWS;
	context_read(&probe, 0, probe.unit);
	spoiled = FINE;
	probe.host_errors = 0;
	ck_assert_int_eq(probe_answered(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_BROKEN);
	scsi_build_read(&x, 0, 1, probe.t->logical_block_bytes, probe.buf, 0);
	ck_assert_int_eq(context_exchange(&probe, &x), 0);
	ck_assert_int_eq(probe_answered(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN);
	context_end();
}
END_TEST

/* A sector that a long write lacks is missing whether the buffer shows best in short requests or not; no eject is to blame. */
START_TEST(lost_sectors_are_no_eject_that_loses)
{
	for (unsigned seed = 1; seed <= 6; seed++) {
		struct promises f;
		char text[2048];

		draw_gadget(text, sizeof text, seed, true, back, "drop last sector = 1 in 7\n");
		audit_text(text, seed, AREA, &f);
		ck_assert_msg(line(&f, "read-after-write")->verdict == PROMISE_BROKEN,
			"seed %u: %s", seed, line(&f, "read-after-write")->evidence);
		ck_assert_msg(line(&f, "eject")->verdict != PROMISE_BROKEN, "seed %u: %s", seed,
			line(&f, "eject")->evidence);
		/* Without the lines before it, too. */
		only = PROMISE_BIT(PROMISE_ID_EJECT);
		audit_text(text, seed, AREA, &f);
		ck_assert_msg(line(&f, "eject")->verdict != PROMISE_BROKEN, "seed %u: %s", seed,
			line(&f, "eject")->evidence);
		only = 0;
	}
}
END_TEST

/* What was there before is no evidence for writes that were refused. */
START_TEST(the_bound_rests_on_writes_that_were_taken)
{
	context_begin();
	context_plan.many_writes = 16; /* most of the area is as it was */
	for (uint64_t at = 0; at < AREA; at += probe.bulk)
		ck_assert_int_eq(context_write(&probe, at, probe.bulk, PROBE_PLAIN), 0);
	ck_assert_int_eq(context_sync(&probe), 0);
	ck_assert_int_eq(context_sync(&probe), 0); /* no error from here on excuses them */
	spoiled = NO_MORE_WRITES;
	ck_assert_int_eq(probe_stored(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN);
	ck_assert_uint_eq(last_line()->tested, 0);
	ck_assert_ptr_null(strstr(last_line()->evidence, "95 %"));
	context_end();
	context_begin();
	context_plan.many_writes = 256;
	ck_assert_int_eq(probe_stored(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_KEPT);
	ck_assert_ptr_nonnull(strstr(last_line()->evidence, "95 %"));
	context_end();
}
END_TEST

/* One error is told, and other blocks hold old data without a word: then nobody knows that all failures were told. */
START_TEST(an_error_told_is_not_all_errors_told)
{
	struct probe_check c = { 0 };

	context_begin();
	ck_assert_int_eq(context_write(&probe, 0, 8 * probe.unit, PROBE_PLAIN), 0);
	ck_assert_int_eq(context_sync(&probe), 0);
	ck_assert_int_eq(context_sync(&probe), 0);
	probe.generation[0]++; /* as if that had been written since, and got lost */
	ck_assert_int_eq(context_check(&probe, 0, 8 * (uint64_t)probe.unit, &c), 0);
	ck_assert_uint_eq(c.wrong, 1);
	spoiled = NO_MORE_WRITES;
	ck_assert_int_ne(context_write(&probe, AREA / 2, probe.unit, PROBE_PLAIN), 0);
	spoiled = FINE;
	ck_assert_uint_eq(probe.errors_reported, 1);
	ck_assert_int_eq(probe_background_error(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN);
	ck_assert_ptr_nonnull(strstr(last_line()->evidence, "other blocks are wrong"));
	context_end();
}
END_TEST

/* What cannot be read was not shown to be out of order, and its mend speaks of reading. */
START_TEST(unreadable_blocks_are_no_lost_writes)
{
	struct probe_check c = { 0 };

	context_begin();
	ck_assert_int_eq(context_write(&probe, 0, 8 * probe.unit, PROBE_PLAIN), 0);
	spoiled = NO_MORE_READS;
	ck_assert_int_eq(context_check(&probe, 0, 8 * (uint64_t)probe.unit, &c), 0);
	ck_assert_uint_gt(c.wrong, 0);
	ck_assert_uint_eq(c.wrong, c.unreadable);
	ck_assert_uint_eq(context_tested(&c), 0);
	ck_assert_int_eq(context_judge_order(&c), PROMISE_NOT_SHOWN);
	ck_assert_ptr_nonnull(strstr(context_mend(&c, "dropped"), "readable"));
	c.wrong++; /* and one that holds something else */
	ck_assert_int_eq(context_judge_order(&c), PROMISE_BROKEN);
	ck_assert_str_eq(context_mend(&c, "dropped"), "dropped");
	context_end();
}
END_TEST

/* ---- gadgets that timing does not see through ---- */

/* A full buffer is emptied at one go, so that what a flush left behind makes nothing wait. */
static const char empties_at_once[] =
	"gadget-model 1\ndevice:\nname = t\ncapacity = 20Mi\nfill = FFh\nseed = 673\nlink:\nspeed "
	"= "
	"none\nrate = 52679 kB/s\nrequest cost = 60 us\ncard:\nread rate = 10015 kB/s\nwrite rate "
	"= 4821 "
	"kB/s\nread command cost = 500 us\nwrite command cost = 5000 us\nfirmware:\nunit = "
	"request\ntransfer = overlapped\nwrite behind = 128Ki\nreads = drain-first\ndrain = "
	"after-idle\nidle time = 1 s\nwhen full = all\nclaims:\nwrite cache = yes\n";

/* The card is faster than the link, so that no backlog grows; but what was answered last is not there yet. */
static const char drains_fast[] =
	"gadget-model 1\ndevice:\nname = t\ncapacity = 20Mi\nfill = FFh\nseed = 492\nlink:\nspeed "
	"= "
	"none\nrate = 15 MB/s\nrequest cost = 1000 us\ncard:\nread rate = 65 MB/s\nwrite rate = 18 "
	"MB/s\nread command cost = 100 us\nfirmware:\nunit = request\ntransfer = "
	"store-and-forward\nwrite behind = 1Mi\nreads = from-buffer\nclaims:\ncaching page = no\n";

START_TEST(what_a_flush_left_is_not_called_seen)
{
	struct promises f;
	char text[2048];

	snprintf(text, sizeof text, "%sfaults:\nflush leaves = 4Ki\n", empties_at_once);
	audit_text(text, 1, AREA, &f);
	ck_assert_int_ne(line(&f, "flush")->verdict, PROMISE_KEPT);
	ck_assert_ptr_nonnull(strstr(line(&f, "flush")->evidence, "but power cuts right after it"));
	ck_assert_int_eq(line(&f, "power-cut")->verdict, PROMISE_BROKEN);
	/* The same gadget with an honest flush. */
	audit_text(empties_at_once, 1, AREA, &f);
	ck_assert_int_eq(line(&f, "flush")->verdict, PROMISE_KEPT);
	ck_assert_ptr_nonnull(
		strstr(line(&f, "flush")->evidence, "power cuts right after it lost nothing"));
	ck_assert_ptr_null(strstr(line(&f, "flush")->evidence, "4.10 kB left"));
}
END_TEST

/* Modelled cuts show it; where power is not cut, nothing does. */
START_TEST(a_fast_buffer_is_not_called_none)
{
	struct promises f;

	audit_text(drains_fast, 1, AREA, &f);
	ck_assert_int_eq(line(&f, "write-behind")->verdict, PROMISE_BROKEN);
	ck_assert_ptr_nonnull(strstr(line(&f, "write-behind")->evidence, "in a power cut"));
	context_begin();
	probe.known.claims_cache = false;
	ck_assert_int_eq(probe_write_behind(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_NOT_SHOWN);
	ck_assert_ptr_nonnull(strstr(last_line()->evidence, "only power cuts can show"));
	probe.known.cut_answers = 4;
	ck_assert_int_eq(probe_write_behind(&probe), 0);
	ck_assert_int_eq(last_line()->verdict, PROMISE_KEPT);
	ck_assert_uint_eq(last_line()->tested, 4);
	context_end();
}
END_TEST

/* ---- no promise that nothing can break ---- */

/* What a gadget is like, or what is made of its answers, so that promises are broken. */
struct breaking_case {
	const char *faults;
	void (*change)(void *context, struct scsi_exchange *x); /* NULL: nothing */
	void (*believe)(struct medium_traits *t); /* what the kernel believes; NULL: the truth */
};

static void another_mark(struct medium_traits *t)
{
	t->marked_removable = !t->marked_removable;
}

/* The kernel takes it for write through and so never sends a flush. */
static void no_cache_seen(struct medium_traits *t)
{
	t->cache = MEDIUM_CACHE_WRITE_THROUGH;
	t->fua = false;
}

/* READ CAPACITY(10), SBC-3 5.13: the number of the last block is one too high, as where the count is returned. */
static void count_for_last_block(void *context, struct scsi_exchange *x)
{
	uint8_t *answer = x->data;

	(void)context;
	if (x->cdb[0] == 0x25)
		answer[3]++;
}

/* MODE SENSE(6) of the caching page by itself, SPC-4 6.11: WCE, bit 2 of its third byte, otherwise than among all pages. */
static void another_page_by_itself(void *context, struct scsi_exchange *x)
{
	uint8_t *answer = x->data;

	(void)context;
	if (x->cdb[0] == 0x1A && (x->cdb[2] & 0x3F) == 0x08)
		answer[4 + answer[3] + 2] ^= 0x04;
}

/* READ(10) and WRITE(10) of 0 blocks are no error: SBC-3 5.11, 5.36. */
static void zero_is_refused(void *context, struct scsi_exchange *x)
{
	(void)context;
	if ((x->cdb[0] == 0x28 || x->cdb[0] == 0x2A) && !x->cdb[7] && !x->cdb[8])
		scsi_tap_fail(x, SENSE_ILLEGAL_REQUEST, 0x2400, false);
}

static unsigned asked_before;

/* INQUIRY, SPC-4 6.4.2: product revision level in bytes 32 to 35; another one from the second time on. */
static void another_revision_later(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (x->cdb[0] == 0x12 && !(x->cdb[1] & 1) && asked_before++)
		memcpy((uint8_t *)x->data + 32, "2.00", 4);
}

static const struct breaking_case breaking_cases[] = {
	{ "", another_revision_later, NULL },
	{ "", NULL, another_mark },
	{ "", NULL, no_cache_seen },
	{ "", count_for_last_block, NULL },
	{ "", another_page_by_itself, NULL },
	{ "", zero_is_refused, NULL },
	{ "ignore flush = yes\n", NULL, NULL },
	{ "ignore fua = yes\n", NULL, NULL },
	{ "stale reads = yes\n", NULL, NULL },
	{ "reorder overlaps = yes\n", NULL, NULL },
	{ "drop last sector = 1 in 20\n", NULL, NULL },
	{ "past end accepted = yes\n", NULL, NULL },
	{ "bad range = 64Ki+4Ki\nbad range report = never\n", NULL, NULL },
	{ "torn sectors = yes\n", NULL, NULL },
	{ "wrong residue = 1 in 40\n", NULL, NULL },
	{ "eject without drain = yes\n", NULL, NULL },
	{ "sense stays = yes\n", NULL, NULL },
	{ "stays after eject = yes\n", NULL, NULL },
	{ "unknown command = silence\n", NULL, NULL },
	{ "vital pages confused = yes\n", NULL, NULL },
};

static scsi_tap_change *before_each; /* what is made of commands; NULL: nothing */

static uint32_t broken_by(const struct breaking_case *b, const char *claims)
{
	struct audit_hooks hooks = { 0 };
	struct audit_plan plan = {
		.area_bytes = AREA, .whole_target = true, .seed = 5, .with_eject = true
	};
	struct error err = { 0 };
	enum audit_outcome outcome;
	struct promises f;
	struct model_spec spec;
	struct medium *m;
	uint32_t broken = 0;
	char text[2048];

	draw_gadget(text, sizeof text, 35, true, claims, b->faults);
	ck_assert_msg(!model_spec_parse(&spec, text, strlen(text), "t", &err), "%s", err.text);
	ck_assert_int_eq(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err), 0);
	if (b->change)
		m = scsi_tap_new(m, b->change, NULL);
	if (b->change && before_each)
		scsi_tap_before(m, before_each);
	if (b->believe)
		b->believe(&m->traits);
	audit_plan_defaults(&plan, m);
	plan.burst_limit_bytes = 1 << 20;
	plan.many_writes = 256;
	ck_assert_msg(!audit_run(m, &plan, &hooks, &f, &outcome, &err), "%s", err.text);
	medium_close(m);
	for (size_t i = 0; i < f.count; i++)
		if (f.list[i].verdict == PROMISE_BROKEN)
			broken |= PROMISE_BIT(i);
	return broken;
}

static unsigned commands_seen, stops_at, stays_for;

static bool has_stopped(void)
{
	return commands_seen > stops_at && commands_seen <= stops_at + stays_for;
}

/* In the middle of it all, by itself or by somebody's STOP: for so many reads, writes and flushes, which then are not done. */
static void stop_before(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (x->cdb[0] != 0x28 && x->cdb[0] != 0x2A && x->cdb[0] != 0x35)
		return;
	commands_seen++;
	if (has_stopped())
		x->cdb[0] = 0xC0; /* a command that nobody knows */
}

/* 02/04/02: initializing command required. */
static void stop_after(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (x->cdb[0] == 0xC0)
		scsi_tap_fail(x, SENSE_NOT_READY, 0x0402, false);
}

START_TEST(a_drive_that_stops_in_between_breaks_nothing)
{
	static const unsigned moments[] = { 3, 900, 2200 };

	for (size_t i = 0; i < sizeof moments / sizeof *moments; i++)
		for (stays_for = 40; stays_for < 1000000; stays_for *= 20000) {
			struct breaking_case b = { "", stop_after, NULL };
			uint32_t broken;

			commands_seen = 0;
			stops_at = moments[i];
			before_each = stop_before;
			broken = broken_by(&b, back);
			before_each = NULL;
			ck_assert_msg(!broken, "stopped at %u: broken %X", stops_at, broken);
		}
}
END_TEST

static void nothing(void *context, struct scsi_exchange *x)
{
	(void)context;
	(void)x;
}

static unsigned modes_asked, modes_hold;

/* MODE SENSE(6), WCE in the caching page behind a header of 4 bytes: another one from some answer on, as where a firmware, or
 * somebody else, switches its cache. */
static void switch_the_cache(void *context, struct scsi_exchange *x)
{
	uint8_t *answer = x->data;

	(void)context;
	if (x->cdb[0] == 0x1A && modes_asked++ >= modes_hold)
		answer[4 + 2] ^= 0x04;
}

static void list_of(struct promises *f, const char *claims, scsi_tap_change *change,
	void (*believe)(struct medium_traits *t))
{
	struct audit_hooks hooks = { 0 };
	struct audit_plan plan = { .area_bytes = AREA, .seed = 5 };
	struct error err = { 0 };
	enum audit_outcome outcome;
	struct model_spec spec;
	struct medium *m;
	char text[2048];

	draw_gadget(text, sizeof text, 35, true, claims, "");
	ck_assert_msg(!model_spec_parse(&spec, text, strlen(text), "t", &err), "%s", err.text);
	ck_assert_int_eq(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err), 0);
	m = scsi_tap_new(m, change, NULL);
	if (believe)
		believe(&m->traits);
	audit_plan_defaults(&plan, m);
	plan.burst_limit_bytes = 1 << 20;
	plan.many_writes = 256;
	ck_assert_msg(!audit_run(m, &plan, &hooks, f, &outcome, &err), "%s", err.text);
	medium_close(m);
}

/* Which claim the lines before were about cannot be told. Somebody else may have switched it: that is no fault of the device. */
START_TEST(a_cache_that_is_switched_in_between_is_told)
{
	struct promises f;

	modes_asked = 0;
	modes_hold = 2; /* page 3Fh and page 08h, at first */
	list_of(&f, back, switch_the_cache, NULL);
	ck_assert_int_eq(line(&f, "cache-page")->verdict, PROMISE_KEPT);
	ck_assert_int_eq(line(&f, "write-behind")->verdict, PROMISE_NOT_SHOWN);
	ck_assert_int_eq(line(&f, "steady")->verdict, PROMISE_NOT_SHOWN);
	ck_assert_ptr_nonnull(strstr(line(&f, "steady")->evidence, "WCE 0, DPOFUA"));
	/* Claimed write through, and then that it has a cache: it holds data, and now says so. */
	modes_asked = 0;
	list_of(&f, no_cache, switch_the_cache, NULL);
	ck_assert_int_eq(line(&f, "write-behind")->verdict, PROMISE_NOT_SHOWN);
	modes_asked = 0;
	modes_hold = 100;
	list_of(&f, no_cache, switch_the_cache, NULL);
	ck_assert_int_eq(line(&f, "write-behind")->verdict, PROMISE_BROKEN);
	ck_assert_int_eq(line(&f, "steady")->verdict, PROMISE_KEPT);
}
END_TEST

static void another_build(struct medium_traits *t)
{
	snprintf(t->revision, sizeof t->revision, "1.4");
}

/* A record names the revision that the kernel has, and builds are told apart by it. */
START_TEST(a_revision_that_changes_is_told)
{
	struct promises f;

	list_of(&f, back, nothing, NULL);
	ck_assert_int_eq(line(&f, "inquiry")->verdict, PROMISE_KEPT);
	ck_assert_int_eq(line(&f, "steady")->verdict, PROMISE_KEPT);
	list_of(&f, back, nothing, another_build);
	ck_assert_int_eq(line(&f, "inquiry")->verdict, PROMISE_BROKEN);
	ck_assert_ptr_nonnull(strstr(line(&f, "inquiry")->evidence, ", revision '1.4'"));
	asked_before = 0;
	list_of(&f, back, another_revision_later, NULL);
	ck_assert_int_eq(line(&f, "inquiry")->verdict, PROMISE_KEPT);
	ck_assert_int_eq(line(&f, "steady")->verdict, PROMISE_BROKEN);
	ck_assert_ptr_nonnull(strstr(line(&f, "steady")->evidence, "revision '2.00'"));
}
END_TEST

/* "Kept" says nothing of a promise that nothing here can break. */
START_TEST(every_promise_can_be_broken)
{
	/* Early acknowledgement is described there, and judged as write-behind. */
	uint32_t broken = PROMISE_BIT(PROMISE_ID_BUFFER) |
			  broken_by(&(struct breaking_case){ "", NULL, NULL }, through);

	for (size_t i = 0; i < sizeof breaking_cases / sizeof *breaking_cases; i++)
		broken |= broken_by(&breaking_cases[i], back);
	for (int id = 0; id < PROMISE_IDS; id++)
		ck_assert_msg(broken & PROMISE_BIT(id), "nothing breaks '%s'",
			promise_row((enum promise_id)id)->name);
}
END_TEST

/* FUA, bit 3 of the second byte of WRITE(10) (SBC-3 5.36), honoured for some lengths alone. */
static void fua_of_long_ones_alone(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (x->cdb[0] == 0x2A && x->data_length <= 8192)
		x->cdb[1] &= (uint8_t)~0x08;
}

static void fua_of_short_ones_alone(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (x->cdb[0] == 0x2A && x->data_length > 8192)
		x->cdb[1] &= (uint8_t)~0x08;
}

static enum promise_verdict fua_with(scsi_tap_change *before)
{
	/* Quick commands, so that short writes too are acknowledged faster than they are stored. */
	static const char text[] =
		"gadget-model 1\ndevice:\nname = t\ncapacity = 8Mi\nlink:\nspeed = high\n"
		"rate = 20 MB/s\nrequest cost = 0.1 ms\ncard:\nread rate = 10 MB/s\n"
		"write rate = 2 MB/s\nfirmware:\nunit = request\nwrite behind = 128Ki\n"
		"claims:\nwrite cache = yes\nfua = yes\n";
	struct audit_hooks hooks = { 0 };
	struct audit_plan plan = {
		.area_bytes = AREA, .seed = 5, .only = PROMISE_BIT(PROMISE_ID_FUA)
	};
	enum audit_outcome outcome;
	struct model_spec spec;
	struct promises f;
	struct error err = { 0 };
	struct medium *m;

	ck_assert_msg(!model_spec_parse(&spec, text, strlen(text), "t", &err), "%s", err.text);
	ck_assert_int_eq(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err), 0);
	m = scsi_tap_new(m, nothing, NULL);
	scsi_tap_before(m, before);
	audit_plan_defaults(&plan, m);
	plan.burst_limit_bytes = 1 << 20;
	ck_assert_msg(!audit_run(m, &plan, &hooks, &f, &outcome, &err), "%s", err.text);
	medium_close(m);
	return line(&f, "fua")->verdict;
}

/* A buffer that a longer write empties by filling it, before a card so fast that what comes after the last one of a burst is
 * stored by itself: a flush that does nothing is seen where a short write was the last. */
START_TEST(a_flush_is_cut_after_short_writes_too)
{
	static const char text[] =
		"gadget-model 1\ndevice:\nname = t\ncapacity = 32Mi\nlink:\nspeed = full\n"
		"rate = 0.95 MB/s\nrequest cost = 0.18 ms\nhost gap = 0.87 ms\ncard:\n"
		"read rate = 10.5 MB/s\nwrite rate = 5.81 MB/s\nwrite command cost = 1.76 ms\n"
		"firmware:\nunit = request\nwrite behind = 8Ki\nrequest cost = 0.27 ms\n"
		"when full = all\nclaims:\nwrite cache = yes\n";
	char liar[1024];
	struct promises f;

	audit_text(text, 1, AREA, &f);
	ck_assert_int_eq(line(&f, "power-cut")->verdict, PROMISE_NOT_SHOWN);
	snprintf(liar, sizeof liar, "%sfaults:\nignore flush = yes\n", text);
	audit_text(liar, 1, AREA, &f);
	ck_assert_int_eq(line(&f, "power-cut")->verdict, PROMISE_BROKEN);
}
END_TEST

/* A journal of a file system writes 4 KiB with FUA: what holds for 64 KiB says nothing of that. */
START_TEST(fua_is_asked_of_short_writes_too)
{
	ck_assert_int_eq(fua_with(nothing), PROMISE_KEPT);
	ck_assert_int_eq(fua_with(fua_of_long_ones_alone), PROMISE_BROKEN);
	ck_assert_int_eq(fua_with(fua_of_short_ones_alone), PROMISE_BROKEN);
}
END_TEST

Suite *audit_suite(void)
{
	Suite *s = suite_create("audit");
	TCase *c = tcase_create("audit");

	tcase_add_test(c, every_promise_has_its_line_in_order);
	tcase_add_test(c, what_a_flush_left_is_not_called_seen);
	tcase_add_test(c, a_fast_buffer_is_not_called_none);
	tcase_add_test(c, every_promise_can_be_broken);
	tcase_add_test(c, only_what_is_named_counts);
	tcase_add_test(c, nothing_tested_is_nothing_kept);
	tcase_add_test(c, an_absent_card_reports_nothing);
	tcase_add_test(c, a_medium_that_stays_away_is_asked_nothing);
	tcase_add_test(c, a_cache_that_is_switched_in_between_is_told);
	tcase_add_test(c, a_revision_that_changes_is_told);
	tcase_add_test(c, a_drive_that_is_not_ready_judges_nothing);
	tcase_add_test(c, a_drive_that_stops_in_between_breaks_nothing);
	tcase_add_test(c, trouble_of_the_host_judges_nothing);
	tcase_add_test(c, a_command_that_is_never_answered_is_told);
	tcase_add_test(c, lost_sectors_are_no_eject_that_loses);
	tcase_add_test(c, the_bound_rests_on_writes_that_were_taken);
	tcase_add_test(c, an_error_told_is_not_all_errors_told);
	tcase_add_test(c, unreadable_blocks_are_no_lost_writes);
	tcase_add_test(c, honest_gadgets_pass);
	tcase_add_test(c, reported_failures_are_no_fault);
	tcase_add_test(c, hostile_answers_are_survived);
	tcase_add_test(c, interrupted_keeps_what_is_known);
	tcase_add_test(c, mark_that_changed_is_told);
	tcase_add_test(c, what_a_flush_leaves_is_seen);
	tcase_add_test(c, a_dawdling_host_stores_nothing);
	tcase_add_test(c, a_dawdling_host_hides_no_storing);
	tcase_add_test(c, lost_events_judge_no_flush);
	tcase_add_test(c, a_flush_may_wait_to_be_taken);
	tcase_add_test(c, a_flush_may_be_asked_for_again);
	tcase_add_test(c, a_flush_refused_keeps_nothing);
	tcase_add_test(c, a_flush_that_waits_may_store_nothing);
	tcase_add_test(c, a_fast_card_leaves_nothing);
	tcase_add_test(c, it_writes_no_more_than_it_announces);
	tcase_add_test(c, what_chance_did_not_meet_is_not_kept_beside_what_it_would_break);
	tcase_add_test(c, fua_is_asked_of_short_writes_too);
	tcase_add_test(c, a_flush_is_cut_after_short_writes_too);
	tcase_add_loop_test(c, each_fault_is_caught, 0, sizeof fault_cases / sizeof *fault_cases);
	suite_add_tcase(s, c);
	return s;
}
