/* Explanations as text. */
#include "report/explain_text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "analysis/mix.h"
#include "base/clean.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/explain_advice.h"
#include "findings/figures.h"
#include "report/layout.h"

enum { NAME_WIDTH = 24, VALUE_WIDTH = 12, INDENT = 4 };

struct pen {
	struct text *t;
	const struct text_style *style;
	const struct run *run;
	size_t columns;
};

static void bold(const struct pen *p, bool on)
{
	if (p->style->colour)
		text_adds(p->t, on ? "\033[1m" : "\033[0m");
}

/* ---- the line ---- */

static void name(const struct pen *p, const char *s)
{
	text_adds(p->t, "  ");
	layout_left(p->t, s, NAME_WIDTH);
}

static void value(const struct pen *p, const char *s)
{
	layout_right(p->t, s, VALUE_WIDTH);
}

static const char *bytes_format(char buf[SIZE_TEXT_MAX], double bytes)
{
	return size_format(buf, bytes < 1 ? 0 : (uint64_t)llround(fmin(bytes, 1e18)));
}

/* "   95 %: LOW to HIGH"; an end that lies beyond what can be is left open. */
static void interval(const struct pen *p, const char *low, const char *high)
{
	text_addf(p->t, "   95 %%: %s to %s\n", low, high);
}

static void add_fixed(const struct pen *p, const struct cost_line *l)
{
	char at[SIZE_TEXT_MAX], low[SIZE_TEXT_MAX], high[SIZE_TEXT_MAX];

	name(p, "fixed cost of a request");
	value(p, l->fixed_s > 0 ? duration_format(at, l->fixed_s) : "none seen");
	interval(p, l->fixed_bounds.low > 0 ? duration_format(low, l->fixed_bounds.low) : "0",
		duration_format(high, fmax(l->fixed_bounds.high, 0)));
}

static void add_rate(const struct pen *p, const struct cost_line *l)
{
	char at[SIZE_TEXT_MAX], low[SIZE_TEXT_MAX], high[SIZE_TEXT_MAX];

	name(p, "streaming rate");
	value(p, isinf(l->rate) ? "not seen" : rate_format(at, l->rate));
	interval(p, isinf(l->rate_bounds.low) ? "?" : rate_format(low, l->rate_bounds.low),
		isinf(l->rate_bounds.high) ? "no end" : rate_format(high, l->rate_bounds.high));
}

static void add_half(const struct pen *p, const struct cost_line *l)
{
	char at[SIZE_TEXT_MAX], low[SIZE_TEXT_MAX], high[SIZE_TEXT_MAX];

	if (!l->half_known || !(l->half_bytes > 0))
		return;
	name(p, "half that rate at");
	value(p, bytes_format(at, l->half_bytes));
	interval(p, bytes_format(low, l->half_bounds.low), bytes_format(high, l->half_bounds.high));
}

static void add_line(const struct pen *p, const struct explained *x)
{
	const struct cost_line *l = &x->line;
	char at[SIZE_TEXT_MAX];

	if (!l->known)
		return;
	add_fixed(p, l);
	add_rate(p, l);
	add_half(p, l);
	name(p, "off the line");
	text_addf(p->t, "%10.1f %%   at most (%s), over %zu sizes\n", l->worst * 100,
		size_format(at, l->worst_bytes), l->sizes);
}

/* ---- ceilings ---- */

static void add_share(const struct pen *p, double measured, double bound, size_t width)
{
	struct text share;

	text_init(&share);
	if (bound > 0)
		figure_add_percent(&share, measured / bound);
	else
		text_adds(&share, "-");
	layout_right(p->t, share.bytes, width);
	text_release(&share);
}

static void add_ceiling(const struct pen *p, const struct explained *x, size_t i)
{
	const struct cost_point *c = &x->points[i];
	double rate = (double)c->request_bytes / c->seconds;
	uint64_t piece = (uint64_t)((double)c->request_bytes / c->pieces + 0.5);
	char buf[SIZE_TEXT_MAX];

	text_adds(p->t, "  ");
	layout_right(p->t, size_format(buf, c->request_bytes), 9);
	layout_right(p->t, rate_format(buf, rate), 13);
	add_share(p, rate, (double)piece / usb_command_packed_s(x->usb, piece), 16);
	if (x->usb->packet_bytes && !x->diagnosis.phased_beaten)
		add_share(p, rate, (double)piece / usb_command_phased_s(x->usb, piece), 22);
	text_adds(p->t, "\n");
}

static void add_ceilings(const struct pen *p, const struct explained *x)
{
	char buf[SIZE_TEXT_MAX];

	if (!x->usb)
		return;
	text_addf(p->t, "\n  Share of what the link allows (%s, %s: %s)\n", x->usb->name,
		x->usb->source, rate_format(buf, x->usb->ceiling));
	text_addf(p->t, "  %9s%13s%16s%s\n", "request", "rate", "packed tight",
		x->usb->packet_bytes && !x->diagnosis.phased_beaten ? "     one phase a frame"
								    : "");
	for (size_t i = 0; i < x->point_count; i++)
		add_ceiling(p, x, i);
}

