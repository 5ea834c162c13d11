/* findings/explain_view: what is said of explained tables, once each, and that every code comes out with its figures. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "findings/explain_model.h"
#include "findings/explain_phases.h"
#include "findings/explain_trust.h"
#include "findings/explain_view.h"
#include "support/sample_run.h"
#include "support/view_check.h"

enum { SIZES = 8 };

/* Link 1 MB/s, card 1 MB/s, and what is named. */
static struct explained table(
	enum run_direction d, enum run_order o, enum cause cause, double share)
{
	struct explained x = { .direction = d,
		.order = o,
		.in_flight = 1,
		.block_bytes = 512,
		.passes = 5 * SIZES,
		.judged_bytes = 4096,
		.link_known = true,
		.card_known = true,
		.growths = { .count = 1, .fits = true },
		.culprits = { .count = 1, .seconds = 6.4e-3, .fixed_s = 2.3e-3 } };

	for (int i = 0; i < SIZES; i++)
		x.points[i] = (struct cost_point){ .request_bytes = UINT64_C(512) << i,
			.seconds = 2.3e-3 + (512 << i) * 1e-6,
			.passes = 5,
			.pieces = 1 };
	memcpy(x.stored, x.points, sizeof x.points);
	memcpy(x.quick, x.points, sizeof x.points);
	x.shown = true;
	x.point_count = SIZES;
	cost_line_make(&x.line, x.points, SIZES);
	x.growths.list[0] =
		(struct growth){ .kind = GROWTH_STRAIGHT, .sizes = SIZES, .slope = 1e-6 };
	x.culprits.list[0] =
		(struct culprit){ cause, share, share, 6.4e-3 * (1 - share), 6.4e-3 * (1 - share) };
	return x;
}

/* One more name for the same time. */
static void also(struct explained *x, enum cause cause)
{
	x->culprits.list[x->culprits.count] = x->culprits.list[0];
	x->culprits.list[x->culprits.count++].cause = cause;
}

static struct run run;

static void begin(void)
{
	sample_run_init(&run);
}

static double card_rate; /* given, in the views to come; 0: not */

static void view_of(
	struct view *v, struct explained *tables, size_t count, const struct explain_seen *seen)
{
	static struct explanation e;
	struct error err = { 0 };

	e = (struct explanation){ .tables = tables,
		.count = count,
		.known = { .usual_bytes = 4096,
			.copy_bytes = 50000000,
			.card = { card_rate, card_rate } } };
	ck_assert_msg(!explain_view(v, &run, &e, seen, &err), "%s", err.text);
	view_check(v);
}

static void says_not(const struct view *v, const char *code)
{
	for (size_t i = 0; i < v->findings.count; i++)
		ck_assert_str_ne(v->findings.list[i].code->code, code);
}

static void says(const struct view *v, size_t at, const char *code, const char *sentence)
{
	ck_assert_uint_lt(at, v->findings.count);
	ck_assert_str_eq(v->findings.list[at].code->code, code);
	ck_assert_msg(strstr(v->findings.list[at].sentence, sentence) != NULL,
		"'%s' is not in '%s'", sentence, v->findings.list[at].sentence);
}

/* 0.36 of 6.4 ms is 2.30 ms; 4096 B in 4.096 ms are 1.00 MB/s. */
START_TEST(first_screen)
{
	struct explained one[2] = { table(RUN_READ, RUN_SEQUENTIAL, CAUSE_LINK, 0.97),
		table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_REQUEST_COST, 0.36) };
	struct view v;

	view_of(&v, one, 2, NULL);
	says(&v, 0, "limits",
		"What limits writes: 2.30 ms of work per request (firmware or card), 36 % of a 4 "
		"KiB write. Next: find what the firmware does once per request, or get the host to "
		"send larger ones. Without it 4 KiB writes would reach 1.00 MB/s (now 640 kB/s).");
	says(&v, 1, "limits",
		"What limits reads: the link, 97 % of a 4 KiB read. Only a faster link");
	view_release(&v);
}
END_TEST

/* Tables that come to the same are told together, and a remedy once. */
START_TEST(nothing_twice)
{
	struct explained t[4] = { table(RUN_READ, RUN_SEQUENTIAL, CAUSE_IN_TURN, 0.30),
		table(RUN_READ, RUN_RANDOM, CAUSE_IN_TURN, 0.31),
		table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_IN_TURN, 0.40),
		table(RUN_WRITE, RUN_RANDOM, CAUSE_IN_TURN, 0.40) };
	struct view v;

	view_of(&v, t, 4, NULL);
	says(&v, 0, "limits", "What limits writes: link and card taking turns, 40 %");
	says(&v, 0, "limits", "Next: let the card work on one buffer");
	says(&v, 1, "limits", "What limits reads: link and card taking turns, 30 %");
	ck_assert_ptr_null(strstr(v.findings.list[1].sentence, "Next"));
	ck_assert(v.findings.count == 2 || strcmp(v.findings.list[2].code->code, "limits") != 0);
	view_release(&v);
	/* Ones that differ are told apart. */
	t[3] = table(RUN_WRITE, RUN_RANDOM, CAUSE_STALLS, 0.60);
	t[3].stalls = (struct stalls){ .seconds = 3, .count = 6, .bytes = 6 << 20 };
	view_of(&v, t, 4, NULL);
	says(&v, 0, "limits",
		"What limits random writes: stalls, 60 % of a 4 KiB write. They took 3.00 s of all "
		"passes (6 of them, about every 1 MiB)");
	says(&v, 1, "limits", "What limits sequential writes: ");
	says(&v, 2, "limits", "What limits reads: ");
	view_release(&v);
	/* Where they do not come by the byte they are not put down to the card. */
	t[3].stalls.not_by_byte = true;
	view_of(&v, t, 4, NULL);
	says(&v, 0, "limits",
		"They do not come by the byte, as a card's housekeeping does: the host may be what "
		"stopped. Next: sweep on an idle computer.");
	ck_assert_ptr_null(strstr(v.findings.list[0].sentence, "Mostly"));
	view_release(&v);
	t[3].stalls.not_by_byte = false;
	/* One alone comes every so often as far as nobody knows. */
	t[3].stalls.count = 1;
	view_of(&v, t, 4, NULL);
	says(&v, 0, "limits", "There was one, of 3.00 s: how often they come is not known.");
	ck_assert_ptr_null(strstr(v.findings.list[0].sentence, "about every"));
	view_release(&v);
}
END_TEST

