/* Comparisons as text. */
#include "report/compare_text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/clean.h"
#include "base/size.h"
#include "base/text.h"
#include "report/layout.h"

struct pen {
	struct text *t;
	const struct text_style *style;
	const struct compared *c;
	size_t columns;
};

static void bold(const struct pen *p, bool on)
{
	if (p->style->colour)
		text_adds(p->t, on ? "\033[1m" : "\033[0m");
}

static void sentence(const struct pen *p, bool caution, const char *s)
{
	text_adds(p->t, caution ? "  ! " : "  + ");
	layout_wrap(p->t, s, 4, 4, p->columns);
}

/* "+32.3 %", "-0.41 %": three digits. */
static void add_change(struct text *t, double ratio)
{
	double change = (ratio - 1) * 100;
	int decimals = fabs(change) < 9.995 ? 2 : fabs(change) < 99.95 ? 1 : 0;

	if (change >= 999.5) /* beyond any use but to say so */
		text_adds(t, ">+999");
	else
		text_addf(t, "%+.*f", decimals, change);
}

static void cell(const struct pen *p, const char *s, size_t width)
{
	layout_right(p->t, s, width);
}

static void change_cell(const struct pen *p, double ratio, size_t width)
{
	struct text t;

	text_init(&t);
	add_change(&t, ratio);
	text_adds(&t, " %");
	cell(p, t.bytes, width);
	text_release(&t);
}

static void interval_cell(const struct pen *p, const struct comparison *c, size_t width)
{
	struct text t;

	text_init(&t);
	if (c->welch.known) {
		add_change(&t, c->low);
		text_adds(&t, "..");
		add_change(&t, c->high);
	} else {
		text_adds(&t, "-");
	}
	cell(p, t.bytes, width);
	text_release(&t);
}

static const char *word(enum compare_verdict v, const char *higher, const char *lower)
{
	if (v == COMPARE_TOO_FEW)
		return "too few";
	if (v == COMPARE_NOT_SHOWN)
		return "not shown";
	return v == COMPARE_HIGHER ? higher : lower;
}

static void verdict_cell(const struct pen *p, const char *said, bool alarm)
{
	text_adds(p->t, "  ");
	if (alarm && p->style->colour)
		text_adds(p->t, "\033[1;35m");
	layout_left(p->t, said, 10);
	if (alarm && p->style->colour)
		text_adds(p->t, "\033[0m");
}

/* ---- tables ---- */

static void rate_row(const struct pen *p, const struct compare_point *x)
{
	const struct comparison *r = &x->rate;
	char buf[SIZE_TEXT_MAX];

	cell(p, size_format(buf, x->request_bytes), 9);
	cell(p, rate_format(buf, exp(r->base_logs.mean)), 11);
	cell(p, rate_format(buf, exp(r->fresh_logs.mean)), 11);
	change_cell(p, r->ratio, 10);
	interval_cell(p, r, 16);
	verdict_cell(p, word(r->verdict, "faster", "slower"), r->verdict == COMPARE_LOWER);
	if (isnan(r->detectable))
		snprintf(buf, sizeof buf, "-");
	else if (r->detectable >= 9.995)
		snprintf(buf, sizeof buf, ">999 %%");
	else
		snprintf(buf, sizeof buf, r->detectable < 0.0995 ? "%.2g %%" : "%.0f %%",
			r->detectable * 100);
	cell(p, buf, 9);
	text_adds(p->t, "\n");
}

static void tail_row(const struct pen *p, const struct compare_point *x)
{
	const struct comparison *r = &x->p99;
	char buf[SIZE_TEXT_MAX];

	cell(p, size_format(buf, x->request_bytes), 9);
	cell(p, duration_format(buf, exp(r->base_logs.mean)), 12);
	cell(p, duration_format(buf, exp(r->fresh_logs.mean)), 12);
	change_cell(p, r->ratio, 9);
	verdict_cell(p, word(r->verdict, "longer", "shorter"), r->verdict == COMPARE_HIGHER);
	cell(p, duration_format(buf, x->side[COMPARE_BASE].slowest_s), 13);
	cell(p, duration_format(buf, x->side[COMPARE_NEW].slowest_s), 12);
	text_adds(p->t, "\n");
}

static bool same_table(const struct compare_point *a, const struct compare_point *b)
{
	return a->direction == b->direction && a->order == b->order && a->in_flight == b->in_flight;
}

