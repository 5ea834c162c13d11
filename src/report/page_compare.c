/* A comparison on a page. */
#include "report/page_compare.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/size.h"
#include "base/text.h"
#include "findings/figures.h"
#include "report/chart_ratio.h"
#include "report/page.h"
#include "report/page_figure.h"
#include "report/svg.h"

static enum ratio_verdict verdict_of(const struct comparison *r)
{
	switch (r->verdict) {
	case COMPARE_HIGHER:
		return RATIO_FASTER;
	case COMPARE_LOWER:
		return RATIO_SLOWER;
	case COMPARE_NOT_SHOWN:
		return RATIO_NOT_SHOWN;
	default:
		return RATIO_TOO_FEW;
	}
}

static struct ratio_row row_of(const struct compare_point *p)
{
	return (struct ratio_row){ .direction = p->direction,
		.order = p->order,
		.in_flight = p->in_flight,
		.request_bytes = p->request_bytes,
		.ratio = p->rate.ratio,
		.interval_known =
			isfinite(p->rate.low) && isfinite(p->rate.high) && p->rate.low > 0,
		.low = p->rate.low,
		.high = p->rate.high,
		.verdict = verdict_of(&p->rate) };
}

static const char *name_of(const struct compared *c, enum compare_side side)
{
	return *c->labels[side] ? c->labels[side] : c->ids[side];
}

static void add_conclusion(struct text *t, const struct compared *c)
{
	size_t count[4] = { 0 };
	struct text words;

	for (size_t i = 0; i < c->count; i++)
		count[verdict_of(&c->points[i].rate)]++;
	text_init(&words);
	text_addf(&words,
		"Of %zu points, '%s' is shown to be faster than '%s' at %zu and slower at %zu; at "
		"%zu no difference is shown",
		c->count, name_of(c, COMPARE_NEW), name_of(c, COMPARE_BASE), count[RATIO_FASTER],
		count[RATIO_SLOWER], count[RATIO_NOT_SHOWN]);
	if (count[RATIO_TOO_FEW])
		text_addf(&words, ", and %zu have too few passes for a verdict",
			count[RATIO_TOO_FEW]);
	text_adds(&words,
		". Verdicts are corrected for the number of points (Holm 1979), intervals are "
		"those of each point alone.");
	page_paragraph(t, words.bytes);
	if (c->modelled)
		page_paragraph(t, "These figures are modelled, not measured.");
	text_release(&words);
}

static void add_remarks(struct text *t, const struct compared *c)
{
	const char *line = c->remarks.bytes;

	while (*line) {
		size_t n = strcspn(line, "\n");
		struct text one;

		text_init(&one);
		text_add(&one, line, n);
		if (n)
			page_paragraph(t, one.bytes);
		text_release(&one);
		line += n + (line[n] == '\n');
	}
}

static void add_key(struct text *t)
{
	page_key_begin(t);
	for (int v = RATIO_TOO_FEW; v <= RATIO_SLOWER; v++) {
		bool hollow;
		unsigned style = ratio_verdict_style((enum ratio_verdict)v, &hollow);

		page_key_add(
			t, NULL, (int)style, hollow, ratio_verdict_name((enum ratio_verdict)v));
	}
	page_key_add(t, "line l0", -1, false, "95 % interval");
	page_key_end(t);
}

static void add_change(struct text *t, double ratio)
{
	if (isfinite(ratio) && ratio > 0)
		text_addf(t, "<td>%+.1f %%</td>", (ratio - 1) * 100);
	else
		text_adds(t, "<td>-</td>");
}

static void add_row(struct text *t, const struct compare_point *p)
{
	char size[SIZE_TEXT_MAX];

	text_addf(t, "<tr><td>%s</td><td>%s</td>", size_format(size, p->request_bytes),
		ratio_verdict_name(verdict_of(&p->rate)));
	add_change(t, p->rate.ratio);
	add_change(t, p->rate.low);
	add_change(t, p->rate.high);
	text_adds(t, "<td>");
	figure_add_rate(t, exp(p->rate.base_logs.mean));
	text_adds(t, "</td><td>");
	figure_add_rate(t, exp(p->rate.fresh_logs.mean));
	if (isfinite(p->rate.detectable))
		text_addf(t, "</td><td>%.1f %%</td>", p->rate.detectable * 100);
	else
		text_adds(t, "</td><td>-</td>");
	text_adds(t, "</tr>\n");
}

static bool begins_table(const struct compared *c, size_t i)
{
	const struct compare_point *p = &c->points[i], *before = p - 1;

	return i == 0 || before->direction != p->direction || before->order != p->order ||
	       before->in_flight != p->in_flight;
}

static void add_group(struct text *t, const struct compare_point *p)
{
	text_addf(t, "<tr class=\"group\"><th colspan=\"8\">%s %ss",
		p->order == RUN_RANDOM ? "Random" : "Sequential", run_direction_name(p->direction));
	if (p->in_flight > 1)
		text_addf(t, ", %u in flight", p->in_flight);
	text_adds(t, "</th></tr>\n");
}

static void add_table(struct text *t, const struct compared *c)
{
	text_adds(t, "<div class=\"wide\"><table><thead><tr><th>request</th><th>verdict</th>"
		     "<th>change</th><th>at least</th><th>at most</th><th>base</th><th>new</th>"
		     "<th>would see</th></tr></thead><tbody>\n");
	for (size_t i = 0; i < c->count; i++) {
		if (begins_table(c, i))
			add_group(t, &c->points[i]);
		add_row(t, &c->points[i]);
	}
	text_adds(t,
		"</tbody></table></div>\n"
		"<p class=\"sub\">At least, at most: the 95 % interval of the change. Would see: "
		"the smallest change that this comparison would have found in four of five "
		"cases.</p>\n");
}

static void add_chart(struct text *t, const struct compared *c)
{
	struct ratio_row *rows = calloc(c->count + 1, sizeof *rows);
	struct text chart;

	if (!rows) {
		t->failed = true;
		return;
	}
	for (size_t i = 0; i < c->count; i++)
		rows[i] = row_of(&c->points[i]);
	text_init(&chart);
	if (chart_ratio(&chart, "Rate of the new build over the base", rows, c->count)) {
		page_figure_begin(t, "Rate of the new build over the base");
		add_key(t);
		text_add(t, chart.bytes, chart.length);
		page_figure_end(t);
	}
	t->failed = t->failed || chart.failed;
	text_release(&chart);
	free(rows);
}

void page_add_comparison(struct text *t, const struct compared *c)
{
	struct text heading;

	text_init(&heading);
	text_addf(&heading, "%s against %s", name_of(c, COMPARE_NEW), name_of(c, COMPARE_BASE));
	page_section(t, heading.bytes);
	text_release(&heading);
	add_conclusion(t, c);
	add_remarks(t, c);
	add_chart(t, c);
	add_table(t, c);
}