START_TEST(every_cause)
{
	static const char *const words[CAUSE_COUNT] = {
		[CAUSE_LINK] = "the link, ",
		[CAUSE_CARD] = "the card, ",
		[CAUSE_IN_TURN] = "taking turns, ",
		[CAUSE_REQUEST_COST] = "3.20 ms of work per request",
		/* 8 sectors of 512 B in 4 KiB */
		[CAUSE_SECTOR_COST] = "400 us of work per sector",
		[CAUSE_HOST_GAP] = "a pause of the host between requests, 3.20 ms",
		[CAUSE_FRAMES] = "wait for a frame of 1.00 ms each",
		[CAUSE_PROGRAM_UNIT] = "whole units of 16 KiB do: the card programs",
		[CAUSE_STALLS] = "Next: a buffer that hides them",
		[CAUSE_BACKLOG] = "sweep reads alone",
	};

	for (int c = 0; c < CAUSE_UNKNOWN; c++) {
		struct explained x = table(RUN_WRITE, RUN_SEQUENTIAL, (enum cause)c, 0.5);
		struct view v;

		x.usb = usb_link_at(12000000);
		x.stalls = (struct stalls){ .seconds = 3, .count = 6, .bytes = 6 << 20 };
		if (c == CAUSE_PROGRAM_UNIT) {
			x.growths.list[0].kind = GROWTH_UNIT;
			x.growths.list[0].at_bytes = 16384;
		}
		view_of(&v, &x, 1, NULL);
		says(&v, 0, "limits", words[c]);
		ck_assert_str_eq(v.findings.list[0].figures[4].key, "culprits");
		ck_assert_str_eq(
			v.findings.list[0].figures[4].value.text, cause_code((enum cause)c));
		view_release(&v);
	}
}
END_TEST

/* A gain that a pause of the host would lessen says so. */
START_TEST(hidden_pause)
{
	struct explained x = table(RUN_READ, RUN_SEQUENTIAL, CAUSE_REQUEST_COST, 0.5);

	for (int hides = 0; hides < 2; hides++) {
		struct view v;

		x.culprits.pause_may_hide = hides;
		view_of(&v, &x, 1, NULL);
		ck_assert_int_eq(strstr(v.findings.list[0].sentence,
					 "The lower of these if requests in flight now hide a "
					 "pause of the host") != NULL,
			hides);
		view_release(&v);
	}
}
END_TEST

/* What would tell causes apart that are named together, each way once. */
START_TEST(ways)
{
	struct explained t[2] = { table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_REQUEST_COST, 0.4),
		table(RUN_READ, RUN_SEQUENTIAL, CAUSE_REQUEST_COST, 0.3) };
	struct view v;

	also(&t[0], CAUSE_HOST_GAP);
	also(&t[1], CAUSE_HOST_GAP);
	also(&t[1], CAUSE_IN_TURN);
	t[1].link_known = false;
	view_of(&v, t, 2, NULL);
	says(&v, 0, "one-of",
		"work per request (firmware or card) or the host's pause between requests, 40 % of "
		"a 4 KiB write; these figures can't tell which. Next, to tell them apart: sweep "
		"with --in-flight 2");
	says(&v, 1, "one-of", "Next, to tell them apart: give the link's rate as --link");
	ck_assert_ptr_null(strstr(v.findings.list[1].sentence, "--in-flight"));
	view_release(&v);
}
END_TEST

static void not_shown(struct explained *x, enum culprit_doubt doubt)
{
	x->culprits = (struct culprits){
		.count = 1, .doubt = doubt, .list = { { .cause = CAUSE_UNKNOWN } }
	};
}

/* Nobody is told to correct a rate that nobody gave. */
START_TEST(words_of_a_beaten_link)
{
	for (int given = 0; given < 2; given++) {
		struct explained t = table(RUN_READ, RUN_SEQUENTIAL, CAUSE_LINK, 1);
		struct view v;

		not_shown(&t, CULPRIT_LINK_BEATEN);
		t.link_known = given;
		t.diagnosis.usual.link = 1.2e6;
		view_of(&v, &t, 1, NULL);
		says(&v, 0, "not-shown",
			given ? "link's 1.20 MB/s allows. Next: correct that rate"
			      : "any such link allows (1.20 MB/s): a cache answers");
		view_release(&v);
	}
}
END_TEST