static void table_name(const struct pen *p, const struct compare_point *x)
{
	text_adds(p->t, "\n");
	bold(p, true);
	text_addf(p->t, "%s, %s", x->direction == RUN_READ ? "READS" : "WRITES, stored",
		run_order_name(x->order));
	bold(p, false);
	if (x->in_flight > 1)
		text_addf(p->t, ", %u in flight", x->in_flight);
	text_addf(p->t, "%s\n", p->c->modelled ? " (modelled, not measured)" : "");
}

static size_t table(const struct pen *p, size_t first)
{
	const struct compare_point *x = &p->c->points[first];
	size_t end = first;

	table_name(p, x);
	text_addf(p->t, "%9s%11s%11s%10s%16s  %-10s%9s\n", "request", "base", "new", "change",
		"95 % range", "verdict", "sees");
	for (; end < p->c->count && same_table(x, &p->c->points[end]); end++)
		rate_row(p, &p->c->points[end]);
	text_addf(p->t, "%9s%12s%12s%9s  %-10s%13s%12s\n", "request", "p99 base", "p99 new",
		"change", "verdict", "slowest base", "slowest new");
	for (size_t i = first; i < end; i++)
		tail_row(p, &p->c->points[i]);
	return end;
}

/* ---- words ---- */

static void side_line(const struct pen *p, enum compare_side side, const char *what)
{
	const struct compared *c = p->c;
	struct text t;

	text_init(&t);
	if (*c->labels[side])
		text_addf(&t, "%s: ", c->labels[side]);
	text_addf(&t, "run %s%s, %zu passes", c->ids[side], c->runs[side] > 1 ? " and others" : "",
		c->passes[side]);
	if (c->runs[side] > 1)
		text_addf(&t, " in %zu runs", c->runs[side]);
	if (c->left_out[side])
		text_addf(
			&t, ", %zu more left out (cut, errors, I/O by others)", c->left_out[side]);
	text_addf(p->t, "  %-6s", what);
	{
		struct text clean;

		text_init(&clean);
		clean_add(&clean, t.bytes, !p->style->utf8);
		layout_wrap(p->t, clean.bytes, 8, 8, p->columns);
		text_release(&clean);
	}
	text_release(&t);
}

static void remarks(const struct pen *p)
{
	const char *line = p->c->remarks.bytes;
	struct text one, clean;

	text_init(&one);
	text_init(&clean);
	while (*line) {
		size_t n = strcspn(line, "\n");

		text_reset(&one);
		text_reset(&clean);
		text_add(&one, line, n);
		clean_add(&clean, one.bytes, !p->style->utf8);
		sentence(p, true, clean.bytes);
		line += n + (line[n] == '\n');
	}
	text_release(&one);
	text_release(&clean);
}

static size_t count(const struct compared *c, enum compare_verdict v)
{
	size_t n = 0;

	for (size_t i = 0; i < c->count; i++)
		n += c->points[i].rate.verdict == v;
	return n;
}

static size_t most_needed(const struct compared *c, bool *unknown)
{
	size_t most = 0;

	*unknown = false;
	for (size_t i = 0; i < c->count; i++) {
		if (!c->points[i].rate.needed)
			*unknown = true;
		if (c->points[i].rate.needed > most)
			most = c->points[i].rate.needed;
	}
	return most;
}

static void verdict_sentences(const struct pen *p)
{
	const struct compared *c = p->c;
	size_t few = count(c, COMPARE_TOO_FEW), up = count(c, COMPARE_HIGHER),
	       down = count(c, COMPARE_LOWER), same = count(c, COMPARE_NOT_SHOWN);
	const char *what = c->by_runs ? "runs" : "passes";
	bool unknown;
	size_t needed = most_needed(c, &unknown);
	char s[600];

	snprintf(s, sizeof s,
		"Of %zu points %zu faster, %zu slower, %zu not shown to differ. If the builds were "
		"equal, "
		"a comparison like this would call any point faster or slower in at most 5 %% of "
		"cases "
		"(Welch's t on log rates, corrected by Holm).",
		c->count, up, down, same);
	if (few < c->count)
		sentence(p, false, s);
	if (few) {
		snprintf(s, sizeof s,
			"%zu of %zu points have too few %s for a verdict: it takes %d a side or "
			"more. "
			"With 3 a side no order of the results can reach 5 %% (a rank sum test's "
			"smallest p is 0.1).",
			few, c->count, what, COMPARE_MIN_REPLICATES);
		sentence(p, true, s);
	}
	if (needed) {
		snprintf(s, sizeof s,
			"A change of 5 %% would show at every point%s with %zu %s a side (80 %% of "
			"the time, at 5 %% over all points).",
			unknown ? " whose noise is known" : "", needed, what);
		sentence(p, false, s);
	}
}