/* ---- stages ---- */

static void add_prediction(const struct pen *p, const char *what, double rate, double measured)
{
	char buf[SIZE_TEXT_MAX];

	name(p, what);
	value(p, rate_format(buf, rate));
	text_addf(p->t, "   measured is %+.1f %% off it\n", (measured / rate - 1) * 100);
}

static void add_stage(const struct pen *p, const char *what, double rate, const char *from)
{
	char buf[SIZE_TEXT_MAX];

	name(p, what);
	value(p, rate_format(buf, rate));
	text_addf(p->t, "   %s\n", from);
}

static void add_stages(const struct pen *p, const struct explained *x)
{
	const struct stage_budget *b = &x->diagnosis.usual;
	char buf[SIZE_TEXT_MAX];

	if (!(b->in_turn > 0))
		return;
	text_addf(p->t, "\n  Stages of a request of %s, its fixed cost included\n",
		size_format(buf, b->bytes));
	add_stage(p, "link", b->link, b->link_is_ceiling ? "ceiling, not measured" : "as given");
	add_stage(p, "card", b->card,
		b->card_is_ceiling ? "ceiling of its bus, not measured" : "as given");
	add_prediction(p, "one after the other", b->in_turn, b->measured);
	add_prediction(p, "overlapped", b->overlapped, b->measured);
	add_stage(p, b->interpolated ? "from its neighbours" : "measured", b->measured, "stored");
}

/* ---- where the time goes ---- */

static void add_part(const struct pen *p, const struct culprit *c, double bytes)
{
	char fast[SIZE_TEXT_MAX], slow[SIZE_TEXT_MAX], share[40];

	name(p, cause_code(c->cause));
	if (c->share_high - c->share_low < 0.02)
		snprintf(share, sizeof share, "%.0f %%", c->share_high * 100);
	else
		snprintf(share, sizeof share, "%.0f..%.0f %%", c->share_low * 100,
			c->share_high * 100);
	value(p, share);
	if (c->cause > CAUSE_CARD && c->seconds_low > 0) {
		text_addf(p->t, "   without it %s", rate_format(slow, bytes / c->seconds_high));
		if (strcmp(slow, rate_format(fast, bytes / c->seconds_low)) != 0)
			text_addf(p->t, " to %s", fast);
	}
	text_adds(p->t, "\n");
}

static void add_parts(const struct pen *p, const struct explained *x)
{
	const struct culprits *c = &x->culprits;
	char size[SIZE_TEXT_MAX], time[SIZE_TEXT_MAX];

	if (c->doubt)
		return;
	text_addf(p->t, "\n  Where the %s of a request of %s go\n",
		duration_format(time, c->seconds), size_format(size, x->judged_bytes));
	for (size_t i = 0; i < c->count; i++)
		add_part(p, &c->list[i], (double)x->judged_bytes);
	for (size_t i = 0; i < c->next_count; i++)
		add_part(p, &c->next[i], (double)x->judged_bytes);
	if (c->perhaps_known)
		add_part(p, &c->perhaps, (double)x->judged_bytes);
}

/* ---- one table ---- */

static void add_advice(void *context, bool caution, const char *sentence)
{
	const struct pen *p = context;

	text_adds(p->t, caution ? "  ! " : "  + ");
	layout_wrap(p->t, sentence, INDENT, INDENT, p->columns);
}

static const char *modelled(const struct run *run)
{
	return run->target.modelled ? " (modelled, not measured)" : "";
}

static void add_table(const struct pen *p, const struct explained *x)
{
	struct advice_visitor v = { (void *)(uintptr_t)p, add_advice };

	text_adds(p->t, "\n");
	bold(p, true);
	text_addf(p->t, "%s, %s", x->direction == RUN_READ ? "READS" : "WRITES",
		run_order_name(x->order));
	bold(p, false);
	if (x->in_flight > 1)
		text_addf(p->t, ", %u in flight", x->in_flight);
	text_addf(p->t, "%s: %zu passes", modelled(p->run), x->passes);
	if (x->left_out)
		text_addf(p->t, ", %zu left out", x->left_out);
	text_adds(p->t, "\n");
	explain_advice_visit(x, &v);
	text_adds(p->t, "\n");
	add_line(p, x);
	add_parts(p, x);
	add_ceilings(p, x);
	add_stages(p, x);
}

/* ---- copy ---- */

