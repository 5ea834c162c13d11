/* The table of a comparison: a row a point. */
#include <math.h>

#include "findings/compared.h"

#define POINT(function, expression) COLUMN_VALUE(function, struct compare_point, r, expression)
#define SUMMARY(function, expression) COLUMN_VALUE(function, struct compare_summary, r, expression)

static const char *const rate_words[] = { [COMPARE_TOO_FEW] = "too-few",
	[COMPARE_NOT_SHOWN] = "not-shown",
	[COMPARE_HIGHER] = "faster",
	[COMPARE_LOWER] = "slower" };
static const char *const p99_words[] = { [COMPARE_TOO_FEW] = "too-few",
	[COMPARE_NOT_SHOWN] = "not-shown",
	[COMPARE_HIGHER] = "longer",
	[COMPARE_LOWER] = "shorter" };

static const char *const basis_words[] = { [COMPARE_STORED] = "stored",
	[COMPARE_ACKNOWLEDGED] = "acknowledged",
	[COMPARE_ONE_STORED] = "none" };

/* The logarithm of a rate or a time; NaN where there is none. */
static struct value rate_of_log(double log_rate)
{
	return value_if(isfinite(log_rate), value_rate(exp(log_rate)));
}

static struct value time_of_log(double log_seconds)
{
	return value_if(isfinite(log_seconds), value_seconds(exp(log_seconds)));
}

static struct value some(double seconds)
{
	return value_if(seconds > 0, value_seconds(seconds));
}

static struct value count_if(bool known, size_t n)
{
	return value_if(known, value_count(n));
}

POINT(direction, value_word(run_direction_name(r->direction)))
POINT(order, value_word(run_order_name(r->order)))
POINT(in_flight, value_count(r->in_flight))
POINT(request_bytes, value_bytes(r->request_bytes))
POINT(base_n, value_count(r->rate.base_n))
POINT(new_n, value_count(r->rate.fresh_n))
POINT(basis, value_word(basis_words[r->basis]))
POINT(base_rate, rate_of_log(r->rate.base_logs.mean))
POINT(new_rate, rate_of_log(r->rate.fresh_logs.mean))
POINT(change, value_change(r->rate.ratio))
POINT(change_range, value_if(r->rate.welch.known, value_change_range(r->rate.low, r->rate.high)))
POINT(ratio, value_number(r->rate.ratio))
POINT(ratio_low, value_if(r->rate.welch.known, value_number(r->rate.low)))
POINT(ratio_high, value_if(r->rate.welch.known, value_number(r->rate.high)))
POINT(verdict, value_code(rate_words[r->rate.verdict]))
POINT(p_value, value_if(r->rate.welch.known, value_number(r->rate.p)))
POINT(p_holm, value_if(r->rate.welch.known, value_number(r->rate.p_holm)))
POINT(p_rank, value_number(r->rate.p_rank))
POINT(detectable, value_share(r->rate.detectable))
POINT(needed, count_if(r->rate.needed > 0, r->rate.needed))
POINT(loss_bound, value_share(r->gate.loss_bound))
POINT(base_p99, time_of_log(r->p99.base_logs.mean))
POINT(new_p99, time_of_log(r->p99.fresh_logs.mean))
POINT(p99_change, value_change(r->p99.ratio))
POINT(p99_ratio, value_number(r->p99.ratio))
POINT(p99_p_holm, value_if(r->p99.welch.known, value_number(r->p99.p_holm)))
POINT(p99_verdict, value_code(p99_words[r->p99.verdict]))
POINT(base_slowest, some(r->side[COMPARE_BASE].slowest_s))
POINT(modelled, value_flag(r->modelled))
POINT(new_slowest, some(r->side[COMPARE_NEW].slowest_s))

static bool not_all_stored(const struct table *t)
{
	const struct compare_point *points = t->rows;

	for (size_t i = 0; i < t->count; i++)
		if (points[i].basis != COMPARE_STORED)
			return true;
	return false;
}

static bool any_bound(const struct table *t)
{
	const struct compare_point *points = t->rows;

	for (size_t i = 0; i < t->count; i++)
		if (isfinite(points[i].gate.loss_bound))
			return true;
	return false;
}

