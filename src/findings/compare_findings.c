/* What a comparison found, in sentences. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/size.h"
#include "base/text.h"
#include "findings/compare_builds.h"
#include "findings/compare_phases.h"
#include "findings/compared.h"

/* A rank sum test says nothing of the sort, though Welch's t does: few extreme values may carry it. */
static const double doubtful_p_rank = 0.1;
/* Beyond this, Welch's approximation gives way a little. */
static const double much_noisier = 5;

enum {
	GATE_PASSED,
	GATE_FAILED,
	GATE_UNDECIDED,
	TOO_FEW,
	NOT_SHOWN,
	FASTER,
	SLOWER,
	MIXED,
	ONE_RUN,
	NOT_IN_TURN,
	MODELLED,
	CONDITIONS,
	UNFINISHED,
	DAMAGED,
	ONE_FIRMWARE,
	MANY_FIRMWARES,
	MIXED_LABELS,
	ANOTHER_GADGET,
	ONE_SIDED,
	ACKNOWLEDGED,
	ONE_STORED,
	LEFT_OUT,
	SOME_TOO_FEW,
	FALSE_ALARMS,
	NEEDED,
	FEW_REQUESTS,
	LONGER_TAILS,
	RANKS,
	NOISE,
	PHASE_CHANGED,
};

const struct finding_code compare_codes[] = {
	[GATE_PASSED] = { "gate-passed", FINDING_PLAIN, true,
		"every point is shown not to be slower than the gate allows",
		"points allowed_loss_share largest_loss_bound_share" },
	[GATE_FAILED] = { "gate-failed", FINDING_CAUTION, true,
		"a point, a table or all points together are shown to be slower than the gate "
		"allows",
		"points slower_points allowed_loss_share worst_ratio" },
	[GATE_UNDECIDED] = { "gate-undecided", FINDING_CAUTION, true,
		"neither is shown: the noise is too large, too little was measured, passes or runs "
		"of the new side failed, or the sides may not be the two builds",
		"points within_points allowed_loss_share needed_replicates" },
	[TOO_FEW] = { "too-few", FINDING_CAUTION, true,
		"too few replicates for a verdict at any point", "points" },
	[NOT_SHOWN] = { "not-shown", FINDING_PLAIN, true, "no point is shown to differ",
		"points smallest_detectable_share largest_detectable_share" },
	[FASTER] = { "faster", FINDING_PLAIN, true, "some points are faster, none is slower",
		"points faster_points slower_points smallest_change_share largest_change_share" },
	[SLOWER] = { "slower", FINDING_CAUTION, true, "some points are slower, none is faster",
		"points faster_points slower_points smallest_change_share largest_change_share" },
	[MIXED] = { "mixed", FINDING_CAUTION, true, "some points are faster, others slower",
		"points faster_points slower_points smallest_change_share largest_change_share" },
	[ONE_RUN] = { "one-run-a-side", FINDING_CAUTION, false,
		"the verdicts tell two runs apart, not two builds", NULL },
	[NOT_IN_TURN] = { "not-in-turn", FINDING_CAUTION, false,
		"all runs of one side came before the other's: a drift would look like a "
		"difference",
		NULL },
	[MODELLED] = { "modelled", FINDING_CAUTION, false, "nothing was measured", NULL },
	[CONDITIONS] = { "conditions-differ", FINDING_CAUTION, false,
		"the runs were not recorded under the same conditions; the sentence says which",
		NULL },
	[UNFINISHED] = { "unfinished", FINDING_CAUTION, false, "a run did not finish", NULL },
	[DAMAGED] = { "record-damaged", FINDING_CAUTION, false,
		"lines of a record are damaged or missing", NULL },
	[ONE_FIRMWARE] = { "one-firmware", FINDING_CAUTION, false,
		"both builds call their firmware the same: nothing but the labels tells them "
		"apart",
		NULL },
	[MANY_FIRMWARES] = { "many-firmwares", FINDING_CAUTION, false,
		"runs of one build call their firmware differently", NULL },
	[MIXED_LABELS] = { "mixed-labels", FINDING_CAUTION, false,
		"runs of one label are on both sides, beside runs of another", NULL },
	[ANOTHER_GADGET] = { "another-gadget", FINDING_CAUTION, false,
		"runs come from gadgets with different serial numbers", NULL },
	[ONE_SIDED] = { "one-sided", FINDING_CAUTION, false,
		"points that only one side has, left out", "points" },
	[ACKNOWLEDGED] = { "acknowledged-only", FINDING_CAUTION, false,
		"points of writes that neither side shows to be stored: their verdicts speak of "
		"acknowledging",
		"points" },
	[ONE_STORED] = { "one-side-stored", FINDING_CAUTION, false,
		"points of writes that only one side shows to be stored: they can't be compared",
		"points" },
	[LEFT_OUT] = { "passes-left-out", FINDING_CAUTION, false,
		"passes that do not count: cut short, with errors, disturbed",
		"base_passes new_passes" },
	[SOME_TOO_FEW] = { "points-too-few", FINDING_CAUTION, false,
		"points with too few replicates for a verdict", "points needed_replicates" },
	[FALSE_ALARMS] = { "false-alarms", FINDING_PLAIN, false,
		"how often a comparison of equal builds would call any point different", "share" },
	[NEEDED] = { "replicates-for-5-percent", FINDING_PLAIN, false,
		"replicates a side with which a change of 5 % is found at every point, 4 times in "
		"5",
		"replicates" },
	[FEW_REQUESTS] = { "few-requests", FINDING_CAUTION, false,
		"points whose passes hold too few requests for a 99th percentile", "points" },
	[LONGER_TAILS] = { "longer-p99", FINDING_CAUTION, false,
		"points whose 99th percentile is shown to be longer", "points" },
	[RANKS] = { "few-carry-it", FINDING_CAUTION, false,
		"points where few extreme replicates may carry the verdict", "points" },
	[NOISE] = { "unequal-noise", FINDING_CAUTION, false,
		"points where one side is far noisier than the other", "points" },
	[PHASE_CHANGED] = { "phase-changed", FINDING_PLAIN, false,
		"the phase of requests that the larger part of a change is in, by the bus or the "
		"model",
		"direction order request_bytes phase base_seconds new_seconds" },
};