/* A doubt is said once, with the tables that it holds for, by the worst of them. */
START_TEST(doubts_once)
{
	struct explained t[4] = { table(RUN_READ, RUN_SEQUENTIAL, CAUSE_LINK, 1),
		table(RUN_READ, RUN_RANDOM, CAUSE_LINK, 1),
		table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_CARD, 1),
		table(RUN_WRITE, RUN_RANDOM, CAUSE_CARD, 1) };
	struct view v;

	t[0].line.doubts = t[1].line.doubts = COST_RATE_UNSURE;
	t[3].wander = (struct wander){ .known = true, .trends = true, .change = 0.05 };
	t[1].wander = (struct wander){ .known = true, .trends = true, .change = -0.2 };
	view_of(&v, t, 4, NULL);
	says(&v, 2, "rate-unsure",
		"The streaming rate of sequential reads and random reads is not determined");
	says(&v, 3, "drift",
		"The passes of random reads and random writes drifted: requests took 20 % less at "
		"the end");
	ck_assert_uint_eq(v.findings.count, 4);
	view_release(&v);
}
END_TEST

static void doubt_everything(struct explained *x)
{
	x->line.doubts = COST_TOO_NARROW | COST_RATE_UNSURE | COST_FIXED_UNSURE | COST_BENT;
	x->diagnosis.link_beaten = x->diagnosis.card_beaten = true;
	x->diagnosis.link_impossible = x->diagnosis.card_impossible = true;
	x->usb = usb_link_at(12000000);
	x->diagnosis.fastest = 2e6;
	x->diagnosis.usual =
		(struct stage_budget){ 4096, false, 1e6, 1e6, 1e6, true, true, 5e5, 1e6 };
	x->wander = (struct wander){ .known = true, .trends = true, .change = 0.1 };
	x->behind = 2;
	x->behind_at = 4096;
	x->points[SIZES - 1].pieces = 2;
	x->left_out = 3;
}

static struct observation observed(void)
{
	static struct observed_size sizes[] = { { RUN_READ, 4096, 10, 0 },
		{ RUN_WRITE, 65536, 20, 0 } };

	return (struct observation){ .traced = true,
		.sizes = sizes,
		.size_count = 2,
		.requests = { 10, 20 },
		.sequential = { 10, 20 },
		.total = { .requests = { 10, 20 }, .bytes = { 40960, 1310720 }, .busy_ms = 1000 } };
}

/* 10 x (2.3 + 4.096 ms) + 20 x (2.3 + 65.536 ms) = 1.42 s where 1 s was observed; 95 % of it for writes of 64 KiB. */
static void weigh(void)
{
	struct explained t[2] = { table(RUN_READ, RUN_SEQUENTIAL, CAUSE_LINK, 1),
		table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_LINK, 1) };
	struct observation o = observed();
	struct run same = run, other = run;
	struct explain_seen seen = { &same, &o };
	struct view v;

	view_of(&v, t, 2, &seen);
	says(&v, 2, "as-observed-most",
		"As observed, writes of 64 KiB take most of the time, 95 % of it");
	says(&v, 3, "as-observed-check",
		"in flight for 1.00 s then; these costs give 1.42 s, 42 % more");
	view_release(&v);
	/* 200 flushes of 20 ms each: 4.0 s of 5.4 s. */
	t[1].idle_flush_s = 0.02;
	t[1].shown = false;
	o.total.flushes = 200;
	view_of(&v, t, 2, &seen);
	says(&v, 2, "as-observed-flushes", "flushes take most of the time, 74 % of it");
	says(&v, 3, "as-observed-acknowledged", "Nothing shows when the swept writes are stored");
	view_release(&v);
	t[1].shown = true;
	strcpy(other.target.token, "other");
	seen.run = &other;
	o.traced = false;
	view_of(&v, &t[1], 1, &seen);
	view_release(&v);
	o = (struct observation){ .traced = true };
	view_of(&v, &t[1], 1, &seen);
	view_release(&v);
}

/* 1 us a byte of storing after the data, beside 1 us a byte on the link. */
static void check_against_card(void)
{
	static const struct {
		double rate;
		const char *code, *says;
	} cards[] = {
		{ 1e6, "phases-card", "the two agree" },
		{ 4e6, "phases-against-card", "The other 384 us are work of the firmware" },
		{ 0.6e6, "phases-card", "if that is right, the other 341 us pass while" },
	};
	struct explained t = table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_IN_TURN, 0.5);
	struct view v;

	t.shown = true;
	t.phases = (struct phase_parts){
		.known = true, .link_known = true, .bytes = 4096, .seconds = 8.3e-3
	};
	for (int i = 0; i < PART_COUNT; i++)
		t.phases.list[i].line_known = true;
	t.phases.list[PART_STORE] = (struct phase_amount){
		.seconds = 4.1e-3, .share = 0.5, .line_known = true, .per_byte = 1e-6
	};
	t.phases.list[PART_LINK] = t.phases.list[PART_STORE];
	for (size_t i = 0; i < sizeof cards / sizeof *cards; i++) {
		card_rate = cards[i].rate;
		view_of(&v, &t, 1, NULL);
		says(&v, 2, cards[i].code, cards[i].says);
		view_release(&v);
	}
	/* The link's part is only what its ceiling has it need. */
	card_rate = 4e6;
	t.link_known = false;
	view_of(&v, &t, 1, NULL);
	says(&v, 2, "phases-against-card", "or the link is slower than it could be");
	view_release(&v);
	/* 8.2 ms a KiB are more than the whole request takes; and writes that are only acknowledged show nothing of storing. */
	card_rate = 0.1e6;
	view_of(&v, &t, 1, NULL);
	says_not(&v, "phases-card");
	view_release(&v);
	card_rate = 1e6;
	t.shown = false;
	view_of(&v, &t, 1, NULL);
	says_not(&v, "phases-card");
	view_release(&v);
	card_rate = 0;
}

