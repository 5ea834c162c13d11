/* Comparisons as CSV. */
#include <math.h>

#include "base/text.h"
#include "report/compare_text.h"

static void number(struct text *t, double value)
{
	if (isfinite(value))
		text_addf(t, "%.9g", value);
}

static const char *verdict_word(enum compare_verdict v, const char *higher, const char *lower)
{
	switch (v) {
	case COMPARE_TOO_FEW:
		return "too few";
	case COMPARE_NOT_SHOWN:
		return "not shown to differ";
	case COMPARE_HIGHER:
		return higher;
	case COMPARE_LOWER:
		break;
	}
	return lower;
}

#define COLUMN(name, code)                                                                        \
	static void name(struct text *t, const struct compared *c, const struct compare_point *p) \
	{                                                                                         \
		(void)c;                                                                          \
		code;                                                                             \
	}

COLUMN(direction, text_adds(t, run_direction_name(p->direction)))
COLUMN(order, text_adds(t, run_order_name(p->order)))
COLUMN(in_flight, text_addf(t, "%u", p->in_flight))
COLUMN(request_bytes, text_addf(t, "%llu", (unsigned long long)p->request_bytes))
COLUMN(base_n, text_addf(t, "%zu", p->rate.base_n))
COLUMN(new_n, text_addf(t, "%zu", p->rate.fresh_n))
COLUMN(replicate, text_adds(t, c->by_runs ? "run" : "pass"); (void)p)
COLUMN(base_rate, number(t, exp(p->rate.base_logs.mean)))
COLUMN(new_rate, number(t, exp(p->rate.fresh_logs.mean)))
COLUMN(ratio, number(t, p->rate.ratio))
COLUMN(ratio_low, if (p->rate.welch.known) number(t, p->rate.low))
COLUMN(ratio_high, if (p->rate.welch.known) number(t, p->rate.high))
COLUMN(p_value, if (p->rate.welch.known) number(t, p->rate.p))
COLUMN(p_holm, if (p->rate.welch.known) number(t, p->rate.p_holm))
COLUMN(p_rank, number(t, p->rate.p_rank))
COLUMN(verdict, text_adds(t, verdict_word(p->rate.verdict, "faster", "slower")))
COLUMN(visible, number(t, p->rate.detectable * 100))
COLUMN(needed, if (p->rate.needed) text_addf(t, "%zu", p->rate.needed))
COLUMN(base_p99, number(t, exp(p->p99.base_logs.mean)))
COLUMN(new_p99, number(t, exp(p->p99.fresh_logs.mean)))
COLUMN(p99_ratio, number(t, p->p99.ratio))
COLUMN(p99_p_holm, if (p->p99.welch.known) number(t, p->p99.p_holm))
COLUMN(p99_verdict, text_adds(t, verdict_word(p->p99.verdict, "longer", "shorter")))
COLUMN(base_slowest, number(t, p->side[COMPARE_BASE].slowest_s))
COLUMN(new_slowest, number(t, p->side[COMPARE_NEW].slowest_s))
COLUMN(modelled, text_adds(t, c->modelled ? "yes" : "no"); (void)p)

const struct compare_column compare_columns[] = {
	{ "direction", "read or write", direction },
	{ "order", "sequential or random", order },
	{ "in_flight", "requests kept open at once", in_flight },
	{ "request_bytes", "request size in bytes", request_bytes },
	{ "replicate", "what was counted as one replicate: pass or run", replicate },
	{ "base_n", "replicates of the base", base_n },
	{ "new_n", "replicates of the new build", new_n },
	{ "base_bytes_per_second", "geometric mean of the base's stored rate", base_rate },
	{ "new_bytes_per_second", "the same of the new build", new_rate },
	{ "ratio", "new over base", ratio },
	{ "ratio_low", "lower end of its 95 % interval, this point alone", ratio_low },
	{ "ratio_high", "upper end", ratio_high },
	{ "p", "two-sided p of Welch's t on the logarithms", p_value },
	{ "p_holm", "the same, corrected over all points by Holm", p_holm },
	{ "p_rank", "two-sided p of the rank sum test, uncorrected", p_rank },
	{ "verdict", "faster, slower, not shown to differ, too few", verdict },
	{ "visible_percent",
		"smallest change that 80 % of such comparisons would have shown, in percent",
		visible },
	{ "needed_for_5_percent", "replicates a side that would show 5 %", needed },
	{ "base_p99_s", "geometric mean of the base's 99th percentile of latency, seconds",
		base_p99 },
	{ "new_p99_s", "the same of the new build", new_p99 },
	{ "p99_ratio", "new over base", p99_ratio },
	{ "p99_p_holm", "its p, corrected over all points by Holm", p99_p_holm },
	{ "p99_verdict", "longer, shorter, not shown to differ, too few", p99_verdict },
	{ "base_slowest_s", "slowest request of the base, seconds", base_slowest },
	{ "new_slowest_s", "slowest request of the new build, seconds", new_slowest },
	{ "modelled", "yes when figures are modelled, not measured", modelled },
};

const size_t compare_column_count = sizeof compare_columns / sizeof *compare_columns;

void compare_csv_add(struct text *t, const struct compared *c)
{
	for (size_t k = 0; k < compare_column_count; k++)
		text_addf(t, "%s%s", k ? "," : "", compare_columns[k].key);
	text_adds(t, "\r\n");
	for (size_t i = 0; i < c->count; i++) {
		for (size_t k = 0; k < compare_column_count; k++) {
			text_adds(t, k ? "," : "");
			compare_columns[k].value(t, c, &c->points[i]);
		}
		text_adds(t, "\r\n");
	}
}