const size_t compare_code_count = sizeof compare_codes / sizeof *compare_codes;

static const char *replicates(const struct compared *c)
{
	return c->by_runs ? "runs" : "passes";
}

/* What the verdicts speak of. */
static const char *new_side(const struct compared *c)
{
	return c->by_runs ? "new build" : "new run";
}

size_t compare_count(const struct compared *c, enum compare_verdict v)
{
	size_t n = 0;

	for (size_t i = 0; i < c->count; i++)
		n += c->points[i].rate.verdict == v;
	return n;
}

/* ---- the verdict ---- */

struct range {
	double low, high;
};

static void widen(struct range *r, double value)
{
	r->low = fmin(r->low, value);
	r->high = fmax(r->high, value);
}

static struct range changes(const struct compared *c, enum compare_verdict v)
{
	struct range r = { INFINITY, -INFINITY };

	for (size_t i = 0; i < c->count; i++)
		if (c->points[i].rate.verdict == v)
			widen(&r, fabs(c->points[i].rate.ratio - 1));
	return r;
}

static struct range detectable(const struct compared *c)
{
	struct range r = { INFINITY, -INFINITY };

	for (size_t i = 0; i < c->count; i++)
		if (isfinite(c->points[i].rate.detectable))
			widen(&r, c->points[i].rate.detectable);
	return r;
}

/* "3.1 %" or "3.1 % to 24 %" */
static const char *range_words(struct pool *pool, struct range r)
{
	double low = r.low * 100, high = r.high * 100;
	char a[32], b[32];

	snprintf(a, sizeof a, low < 9.95 ? "%.1f" : "%.0f", low);
	snprintf(b, sizeof b, high < 9.95 ? "%.1f" : "%.0f", high);
	if (!strcmp(a, b))
		return pool_printf(pool, "%s %%", a);
	return pool_printf(pool, "%s %% to %s %%", a, b);
}