START_TEST(phases_and_the_card)
{
	check_against_card();
}
END_TEST

/* Work after the data of a read is no work on them: only fetching could go on while they move. */
START_TEST(phases_of_reads)
{
	struct explained t = table(RUN_READ, RUN_SEQUENTIAL, CAUSE_REQUEST_COST, 0.5);
	struct view v;

	t.link_known = false;
	t.phases = (struct phase_parts){
		.known = true, .link_known = true, .bytes = 4096, .seconds = 10e-3, .gain = 3e-3
	};
	t.phases.list[PART_FETCH] = (struct phase_amount){ .seconds = 4e-3, .share = 0.4 };
	t.phases.list[PART_STORE] = (struct phase_amount){ .seconds = 3e-3, .share = 0.3 };
	view_of(&v, &t, 1, NULL);
	says(&v, 1, "phases", "would save up to 3.00 ms");
	ck_assert_ptr_nonnull(strstr(v.findings.list[1].sentence, "slower than its ceiling"));
	says(&v, 2, "phases", "all of the data have passed and the gadget has not answered yet.");
	ck_assert_ptr_null(strstr(v.findings.list[2].sentence, "save"));
	view_release(&v);
	/* Another device on the bus takes its share of it, whatever is known of the link. */
	t.bus_shared = t.link_known = true;
	view_of(&v, &t, 1, NULL);
	says(&v, 1, "phases", "or other devices had the bus");
	view_release(&v);
}
END_TEST

/* 2 ms before the command is taken and 3.5 ms of status in 10 ms, on a bus with frames of 1 ms, two of which each may last. */
START_TEST(phases_on_a_bus_with_frames)
{
	struct explained t = table(RUN_READ, RUN_SEQUENTIAL, CAUSE_FRAMES, 0.5);
	struct view v;

	t.usb = usb_link_at(12000000);
	t.phases = (struct phase_parts){
		.known = true, .bytes = 4096, .seconds = 10e-3, .wait = 2e-3
	};
	t.phases.list[PART_NOT_READY] = (struct phase_amount){ .seconds = 2e-3, .share = 0.2 };
	t.phases.list[PART_STORE] = (struct phase_amount){ .seconds = 3.5e-3, .share = 0.35 };
	view_of(&v, &t, 1, NULL);
	says(&v, 1, "phases", "Up to 2.00 ms of it may be the wait for frames of the bus");
	says(&v, 2, "phases", "All of it may be the wait for frames of the bus");
	view_release(&v);
	/* Times of whole frames: then they do, and what is left is no fifth of the time in either. */
	t.frames = FRAMES_SEEN;
	view_of(&v, &t, 1, NULL);
	says_not(&v, "phases");
	view_release(&v);
	t.phases.list[PART_STORE].seconds = 4.5e-3;
	view_of(&v, &t, 1, NULL);
	says(&v, 1, "phases", "Up to 2.00 ms of it is the wait for frames of the bus");
	view_release(&v);
	/* A bus that does not wait. */
	t.frames = FRAMES_EXCLUDED;
	t.phases.wait = 0;
	view_of(&v, &t, 1, NULL);
	says(&v, 2, "phases", "slow to begin, or the bus is slow to bring it.");
	view_release(&v);
}
END_TEST

/* 2 of 6 passes show phases, of requests that took 8 ms where the others took 4. */
static void explain_some(struct explanation *e, uint64_t others_bps, size_t shown)
{
	struct explain_known known = { .link = 1e6, .usual_bytes = 4096 };
	struct error err = { 0 };
	struct run r;

	sample_run_init(&r);
	for (uint64_t n = 1024; n <= 16384; n *= 2)
		for (uint32_t pass = 1; pass <= 6; pass++) {
			bool shows = pass <= shown;
			double rate =
				shows ? (double)n / (4e-3 + (double)n * 1e-6) : (double)others_bps;
			struct run_pass *p =
				sample_run_add(&r, RUN_READ, RUN_SEQUENTIAL, n, pass, rate);

			p->phases_watched = p->phases_seen = shows;
			p->phases = shows ? RUN_PHASES_SEEN : RUN_PHASES_NOT_WATCHED;
			p->commands = p->host_gaps = p->requests;
			p->phase_ns[RUN_PHASE_HOST] = p->requests * 4000000;
			p->phase_ns[RUN_PHASE_DATA] = p->requests * n * 1000;
		}
	ck_assert_msg(!explanation_make(e, &r, &known, &err), "%s", err.text);
	free(r.passes);
}

START_TEST(phases_of_other_passes)
{
	struct explanation e;

	explain_some(&e, 0, 6);
	ck_assert(e.tables[0].phases.known && !e.tables[0].phases_apart);
	/* By the rates it is either; by the phases the host. */
	ck_assert_uint_eq(e.tables[0].ruled_out >> CAUSE_REQUEST_COST & 1, 1);
	explanation_release(&e);
	explain_some(&e, 900000, 2);
	ck_assert(e.tables[0].phases.known && e.tables[0].phases_apart);
	ck_assert_uint_eq(e.tables[0].ruled_out, 0);
	explanation_release(&e);
}
END_TEST