/* Where the two tests disagree, few passes carry the verdict. */
static void rank_sentence(const struct pen *p)
{
	size_t n = 0;
	char s[300];

	for (size_t i = 0; i < p->c->count; i++) {
		const struct comparison *r = &p->c->points[i].rate;

		n += (r->verdict == COMPARE_HIGHER || r->verdict == COMPARE_LOWER) &&
		     r->p_rank > 0.1;
	}
	if (!n)
		return;
	snprintf(s, sizeof s,
		"At %zu point%s a rank sum test does not see what Welch's t sees: a few extreme "
		"passes may carry the verdict. Look at them.",
		n, n == 1 ? "" : "s");
	sentence(p, true, s);
}

/* Welch allows for unequal noise, but with few passes and very unequal noise the 5 % become up to 7 (simulated). */
static void noise_sentence(const struct pen *p)
{
	size_t n = 0;
	char s[300];

	for (size_t i = 0; i < p->c->count; i++) {
		double a = p->c->points[i].rate.base_logs.sd,
		       b = p->c->points[i].rate.fresh_logs.sd;

		n += p->c->points[i].rate.verdict != COMPARE_TOO_FEW && fmin(a, b) > 0 &&
		     fmax(a, b) > 5 * fmin(a, b);
	}
	if (n <= p->c->count / 4)
		return;
	snprintf(s, sizeof s,
		"At %zu of %zu points one build is more than 5 times as noisy as the other: that "
		"is worth a look of its own, and verdicts are a little less certain (up to 7 %% "
		"instead of 5 %%).",
		n, p->c->count);
	sentence(p, true, s);
}

static void replicate_sentence(const struct pen *p)
{
	sentence(p, false,
		p->c->by_runs ? "Replicates are runs: what changes from one plugging-in to the "
				"next is part of the noise."
			      : "Replicates are passes of one run a side: what changes from one "
				"plugging-in to the next "
				"is not in this noise. Several runs a side, replugged between, "
				"would hold it.");
}

static void gate_line(const struct pen *p, const struct compare_point *x)
{
	char size[SIZE_TEXT_MAX], s[160];

	snprintf(s, sizeof s, "%s, %s, %s: %+.1f %%", run_direction_name(x->direction),
		run_order_name(x->order), size_format(size, x->request_bytes),
		(x->rate.ratio - 1) * 100);
	sentence(p, true, s);
}

static const char *const answers[] = { "UNDECIDED", "PASSED", "FAILED" };

static void gate_words(const struct pen *p, const struct gate_request *gate)
{
	const struct compare_gate *r = &gate->result;
	char s[300];

	if (!gate->given)
		return;
	text_adds(p->t, "\n");
	bold(p, true);
	text_addf(p->t, "GATE %s: no point may be more than %g %% slower\n", answers[r->answer],
		gate->allowed * 100);
	bold(p, false);
	for (size_t i = 0; i < p->c->count && r->slower; i++)
		if (p->c->points[i].gate.p_slower <= COMPARE_ALPHA)
			gate_line(p, &p->c->points[i]);
	if (r->answer != COMPARE_UNDECIDED)
		return;
	snprintf(s, sizeof s, "%zu of %zu points are shown not to be slower than allowed.",
		r->within, p->c->count);
	sentence(p, true, s);
}

void compare_text_add(struct text *t, const struct compared *c, const struct gate_request *gate,
	const struct text_style *style)
{
	struct pen p = { t, style, c, style->columns < 60 ? 60 : style->columns };
	char s[200];

	bold(&p, true);
	text_addf(t, "Comparing two builds%s\n", c->modelled ? " (modelled, not measured)" : "");
	bold(&p, false);
	side_line(&p, COMPARE_BASE, "base");
	side_line(&p, COMPARE_NEW, "new");
	remarks(&p);
	if (c->one_sided) {
		snprintf(s, sizeof s, "%zu points are on one side only and were left out.",
			c->one_sided);
		sentence(&p, true, s);
	}
	for (size_t i = 0; i < c->count;)
		i = table(&p, i);
	text_adds(t, "\n");
	layout_wrap(t,
		"Change and its 95 % interval are in percent, each for its point alone; the "
		"verdict is corrected over "
		"all points. \"not shown\": not shown to differ. sees: the smallest change that "
		"would "
		"have shown, 4 times in 5.",
		0, 0, p.columns);
	text_adds(t, "\n");
	verdict_sentences(&p);
	rank_sentence(&p);
	noise_sentence(&p);
	replicate_sentence(&p);
	gate_words(&p, gate);
}