static void add_not_shown(struct findings *f, const struct compared *c)
{
	struct range r = detectable(c);
	size_t n = compare_count(c, COMPARE_NOT_SHOWN);
	struct finding *one = finding_add(f, &compare_codes[NOT_SHOWN],
		"The %s is not shown to differ at any of %zu point%s: a change of %s would have "
		"been found 4 times in 5.",
		new_side(c), n, text_plural(n), range_words(f->pool, r));

	finding_figure(one, "points", value_count(n));
	finding_figure(one, "smallest_detectable_share", value_share(r.low));
	finding_figure(one, "largest_detectable_share", value_share(r.high));
}

static void add_too_few(struct findings *f, const struct compared *c)
{
	struct finding *one = finding_add(f, &compare_codes[TOO_FEW],
		"Not shown: no point has enough %s for a verdict. It takes %d or more a side.",
		replicates(c), COMPARE_MIN_REPLICATES);

	finding_figure(one, "points", value_count(c->count));
}

static void add_change_figures(struct finding *one, const struct compared *c, struct range r)
{
	finding_figure(one, "points", value_count(c->count - compare_count(c, COMPARE_TOO_FEW)));
	finding_figure(one, "faster_points", value_count(compare_count(c, COMPARE_HIGHER)));
	finding_figure(one, "slower_points", value_count(compare_count(c, COMPARE_LOWER)));
	finding_figure(one, "smallest_change_share", value_share(r.low));
	finding_figure(one, "largest_change_share", value_share(r.high));
}

static void add_one_way(struct findings *f, const struct compared *c, enum compare_verdict v)
{
	struct range r = changes(c, v);
	size_t judged = c->count - compare_count(c, COMPARE_TOO_FEW);
	bool faster = v == COMPARE_HIGHER;

	add_change_figures(
		finding_add(f, &compare_codes[faster ? FASTER : SLOWER],
			"The %s is %s at %zu of %zu point%s, by %s; at none is it %s.", new_side(c),
			faster ? "faster" : "slower", compare_count(c, v), judged,
			text_plural(judged), range_words(f->pool, r), faster ? "slower" : "faster"),
		c, r);
}

static void add_mixed(struct findings *f, const struct compared *c)
{
	struct range up = changes(c, COMPARE_HIGHER), down = changes(c, COMPARE_LOWER), both = up;
	const char *faster = range_words(f->pool, up), *slower = range_words(f->pool, down);

	widen(&both, down.low);
	widen(&both, down.high);
	add_change_figures(
		finding_add(f, &compare_codes[MIXED],
			"The %s is faster at %zu of %zu points, by %s, and slower at %zu, by %s.",
			new_side(c), compare_count(c, COMPARE_HIGHER),
			c->count - compare_count(c, COMPARE_TOO_FEW), faster,
			compare_count(c, COMPARE_LOWER), slower),
		c, both);
}

static void add_verdict(struct findings *f, const struct compared *c)
{
	size_t up = compare_count(c, COMPARE_HIGHER), down = compare_count(c, COMPARE_LOWER);

	if (up && down)
		add_mixed(f, c);
	else if (up || down)
		add_one_way(f, c, up ? COMPARE_HIGHER : COMPARE_LOWER);
	else if (compare_count(c, COMPARE_NOT_SHOWN))
		add_not_shown(f, c);
	else
		add_too_few(f, c);
}

/* ---- the gate ---- */

/* What its answer speaks of, and in spite of what. */
static const char *gate_scope(struct pool *pool, const struct compared *c)
{
	return pool_printf(pool, "%s%s", c->by_runs ? "" : " for these two runs",
		c->overruled ? ", with cautions set aside by --anyway" : "");
}

static size_t count_basis(const struct compared *c, enum compare_basis basis)
{
	size_t n = 0;

	for (size_t i = 0; i < c->count; i++)
		n += c->points[i].basis == basis;
	return n;
}

static double largest_bound(const struct compared *c)
{
	double most = -INFINITY;

	for (size_t i = 0; i < c->count; i++)
		most = fmax(most, c->points[i].gate.loss_bound);
	return most;
}