/* A mean of 4 ms that most requests are far from, and one that they are near. */
START_TEST(phases_of_some_requests)
{
	struct explained t = table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_REQUEST_COST, 0.5);
	struct view v;

	t.phases = (struct phase_parts){ .known = true, .bytes = 4096, .seconds = 6e-3 };
	t.phases.list[PART_NOT_READY] = (struct phase_amount){ .seconds = 4e-3, .share = 4. / 6 };
	t.phases_typical[RUN_PHASE_COMMAND] = 0.2e-3;
	view_of(&v, &t, 1, NULL);
	says(&v, 1, "phases", "half of the requests wait 200 us at most, and some far longer.");
	view_release(&v);
	t.phases_typical[RUN_PHASE_COMMAND] = 3.8e-3;
	view_of(&v, &t, 1, NULL);
	says(&v, 1, "phases", "the bus is slow to bring it.");
	view_release(&v);
}
END_TEST

/* Rates that seem to say the host, and phases that say that it has no part in it: 4 ms of storing in 6 ms. */
START_TEST(phases_against_rates)
{
	struct explained t = table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_HOST_GAP, 0.5), borne_out;
	struct view v;

	t.phases = (struct phase_parts){ .known = true, .bytes = 4096, .seconds = 6e-3 };
	t.phases.list[PART_STORE] = (struct phase_amount){ .seconds = 4e-3, .share = 4. / 6 };
	t.phases.list[PART_HOST] = (struct phase_amount){ .seconds = 0.3e-3, .share = 0.05 };
	borne_out = t;
	explain_distrust(&t, false);
	view_of(&v, &t, 1, NULL);
	says(&v, 0, "not-shown", "their phases contradict what the rates seem to say");
	says(&v, 1, "phases-against",
		"only 300 us of the 6.00 ms of a request of 4 KiB are the host's");
	says(&v, 2, "phases", "4.00 ms of the 6.00 ms of a sequential write of 4 KiB");
	view_release(&v);
	/* And none where they bear it out. */
	borne_out.phases.list[PART_HOST] = (struct phase_amount){ .seconds = 3e-3, .share = 0.5 };
	explain_distrust(&borne_out, false);
	view_of(&v, &borne_out, 1, NULL);
	says(&v, 0, "limits", "");
	says(&v, 1, "phases", "");
	view_release(&v);
}
END_TEST

/* Phases of a request of 4 KiB that takes 6 ms: all parts lie on lines, and the host's time grows with the size. */
static struct phase_parts slow_host(void)
{
	struct phase_parts p = {
		.known = true, .link_known = true, .bytes = 4096, .seconds = 6e-3
	};

	for (int i = 0; i < PART_COUNT; i++)
		p.list[i] = (struct phase_amount){ .line_known = true };
	p.list[PART_HOST].seconds = 2.8e-3;
	p.list[PART_HOST].per_byte = 2.8e-3 / 4096;
	p.list[PART_HOST].share = 2.8 / 6;
	p.list[PART_LINK].seconds = 3.2e-3;
	p.list[PART_LINK].per_byte = 3.2e-3 / 4096;
	p.list[PART_LINK].share = 3.2 / 6;
	return p;
}

/* By the rates a host that takes its time for each byte looks like work of the gadget. */
START_TEST(phases_against_work)
{
	static const struct {
		enum cause cause;
		const char *what;
	} cases[] = { { CAUSE_SECTOR_COST, "are work of the gadget that grows with the size" },
		{ CAUSE_IN_TURN, "are work of the gadget that grows with the size" },
		{ CAUSE_REQUEST_COST, "are work of the gadget that stays whatever the size" } };
	struct explained t;
	struct view v;

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		t = table(RUN_READ, RUN_SEQUENTIAL, cases[i].cause, 0.5);
		t.phases = slow_host();
		explain_distrust(&t, false);
		view_of(&v, &t, 1, NULL);
		says(&v, 0, "not-shown", "their phases contradict what the rates seem to say");
		says(&v, 1, "phases-against", cases[i].what);
		says(&v, 2, "phases", "the host is at work itself");
		view_release(&v);
		/* A quarter of the time and more is enough. */
		t = table(RUN_READ, RUN_SEQUENTIAL, cases[i].cause, 0.5);
		t.phases = slow_host();
		t.phases.list[PART_FETCH] = (struct phase_amount){ .line_known = true,
			.seconds = 3.2e-3,
			.fixed = 1.6e-3,
			.per_byte = 1.6e-3 / 4096 };
		explain_distrust(&t, false);
		ck_assert(!t.phases_against);
	}
}
END_TEST

/* Of several names of a cost one stays, whatever the phases say: it is as little borne out as the others. */
START_TEST(phases_against_all_names)
{
	struct explained t = table(RUN_READ, RUN_SEQUENTIAL, CAUSE_REQUEST_COST, 0.5);

	t.phases = slow_host();
	t.phases.list[PART_HOST].seconds = 0.1e-3;
	t.phases.list[PART_LINK].seconds = 5.9e-3;
	t.judged_bytes = 4096;
	t.culprits.list[1] = t.culprits.list[0];
	t.culprits.list[0].cause = CAUSE_HOST_GAP;
	t.culprits.count = 2;
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.count, 1);
	explain_distrust(&t, false);
	ck_assert_int_eq(t.culprits.doubt, CULPRIT_PHASES_AGAINST);
}
END_TEST