static void add_copy_direction(
	const struct pen *p, const struct explanation *e, enum run_direction direction)
{
	const struct explained *x = explanation_of(e, direction);
	struct mix_costs costs[2] = { { 0 } };
	struct mix_item items[2];
	struct mix_time time;
	double bytes = (double)e->known.copy_bytes;
	char buf[SIZE_TEXT_MAX];
	size_t n;

	if (!x)
		return;
	costs[direction] = (struct mix_costs){ &x->line, x->stored, x->point_count };
	n = mix_of_copy(items, direction == RUN_WRITE, e->known.copy_bytes, e->known.usual_bytes);
	time = mix_predict(costs, items, n);
	name(p, direction == RUN_READ ? "read, measured rate" : "write, stored rate");
	value(p, duration_format(buf, time.seconds[direction]));
	text_addf(p->t, "   %s\n", rate_format(buf, bytes / time.seconds[direction]));
	if (!(x->diagnosis.usual.in_turn > 0))
		return;
	name(p, "  one after the other");
	value(p, duration_format(buf, bytes / x->diagnosis.usual.in_turn));
	text_addf(p->t, "   %s\n", rate_format(buf, x->diagnosis.usual.in_turn));
	name(p, "  overlapped");
	value(p, duration_format(buf, bytes / x->diagnosis.usual.overlapped));
	text_addf(p->t, "   %s\n", rate_format(buf, x->diagnosis.usual.overlapped));
}

static void add_copy(const struct pen *p, const struct explanation *e)
{
	char amount[SIZE_TEXT_MAX], request[SIZE_TEXT_MAX];

	if (!e->known.copy_bytes || !e->count)
		return;
	text_adds(p->t, "\n");
	bold(p, true);
	text_addf(p->t, "COPY of %s in requests of %s",
		size_format_decimal(amount, (double)e->known.copy_bytes),
		size_format(request, e->known.usual_bytes));
	bold(p, false);
	text_addf(p->t, "%s\n", modelled(p->run));
	add_copy_direction(p, e, RUN_READ);
	add_copy_direction(p, e, RUN_WRITE);
}

/* ---- the whole ---- */

static void add_fact(const struct pen *p, const char *what, const char *said)
{
	struct text clean;

	if (!*said)
		return;
	text_init(&clean);
	clean_add(&clean, said, !p->style->utf8);
	text_adds(p->t, "  ");
	layout_left(p->t, what, 8);
	layout_wrap(p->t, clean.bytes, 10, 10, p->columns);
	text_release(&clean);
}

static void add_damage(const struct pen *p)
{
	char damage[RUN_DAMAGE_MAX];
	struct text clean;

	if (!run_damage_words(damage, p->run))
		return;
	text_init(&clean);
	clean_add(&clean, damage, !p->style->utf8);
	text_adds(&clean, ": do not rest a decision on what is left.");
	text_adds(p->t, "  ! ");
	layout_wrap(p->t, clean.bytes, INDENT, INDENT, p->columns);
	p->t->failed |= clean.failed;
	text_release(&clean);
}

static void add_head(const struct pen *p)
{
	const struct run *r = p->run;

	bold(p, true);
	text_adds(p->t, "Explaining ");
	clean_add(p->t, r->head.id, !p->style->utf8);
	bold(p, false);
	text_addf(p->t, "%s\n", modelled(r));
	add_fact(p, "build", r->head.label);
	add_fact(p, "target", *r->target.model ? r->target.model : r->target.name);
	add_damage(p);
	if (r->cut || strcmp(r->end.status, "complete") != 0)
		text_adds(p->t, "  ! This run did not finish: it is explained as far as it got.\n");
}

/* Once for the run: the line is fitted to what the device was sent. */
static void add_split(const struct pen *p, const struct explanation *e)
{
	for (size_t i = 0; i < e->count; i++) {
		const struct explained *x = &e->tables[i];
		const struct cost_point *c = &x->points[x->point_count - 1];
		char buf[SIZE_TEXT_MAX], sentence[240];

		if (!(c->pieces > 1.01))
			continue;
		snprintf(sentence, sizeof sentence,
			"The kernel splits large requests: one of %s reaches the device as %.3g. "
			"Each piece pays the fixed cost; the lines are fitted to the pieces.",
			size_format(buf, c->request_bytes), c->pieces);
		text_adds(p->t, "  + ");
		layout_wrap(p->t, sentence, INDENT, INDENT, p->columns);
		return;
	}
}

void explain_text_add(struct text *t, const struct run *run, const struct explanation *e,
	const struct text_style *style)
{
	struct pen p = { t, style, run, style->columns < 60 ? 60 : style->columns };

	add_head(&p);
	add_split(&p, e);
	for (size_t i = 0; i < e->count; i++)
		add_table(&p, &e->tables[i]);
	if (!e->count)
		text_adds(t, "\n  ! There is no usable pass in this record: nothing can be "
			     "explained.\n");
	add_copy(&p, e);
}