static void add_gate_passed(
	struct findings *f, const struct compared *c, const struct gate_request *gate)
{
	double bound = fmax(0, largest_bound(c));
	size_t answered = count_basis(c, COMPARE_ACKNOWLEDGED);
	const char *only = pool_printf(f->pool,
		" At %zu point%s of writes that speaks of acknowledging, not of storing.", answered,
		text_plural(answered));
	struct finding *one = finding_add(f, &compare_codes[GATE_PASSED],
		"Gate passed%s: no point loses more than %.2g %% (95 %% sure of each); %g %% is "
		"allowed.%s",
		gate_scope(f->pool, c), bound * 100, gate->allowed * 100, answered ? only : "");

	finding_figure(one, "points", value_count(c->count));
	finding_figure(one, "allowed_loss_share", value_share(gate->allowed));
	finding_figure(one, "largest_loss_bound_share", value_share(largest_bound(c)));
}

static const struct compare_point *slowest_point(const struct compared *c)
{
	const struct compare_point *worst = NULL;

	for (size_t i = 0; i < c->count; i++)
		if (c->points[i].gate.p_slower <= COMPARE_ALPHA &&
			(!worst || c->points[i].rate.ratio < worst->rate.ratio))
			worst = &c->points[i];
	return worst;
}

static void add_gate_failed(
	struct findings *f, const struct compared *c, const struct gate_request *gate)
{
	const struct compare_point *worst = slowest_point(c);
	size_t n = gate->result.slower;
	double ratio = worst ? worst->rate.ratio : gate->result.whole_ratio;
	char size[SIZE_TEXT_MAX];
	struct finding *one;

	if (worst)
		one = finding_add(f, &compare_codes[GATE_FAILED],
			"Gate failed%s: %zu of %zu point%s %s shown to be more than %g %% slower, "
			"most of all %s %ss of %s (%.1f %% slower).",
			gate_scope(f->pool, c), n, c->count, text_plural(c->count),
			n == 1 ? "is" : "are", gate->allowed * 100, run_order_name(worst->order),
			run_direction_name(worst->direction),
			size_format(size, worst->request_bytes), (1 - ratio) * 100);
	else
		one = finding_add(f, &compare_codes[GATE_FAILED],
			"Gate failed%s: taken together, the points are shown to be more than %g %% "
			"slower, though no single one is: by %.1f %% overall.",
			gate_scope(f->pool, c), gate->allowed * 100, (1 - ratio) * 100);
	finding_figure(one, "points", value_count(c->count));
	finding_figure(one, "slower_points", value_count(n));
	finding_figure(one, "allowed_loss_share", value_share(gate->allowed));
	finding_figure(one, "worst_ratio", value_number(ratio));
}

static const char *way_out(
	struct pool *pool, const struct compared *c, const struct gate_request *gate)
{
	size_t half_shown = count_basis(c, COMPARE_ONE_STORED);

	if (half_shown)
		return pool_printf(pool,
			"No number of %s decides it: at %zu point%s of writes only one side shows "
			"when they are stored.",
			replicates(c), half_shown, text_plural(half_shown));
	if (c->gate_needed)
		return pool_printf(pool, "With %zu %s a side an equally fast build would pass.",
			c->gate_needed, replicates(c));
	if (compare_count(c, COMPARE_TOO_FEW))
		return pool_printf(pool, "It takes %d or more %s a side.", COMPARE_MIN_REPLICATES,
			replicates(c));
	if (!(gate->allowed > 0))
		return "An equally fast build can't be told from one that is slower by a hair: "
		       "allow a little.";
	return pool_printf(pool,
		"No number of %s would do at this noise: find out where it comes "
		"from.",
		replicates(c));
}

static const char *why_held(
	struct pool *pool, const struct compared *c, const struct gate_request *gate)
{
	size_t lost = c->failed[COMPARE_NEW],
	       n = c->lacking[gate->held == GATE_HELD_BY_NEW ? COMPARE_NEW : COMPARE_BASE];