/* What a twin of reads of 1 ms and 1 MB/s does not know, when random ones take so much longer. */
static bool twin_lacks(double more_s, uint32_t in_flight, const char *what)
{
	struct explain_known known = { .link = 1e6, .usual_bytes = 4096 };
	struct text model = { 0 }, unknown = { 0 };
	struct explanation e;
	struct error err = { 0 };
	struct run r;
	bool lacks;

	sample_run_init(&r);
	for (uint64_t n = 512; n <= 65536; n *= 2)
		for (int random = 0; random < 2; random++) {
			double each = 1e-3 + random * more_s + (double)n * 1e-6;

			for (uint32_t pass = 1; pass <= 3; pass++)
				sample_run_add(&r, RUN_READ, random ? RUN_RANDOM : RUN_SEQUENTIAL,
					n, pass, (double)n / each)
					->in_flight = in_flight;
		}
	ck_assert_msg(!explanation_make(&e, &r, &known, &err), "%s", err.text);
	ck_assert_msg(!explain_model_text(&model, &unknown, &r, &e, &err), "%s", err.text);
	lacks = unknown.bytes && strstr(unknown.bytes, what);
	text_release(&model);
	text_release(&unknown);
	explanation_release(&e);
	free(r.passes);
	return lacks;
}

START_TEST(what_a_twin_does_not_have)
{
	ck_assert(!twin_lacks(0, 1, "times in the other order"));
	ck_assert(twin_lacks(2e-3, 1, "times in the other order"));
	ck_assert(!twin_lacks(0, 1, "host gap"));
	ck_assert(twin_lacks(0, 4, "host gap"));
}
END_TEST

/* What rests on a rate goes with it, and nothing else does. */
START_TEST(rates_that_cannot_be)
{
	static const struct {
		bool link_refuted, link_impossible, card_beaten, card_impossible;
		unsigned rests_on;
		enum culprit_doubt doubt;
	} cases[] = {
		{ true, true, true, true, 0, 0 },
		{ true, false, false, false, 1u << EXPLAIN_GIVEN_LINK, CULPRIT_LINK_BEATEN },
		{ true, true, false, false, 1u << EXPLAIN_GIVEN_CARD, 0 },
		{ false, true, false, false, 1u << EXPLAIN_GIVEN_LINK, CULPRIT_IMPOSSIBLE },
		{ false, false, true, false, 1u << EXPLAIN_GIVEN_CARD, CULPRIT_CARD_BEATEN },
		{ false, false, false, true, 1u << EXPLAIN_GIVEN_CARD, CULPRIT_IMPOSSIBLE },
		{ false, false, true, true, 1u << EXPLAIN_GIVEN_LINK, 0 },
	};

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct explained t = table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_IN_TURN, 0.5);
		struct view v;

		t.rests_on = cases[i].rests_on;
		t.diagnosis.link_impossible = cases[i].link_impossible;
		t.diagnosis.card_beaten = cases[i].card_beaten;
		t.diagnosis.card_impossible = cases[i].card_impossible;
		t.usb = usb_link_at(12000000);
		explain_distrust(&t, cases[i].link_refuted);
		ck_assert_int_eq(t.culprits.doubt, cases[i].doubt);
		view_of(&v, &t, 1, NULL);
		says(&v, 0, cases[i].doubt ? "not-shown" : "limits", "");
		view_release(&v);
	}
}
END_TEST

/* What it rests on is in the sentence. */
START_TEST(words_of_trust)
{
	static const char *const words[] = { "50 % of a 4 KiB write. ",
		"50 % of a 4 KiB write, if the link really carries 1.00 MB/s. ",
		"50 % of a 4 KiB write, if the card really writes 2.00 MB/s. ",
		"if the link really carries 1.00 MB/s and the card writes 2.00 MB/s. " };

	for (unsigned i = 0; i < 4; i++) {
		struct explained t = table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_IN_TURN, 0.5);
		struct view v;

		t.rests_on = i;
		t.diagnosis.usual.link = 1e6;
		t.diagnosis.usual.card = 2e6;
		view_of(&v, &t, 1, NULL);
		says(&v, 0, "limits", words[i]);
		view_release(&v);
	}
}
END_TEST

/* The card alone, and yet 40 % of the time goes on what is too small to be named: a faster card is not all that would help. */
START_TEST(scraps_are_left)
{
	struct explained t = table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_CARD, 0.6);
	struct view v;

	view_of(&v, &t, 1, NULL);
	says(&v, 0, "limits",
		"smaller costs: without all of them the rate would be up to 67 % higher");
	ck_assert_ptr_null(strstr(v.findings.list[0].sentence, "Only a faster"));
	view_release(&v);
	t = table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_CARD, 0.85);
	view_of(&v, &t, 1, NULL);
	says(&v, 0, "limits", "Only a faster card would give much more.");
	view_release(&v);
}
END_TEST

/* 4 KiB in 10 ms: 4 ms of data, then 5 ms of work; by the rates that may be the card's, work per sector, or the link's alone. */
static struct explained card_after_data(void)
{
	struct explained t = table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_IN_TURN, 0.3);

	also(&t, CAUSE_SECTOR_COST);
	also(&t, CAUSE_LINK);
	t.culprits.list[1].share_low = 0.05;
	t.culprits.list[1].share_high = 0.5;
	t.culprits.list[2].share_high = 0.9;
	t.link_known = false;
	t.phases = (struct phase_parts){
		.known = true,
		.bytes = 4096,
		.seconds = 10e-3,
		.card = 5e-3 / 4096,
		.link = 3.8e-3 / 4096,
		.data = { .seconds = 4e-3,
			.share = 0.4,
			.line_known = true,
			.per_byte = 4e-3 / 4096 },
	};
	t.phases.list[PART_STORE] = (struct phase_amount){ .seconds = 5e-3,
		.share = 0.5,
		.line_known = true,
		.per_byte = 5e-3 / 4096,
		.last_per_byte = 5e-3 / 4096 };
	return t;
}