static const struct column points[] = {
	{ "direction", NULL, "read or write", 0, true, NULL, direction },
	{ "order", NULL, "sequential or random", 0, true, NULL, order },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, in_flight },
	{ "request_bytes", "request", "request size", 9, false, NULL, request_bytes },
	{ "base_n", NULL, "replicates of the base: passes, or runs when a side has several", 0,
		false, NULL, base_n },
	{ "new_n", NULL, "replicates of the new build", 0, false, NULL, new_n },
	{ "base_bytes_per_second", "base",
		"geometric mean of the base's rate; of writes the one that basis says", 11, false,
		NULL, base_rate },
	{ "new_bytes_per_second", "new", "the same of the new build", 11, false, NULL, new_rate },
	{ NULL, "change", "of the rate, new against base", 10, false, NULL, change },
	{ NULL, "95 % range", "of the change, for this point alone, in percent", 15, false, NULL,
		change_range },
	{ "ratio", NULL, "rate of the new build over that of the base", 0, false, NULL, ratio },
	{ "ratio_low", NULL, "lower end of its 95 % range, for this point alone", 0, false, NULL,
		ratio_low },
	{ "ratio_high", NULL, "upper end", 0, false, NULL, ratio_high },
	{ "verdict", "verdict",
		"faster, slower, not-shown (to differ) or too-few (for a verdict), corrected for "
		"the number of points",
		11, true, NULL, verdict },
	{ "p", NULL, "two-sided p of Welch's t on the logarithms", 0, false, NULL, p_value },
	{ "p_holm", NULL, "the same, corrected over all points by Holm", 0, false, NULL, p_holm },
	{ "p_rank", NULL, "two-sided p of the rank sum test, uncorrected", 0, false, NULL, p_rank },
	{ "detectable_share", "detectable",
		"the smallest change that another comparison like this would find 4 times in 5", 11,
		false, NULL, detectable },
	{ "needed_for_5_percent", NULL, "replicates a side that find 5 % as often", 0, false, NULL,
		needed },
	{ "loss_bound_share", "loss below",
		"the gate's bound: with 95 % confidence the new build loses less than this", 11,
		false, any_bound, loss_bound },
	{ "base_request_time_p99_seconds", NULL,
		"geometric mean of the base's 99th percentile, of passes with 100 requests or more",
		0, false, NULL, base_p99 },
	{ "new_request_time_p99_seconds", NULL, "the same of the new build", 0, false, NULL,
		new_p99 },
	{ "p99_ratio", NULL, "new over base", 0, false, NULL, p99_ratio },
	{ "p99_p_holm", NULL, "its p, corrected over all points by Holm", 0, false, NULL,
		p99_p_holm },
	{ "p99_verdict", NULL, "longer, shorter, not-shown or too-few", 0, true, NULL,
		p99_verdict },
	{ "base_slowest_seconds", NULL, "slowest request of the base", 0, false, NULL,
		base_slowest },
	{ "new_slowest_seconds", NULL, "slowest request of the new build", 0, false, NULL,
		new_slowest },
	{ "modelled", NULL, "a side is of a gadget model: nothing was measured", 0, false, NULL,
		modelled },
	{ "basis", "rates",
		"what is compared: stored (reads: measured) rates, acknowledged ones where neither "
		"side shows what it stores, none where one side does",
		13, true, not_all_stored, basis },
};

const struct table_spec compare_points_spec = { .key = "points",
	.meaning = "a point that both sides have",
	.csv = CSV_BARE,
	.row_bytes = sizeof(struct compare_point),
	TABLE_COLUMNS(points) };

/* The same rows once more for people: their slowest requests. */
static const struct column tails[] = {
	{ NULL, "request", "request size", 9, false, NULL, request_bytes },
	{ NULL, "p99 base",
		"time within which 99 % of the requests were answered, geometric mean over passes "
		"with 100 requests or more",
		12, false, NULL, base_p99 },
	{ NULL, "p99 new", NULL, 12, false, NULL, new_p99 },
	{ NULL, "change", "of that time", 9, false, NULL, p99_change },
	{ NULL, "verdict", "longer, shorter, not-shown (to differ) or too-few (requests or passes)",
		11, true, NULL, p99_verdict },
	{ NULL, "slowest base", "the slowest request of all passes", 14, false, NULL,
		base_slowest },
	{ NULL, "slowest new", NULL, 13, false, NULL, new_slowest },
};

const struct table_spec compare_tails_spec = { .row_bytes = sizeof(struct compare_point),
	TABLE_COLUMNS(tails) };

static const char *const answers[] = {
	[COMPARE_UNDECIDED] = "undecided", [COMPARE_PASSED] = "passed", [COMPARE_FAILED] = "failed"
};

SUMMARY(gate, value_if(r->gate_given, value_word(answers[r->gate.answer])))
SUMMARY(allowed, value_if(r->gate_given, value_share(r->allowed)))
SUMMARY(speaks_of, value_word(r->speaks_of))
SUMMARY(base_runs, value_count(r->runs[COMPARE_BASE]))
SUMMARY(new_runs, value_count(r->runs[COMPARE_NEW]))
SUMMARY(base_passes, value_count(r->passes[COMPARE_BASE]))
SUMMARY(new_passes, value_count(r->passes[COMPARE_NEW]))

static const struct column summary[] = {
	{ "speaks_of", NULL,
		"what the verdicts can tell apart: runs (one a side) or builds (several a side)", 0,
		true, NULL, speaks_of },
	{ "gate", NULL, "passed, failed or undecided; null: no gate was asked for", 0, true, NULL,
		gate },
	{ "allowed_loss_share", NULL, "by how much the gate allows any point to be slower", 0,
		false, NULL, allowed },
	{ "base_runs", NULL, "runs of the base, first in \"runs\"", 0, false, NULL, base_runs },
	{ "new_runs", NULL, "runs of the new build, after them", 0, false, NULL, new_runs },
	{ "base_passes", NULL, "passes of the base that count", 0, false, NULL, base_passes },
	{ "new_passes", NULL, "passes of the new build that count", 0, false, NULL, new_passes },
};

const struct table_spec compare_summary_spec = { .key = "summary",
	.meaning = "what was asked, and what the verdicts speak of",
	.json = JSON_BARE,
	.row_bytes = sizeof(struct compare_summary),
	TABLE_COLUMNS(summary) };