	if (gate->held == GATE_HELD_BY_BUILDS) {
		struct build_doubts doubts = compare_builds(pool, c);

		return compare_builds_hold(&doubts);
	}
	if (gate->held == GATE_HELD_BY_END)
		return pool_printf(pool,
			"%zu run%s of the new side ended in an error (base: %zu), so what would "
			"have followed is not known.",
			c->broke[COMPARE_NEW], text_plural(c->broke[COMPARE_NEW]),
			c->broke[COMPARE_BASE]);
	if (gate->held == GATE_HELD_BY_FAILURES)
		return pool_printf(pool,
			"%zu pass%s of the new side met errors or resets (base: %zu) and %s not "
			"count, so what they lost is in no figure.",
			lost, lost == 1 ? "" : "es", c->failed[COMPARE_BASE],
			lost == 1 ? "does" : "do");
	if (gate->held == GATE_HELD_BY_BASE)
		return pool_printf(pool,
			"the base did not finish, so %zu point%s of the new side cannot be "
			"compared.",
			n, text_plural(n));
	return pool_printf(pool,
		"the new side lacks %zu point%s that the base has, so what it loses there is not "
		"known.",
		n, text_plural(n));
}

/* All points that can be judged would pass, and that is not enough. */
static void add_gate_held(
	struct findings *f, const struct compared *c, const struct gate_request *gate)
{
	static const char *const rest[] = { [GATE_HELD_BY_NEW] = "The other",
		[GATE_HELD_BY_BASE] = "The other",
		[GATE_HELD_BY_FAILURES] = "By the passes that count,",
		[GATE_HELD_BY_END] = "By the passes that count,",
		[GATE_HELD_BY_BUILDS] = "By the figures alone," };
	struct finding *one = finding_add(f, &compare_codes[GATE_UNDECIDED],
		"Gate undecided: %s %s %zu point%s lose%s no more than %g %%%s.",
		why_held(f->pool, c, gate), rest[gate->held], c->count, text_plural(c->count),
		c->count == 1 ? "s" : "", gate->allowed * 100,
		gate->held == GATE_HELD_BY_BUILDS ? "; --anyway lets that count" : "");

	finding_figure(one, "points", value_count(c->count));
	finding_figure(one, "within_points", value_count(gate->result.within));
	finding_figure(one, "allowed_loss_share", value_share(gate->allowed));
	finding_figure(one, "needed_replicates", value_if(false, value_count(0)));
}

static void add_gate_undecided(
	struct findings *f, const struct compared *c, const struct gate_request *gate)
{
	size_t needed = c->gate_needed;
	struct finding *one = finding_add(f, &compare_codes[GATE_UNDECIDED],
		"Gate undecided: of %zu point%s %zu %s shown to lose no more than %g %%, and none "
		"is shown to lose more. %s",
		c->count, text_plural(c->count), gate->result.within,
		gate->result.within == 1 ? "is" : "are", gate->allowed * 100,
		way_out(f->pool, c, gate));

	finding_figure(one, "points", value_count(c->count));
	finding_figure(one, "within_points", value_count(gate->result.within));
	finding_figure(one, "allowed_loss_share", value_share(gate->allowed));
	finding_figure(one, "needed_replicates", value_if(needed > 0, value_count(needed)));
}

static void add_gate(struct findings *f, const struct compared *c, const struct gate_request *gate)
{
	if (!gate->given)
		return;
	if (gate->result.answer == COMPARE_PASSED)
		add_gate_passed(f, c, gate);
	else if (gate->result.answer == COMPARE_FAILED)
		add_gate_failed(f, c, gate);
	else if (gate->held)
		add_gate_held(f, c, gate);
	else
		add_gate_undecided(f, c, gate);
}

/* ---- what the verdict rests on ---- */

static void add_basis(struct findings *f, const struct compared *c)
{
	if (!c->by_runs)
		finding_add(f, &compare_codes[ONE_RUN],
			"One run a side compares these two runs, not two builds: replugging alone "
			"can make such a difference. Record %d or more runs of each build, "
			"alternating (A B B A), and give them all.",
			COMPARE_MIN_REPLICATES);
	else if (compared_one_after_the_other(c))
		finding_add(f, &compare_codes[NOT_IN_TURN],
			"All runs of one side were recorded before the other's: a card that fills "
			"or a host that warms up looks like a difference between the builds. "
			"Alternate them (A B B A).");
	if (c->modelled)
		finding_add(
			f, &compare_codes[MODELLED], "These figures are modelled, not measured.");
}