START_TEST(phases_show_turns)
{
	struct explained t = card_after_data();
	struct view v;

	/* What comes after the data is as long as the card's time for them: all but the way of the first block can be saved. */
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.count, 1);
	ck_assert_int_eq(t.culprits.list[0].cause, CAUSE_IN_TURN);
	ck_assert_double_eq_tol(t.culprits.list[0].share_high, 4e-3 * 7 / 8 / 10e-3, 1e-9);
	ck_assert_uint_eq(t.ruled_out, 1u << CAUSE_SECTOR_COST | 1u << CAUSE_LINK);
	view_of(&v, &t, 1, NULL);
	says(&v, 1, "phases-rule-out", "it could also be the link and work per sector");
	view_release(&v);
	/* It grows no more with large requests: the end of work that went on before. */
	t = card_after_data();
	t.phases.list[PART_STORE].last_per_byte = 0;
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.count, 3);
	/* Stalls are in these times: they show nothing of turns, and rule out nothing. */
	t = card_after_data();
	t.phases_stalled = true;
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.count, 3);
	ck_assert_uint_eq(t.ruled_out, 0);
	/* Nobody knows the card, or it needs less than that, or more. */
	for (int i = 0; i < 3; i++) {
		t = card_after_data();
		t.phases.card *= i * 0.8; /* 0, 0.8, 1.6 */
		explain_phases_rule_out(&t);
		ck_assert_uint_eq(t.culprits.count, 3);
	}
	/* Data that are on the link for long may hide a cost per sector, of which that much stays. */
	t = card_after_data();
	t.phases.link = 1e-3 / 4096;
	explain_phases_rule_out(&t);
	ck_assert(culprits_have(&t.culprits, CAUSE_SECTOR_COST));
	/* A cost per sector may happen to take as long as short data. */
	t = card_after_data();
	t.phases.data.per_byte /= 2;
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.count, 3);
	/* A measured link is judged by its rate; the answer of a buffer tells nothing of the card. */
	t = card_after_data();
	t.buffered = true;
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.count, 3);
}
END_TEST

/* Half of the time may be the host's or the gadget's for each request, or the link's, by the rates. */
static struct explained three_names(void)
{
	struct explained t = table(RUN_READ, RUN_SEQUENTIAL, CAUSE_HOST_GAP, 0.5);

	also(&t, CAUSE_REQUEST_COST);
	also(&t, CAUSE_LINK);
	t.phases = (struct phase_parts){
		.known = true,
		.link_known = true,
		.bytes = 4096,
		.seconds = 6e-3,
		.data = { .seconds = 3e-3, .share = 0.5, .line_known = true },
	};
	for (int i = 0; i < PART_COUNT; i++)
		t.phases.list[i].line_known = true;
	return t;
}

START_TEST(phases_rule_out)
{
	struct explained t = three_names();
	struct view v;

	/* 3 ms of the host, 0.1 ms of fixed work: not the gadget; a link whose rate was not measured may be slower. */
	t.link_known = false;
	t.phases.list[PART_HOST].seconds = 3e-3;
	t.phases.list[PART_FETCH].fixed = 0.1e-3;
	t.phases.list[PART_LINK].seconds = 1e-3;
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.count, 2);
	ck_assert(culprits_have(&t.culprits, CAUSE_HOST_GAP));
	ck_assert(culprits_have(&t.culprits, CAUSE_LINK));
	ck_assert_uint_eq(t.ruled_out, 1u << CAUSE_REQUEST_COST);
	view_of(&v, &t, 1, NULL);
	says(&v, 1, "phases-rule-out", "it could also be work per request");
	view_release(&v);
	/* A measured one that takes 1 ms of 6 is not it. */
	t.link_known = true;
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.count, 1);
	ck_assert(culprits_have(&t.culprits, CAUSE_HOST_GAP));
	/* Nor does a pause of the host's say anything of writes that a buffer answers: the card works on through it. */
	t = three_names();
	t.direction = RUN_WRITE;
	t.buffered = true;
	t.phases.list[PART_HOST].seconds = 3e-3;
	t.phases.list[PART_FETCH].fixed = 0.1e-3;
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.count, 3);
	ck_assert_uint_eq(t.ruled_out, 0);
	/* The other way round. */
	t = three_names();
	t.phases.list[PART_HOST].seconds = 0.1e-3;
	t.phases.list[PART_FETCH].fixed = 3e-3;
	t.phases.list[PART_LINK].seconds = 3e-3;
	explain_phases_rule_out(&t);
	ck_assert(!culprits_have(&t.culprits, CAUSE_HOST_GAP));
	ck_assert_uint_eq(t.culprits.count, 2);
	/* No line, no word on what is fixed; and one name stays whatever the phases say. */
	t = three_names();
	t.phases.list[PART_HOST].seconds = 3e-3;
	t.phases.list[PART_STORE].line_known = false;
	explain_phases_rule_out(&t);
	ck_assert(culprits_have(&t.culprits, CAUSE_REQUEST_COST));
	t = three_names();
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.count, 1);
	/* A fixed time after the data of a write may be the card's unit; before the command is taken it is not. */
	for (int part = PART_STORE; part <= PART_NOT_READY; part++) {
		t = three_names();
		t.direction = RUN_WRITE;
		t.phases.list[PART_LINK].seconds = 1e-3;
		t.phases.list[part].fixed = 3e-3;
		explain_phases_rule_out(&t);
		ck_assert(culprits_have(&t.culprits, CAUSE_REQUEST_COST));
		ck_assert(!culprits_have(&t.culprits, CAUSE_HOST_GAP));
		ck_assert(culprits_have(&t.culprits, CAUSE_PROGRAM_UNIT) == (part == PART_STORE));
	}
	/* Some of both: neither is ruled out, and no more of either can be saved than was seen of it: 1.5 of 6 ms, and a tenth. */
	t = three_names();
	t.phases.list[PART_HOST].seconds = 1.5e-3;
	t.phases.list[PART_FETCH].fixed = 1.4e-3;
	explain_phases_rule_out(&t);
	ck_assert(culprits_have(&t.culprits, CAUSE_HOST_GAP));
	ck_assert(culprits_have(&t.culprits, CAUSE_REQUEST_COST));
	ck_assert_double_eq_tol(t.culprits.list[0].share_high, 1.1 * 1.5 / 6, 1e-9);
	ck_assert_double_eq_tol(
		t.culprits.list[0].seconds_low, t.culprits.seconds * (1 - 1.1 * 1.5 / 6), 1e-9);
	/* Of what comes next, too. */
	t = three_names();
	t.phases.list[PART_HOST].seconds = 3e-3;
	t.culprits.count = 1;
	t.culprits.next[0] = t.culprits.list[1];
	t.culprits.next[1] = t.culprits.list[0];
	t.culprits.next_count = 2;
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.next_count, 1);
	ck_assert_int_eq(t.culprits.next[0].cause, CAUSE_HOST_GAP);
	ck_assert_uint_eq(t.ruled_out, 0);
	/* Phases of another size say nothing. */
	t = three_names();
	t.phases.bytes = 8192;
	explain_phases_rule_out(&t);
	ck_assert_uint_eq(t.culprits.count, 3);
}
END_TEST