static void add_remarks(struct findings *f, const struct compared *c)
{
	static const int codes[] = { [REMARK_CONDITIONS] = CONDITIONS,
		[REMARK_UNFINISHED] = UNFINISHED,
		[REMARK_DAMAGED] = DAMAGED };

	for (const struct compare_remark *r = c->remarks; r; r = r->next)
		finding_add(f, &compare_codes[codes[r->what]], "%s", r->sentence);
}

/* Firmware and gadget, set against the labels. */
static void add_builds(struct findings *f, const struct compared *c)
{
	static const int codes[] = { [BUILDS_ONE_FIRMWARE] = ONE_FIRMWARE,
		[BUILDS_MANY_FIRMWARES] = MANY_FIRMWARES,
		[BUILDS_MIXED_LABELS] = MIXED_LABELS,
		[BUILDS_ANOTHER_GADGET] = ANOTHER_GADGET };
	struct build_doubts d = compare_builds(f->pool, c);

	for (size_t i = 0; i < d.count; i++)
		finding_add(f, &compare_codes[codes[d.list[i].what]], "%s", d.list[i].sentence);
}

static void add_rates_compared(struct findings *f, const struct compared *c)
{
	size_t n[COMPARE_ONE_STORED + 1] = { 0 };

	for (size_t i = 0; i < c->count; i++)
		n[c->points[i].basis]++;
	if (n[COMPARE_ACKNOWLEDGED])
		finding_figure(
			finding_add(f, &compare_codes[ACKNOWLEDGED],
				"At %zu point%s of writes neither side shows when they are stored: "
				"the verdict there is about acknowledging alone, and a build that "
				"acknowledges sooner may store no faster.",
				n[COMPARE_ACKNOWLEDGED], text_plural(n[COMPARE_ACKNOWLEDGED])),
			"points", value_count(n[COMPARE_ACKNOWLEDGED]));
	if (n[COMPARE_ONE_STORED])
		finding_figure(finding_add(f, &compare_codes[ONE_STORED],
				       "At %zu point%s of writes only one side shows when they are "
				       "stored: these are not compared.",
				       n[COMPARE_ONE_STORED], text_plural(n[COMPARE_ONE_STORED])),
			"points", value_count(n[COMPARE_ONE_STORED]));
}

static void add_left_out(struct findings *f, const struct compared *c)
{
	struct finding *one;

	if (c->one_sided)
		finding_figure(
			finding_add(f, &compare_codes[ONE_SIDED],
				"%zu point%s measured on one side only %s left out.", c->one_sided,
				text_plural(c->one_sided), c->one_sided == 1 ? "was" : "were"),
			"points", value_count(c->one_sided));
	add_rates_compared(f, c);
	if (!c->left_out[COMPARE_BASE] && !c->left_out[COMPARE_NEW])
		return;
	one = finding_add(f, &compare_codes[LEFT_OUT],
		"Passes left out because they were cut short, had errors or were disturbed: %zu of "
		"the base, %zu of the new side.",
		c->left_out[COMPARE_BASE], c->left_out[COMPARE_NEW]);
	finding_figure(one, "base_passes", value_count(c->left_out[COMPARE_BASE]));
	finding_figure(one, "new_passes", value_count(c->left_out[COMPARE_NEW]));
}

static void add_some_too_few(struct findings *f, const struct compared *c)
{
	size_t n = compare_count(c, COMPARE_TOO_FEW);
	struct finding *one;

	if (!n || n == c->count)
		return;
	one = finding_add(f, &compare_codes[SOME_TOO_FEW],
		"%zu of %zu points have too few %s for a verdict: it takes %d or more a side.", n,
		c->count, replicates(c), COMPARE_MIN_REPLICATES);
	finding_figure(one, "points", value_count(n));
	finding_figure(one, "needed_replicates", value_count(COMPARE_MIN_REPLICATES));
}

/* Only several runs a side hold what differs from one plugging-in to the next. */
static void add_false_alarms(struct findings *f, const struct compared *c)
{
	if (!c->by_runs || compare_count(c, COMPARE_TOO_FEW) == c->count)
		return;
	finding_figure(
		finding_add(f, &compare_codes[FALSE_ALARMS],
			"If the builds were equal, a comparison like this would call any point "
			"faster or slower at most once in 20."),
		"share", value_share(COMPARE_ALPHA));
}

static void add_needed(struct findings *f, const struct compared *c)
{
	size_t most = 0;

	for (size_t i = 0; i < c->count; i++)
		most = c->points[i].rate.needed > most ? c->points[i].rate.needed : most;
	if (!most)
		return;
	finding_figure(finding_add(f, &compare_codes[NEEDED],
			       "It takes %zu %s a side to find a change of 5 %% at every point, 4 "
			       "times in 5.",
			       most, replicates(c)),
		"replicates", value_count(most));
}

/* ---- single points ---- */

typedef bool concern(const struct compare_point *p);

static size_t count_of(const struct compared *c, concern *is)
{
	size_t n = 0;

	for (size_t i = 0; i < c->count; i++)
		n += is(&c->points[i]);
	return n;
}

static bool lacks_p99(const struct compare_point *p)
{
	return p->p99.verdict == COMPARE_TOO_FEW && p->rate.verdict != COMPARE_TOO_FEW;
}

static bool is_longer(const struct compare_point *p)
{
	return p->p99.verdict == COMPARE_HIGHER;
}

static bool is_doubted(const struct compare_point *p)
{
	return (p->rate.verdict == COMPARE_HIGHER || p->rate.verdict == COMPARE_LOWER) &&
	       p->rate.p_rank > doubtful_p_rank;
}

static bool is_unequal(const struct compare_point *p)
{
	double a = p->rate.base_logs.sd, b = p->rate.fresh_logs.sd;

	return p->rate.verdict != COMPARE_TOO_FEW && fmin(a, b) > 0 &&
	       fmax(a, b) > much_noisier * fmin(a, b);
}

static void add_points(struct findings *f, const struct compared *c)
{
	size_t longer = count_of(c, is_longer), lacking = count_of(c, lacks_p99),
	       doubted = count_of(c, is_doubted), unequal = count_of(c, is_unequal);

	if (longer)
		finding_figure(
			finding_add(f, &compare_codes[LONGER_TAILS],
				"At %zu point%s the slowest 1 %% of the requests take longer than "
				"before.",
				longer, text_plural(longer)),
			"points", value_count(longer));
	if (doubted)
		finding_figure(finding_add(f, &compare_codes[RANKS],
				       "At %zu point%s a few extreme %s may decide the verdict: "
				       "look at them.",
				       doubted, text_plural(doubted), replicates(c)),
			"points", value_count(doubted));
	if (unequal > c->count / 4)
		finding_figure(finding_add(f, &compare_codes[NOISE],
				       "At %zu of %zu points one side is more than 5 times as "
				       "noisy as the other: find out why; verdicts are a little "
				       "less certain there.",
				       unequal, c->count),
			"points", value_count(unequal));
	if (lacking)
		finding_figure(finding_add(f, &compare_codes[FEW_REQUESTS],
				       "At %zu point%s no 99th percentile is compared: it takes "
				       "passes of %d requests or more, at least "
				       "%d %s a side.",
				       lacking, text_plural(lacking), COMPARE_P99_REQUESTS,
				       COMPARE_MIN_REPLICATES, replicates(c)),
			"points", value_count(lacking));
}

void compare_findings_add(
	struct findings *f, const struct compared *c, const struct gate_request *gate)
{
	add_gate(f, c, gate);
	add_verdict(f, c);
	compare_phases_add(f, c, &compare_codes[PHASE_CHANGED]);
	add_basis(f, c);
	add_remarks(f, c);
	add_builds(f, c);
	add_left_out(f, c);
	add_some_too_few(f, c);
	add_points(f, c);
	add_false_alarms(f, c);
	add_needed(f, c);
}