START_TEST(every_code)
{
	struct explained t[8];
	struct view v;

	for (int i = 0; i < 8; i++)
		t[i] = table(RUN_WRITE, i % 2 ? RUN_RANDOM : RUN_SEQUENTIAL, CAUSE_IN_TURN, 0.4);
	for (int i = 0; i < 8; i++)
		t[i].in_flight = 1u << i / 2;
	also(&t[0], CAUSE_SECTOR_COST);
	doubt_everything(&t[1]);
	t[2].growths.list[0] = (struct growth){
		.kind = GROWTH_COARSE, .at_bytes = 4096, .slope = 1e-6, .slope_below = 2e-6
	};
	t[3].growths.list[0] = (struct growth){
		.kind = GROWTH_TURNED, .at_bytes = 4096, .slope = 2e-6, .slope_below = 1e-6
	};
	t[4].wander = (struct wander){ .known = true, .clings = true };
	t[5].line = (struct cost_line){ .known = false, .doubts = COST_TOO_FEW_SIZES };
	for (int d = 0; d < 7; d++)
		not_shown(&t[1 + d], (enum culprit_doubt)(d + 1));
	view_of(&v, t, 8, NULL);
	view_release(&v);
	view_of(&v, t, 0, NULL);
	says(&v, 0, "nothing", "no usable pass");
	view_release(&v);
	weigh();
	t[0] = table(RUN_WRITE, RUN_SEQUENTIAL, CAUSE_HOST_GAP, 0.5);
	t[0].phases = (struct phase_parts){ .known = true, .bytes = 4096, .seconds = 6e-3 };
	t[0].phases.list[PART_STORE] = (struct phase_amount){ .seconds = 4e-3, .share = 0.7 };
	explain_distrust(&t[0], false);
	view_of(&v, t, 1, NULL);
	view_release(&v);
	t[0] = three_names();
	t[0].phases.list[PART_HOST].seconds = 3e-3;
	explain_phases_rule_out(&t[0]);
	view_of(&v, t, 1, NULL);
	view_release(&v);
	check_against_card();
	view_check_all_codes("explain");
}
END_TEST

Suite *explain_view_suite(void)
{
	Suite *s = suite_create("explain_view");
	TCase *c = tcase_create("explain_view");

	tcase_add_checked_fixture(c, begin, NULL);
	tcase_add_test(c, first_screen);
	tcase_add_test(c, nothing_twice);
	tcase_add_test(c, every_cause);
	tcase_add_test(c, hidden_pause);
	tcase_add_test(c, ways);
	tcase_add_test(c, words_of_a_beaten_link);
	tcase_add_test(c, doubts_once);
	tcase_add_test(c, phases_against_rates);
	tcase_add_test(c, what_a_twin_does_not_have);
	tcase_add_test(c, phases_of_other_passes);
	tcase_add_test(c, phases_of_some_requests);
	tcase_add_test(c, phases_against_work);
	tcase_add_test(c, phases_against_all_names);
	tcase_add_test(c, phases_of_reads);
	tcase_add_test(c, phases_on_a_bus_with_frames);
	tcase_add_test(c, rates_that_cannot_be);
	tcase_add_test(c, words_of_trust);
	tcase_add_test(c, phases_and_the_card);
	tcase_add_test(c, scraps_are_left);
	tcase_add_test(c, phases_show_turns);
	tcase_add_test(c, phases_rule_out);
	tcase_add_test(c, every_code);
	suite_add_tcase(s, c);
	return s;
}
