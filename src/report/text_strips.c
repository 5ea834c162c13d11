/* Strips of cells as plain text. Each row says at its end how far it reaches. */
#include "report/text_strips.h"

#include "base/clean.h"
#include "findings/chart.h"
#include "report/layout.h"
#include "report/text_lines.h"

enum { GROUP = 16, GROUPS_MAX = 8, END_COLUMNS = 12, LEGEND_GAP = 3 };

/* The last of the strips that have it; NULL: none. */
static const struct chart_strip *strip_of(const struct chart *c, size_t cell)
{
	for (size_t i = c->strip_count; i > 0; i--)
		if (c->strips[i - 1].levels[cell] > 0)
			return &c->strips[i - 1];
	return NULL;
}

static size_t cells_a_row(const struct text_lines *s)
{
	size_t groups = (s->columns - END_COLUMNS) / (GROUP + 1);

	return (groups > GROUPS_MAX ? GROUPS_MAX : groups) * GROUP;
}

static bool asks_for_look(const struct chart *c, size_t cell)
{
	const struct chart_strip *strip = cell < c->cell_count ? strip_of(c, cell) : NULL;

	return strip && !strip->quiet;
}

/* Looks change where a run of such cells begins and ends. */
static void paint_cell(struct text_lines *s, const struct chart *c, size_t cell, bool looked)
{
	const struct chart_strip *strip = strip_of(c, cell);
	bool look = asks_for_look(c, cell);
	char sign = strip ? strip->sign : c->none_sign;

	if (look && !looked)
		text_lines_look(s);
	else if (looked && !look)
		text_lines_plain(s);
	text_add(s->t, &sign, 1);
}

/* In the unit of the axis. */
static void add_amount(struct text *t, const struct chart *c, double x)
{
	struct value v = { .unit = c->x_unit, .known = true, .whole = (uint64_t)x, .number = x };

	value_add(t, v);
}

static void paint_row(struct text_lines *s, const struct chart *c, size_t first, size_t cells)
{
	double end = c->cells_from + (double)(first + cells) * c->cell_length;

	size_t last = first + cells < c->cell_count ? first + cells : c->cell_count;

	for (size_t i = first; i < last; i++) {
		if (i > first && (i - first) % GROUP == 0)
			text_adds(s->t, " ");
		paint_cell(s, c, i, i > first && asks_for_look(c, i - 1));
	}
	if (asks_for_look(c, last - 1))
		text_lines_plain(s);
	for (size_t i = last; i < first + cells; i++)
		text_adds(s->t, (i - first) % GROUP ? " " : "  ");
	text_adds(s->t, "  to ");
	add_amount(s->t, c, end < c->cells_to ? end : c->cells_to);
	text_adds(s->t, "\n");
}

/* ---- what the signs mean ---- */

struct legend {
	struct text_lines *s;
	size_t used; /* columns of the line */
};

static void explain(struct legend *l, char sign, const char *name)
{
	size_t needs = 2 + clean_columns(name);

	if (l->used && l->used + LEGEND_GAP + needs > l->s->columns) {
		text_adds(l->s->t, "\n");
		l->used = 0;
	}
	text_addf(l->s->t, "%*s%c %s", l->used ? LEGEND_GAP : 0, "", sign, name);
	l->used += needs + (l->used ? LEGEND_GAP : 0);
}

static bool is_met(const struct chart *c, const struct chart_strip *strip)
{
	for (size_t i = 0; i < c->cell_count; i++)
		if (strip_of(c, i) == strip)
			return true;
	return false;
}

static void add_legend(struct text_lines *s, const struct chart *c)
{
	struct legend l = { s, 0 };

	for (size_t i = 0; i < c->strip_count; i++)
		if (is_met(c, &c->strips[i]))
			explain(&l, c->strips[i].sign, c->strips[i].name);
	if (is_met(c, NULL))
		explain(&l, c->none_sign, c->none_name);
	text_adds(s->t, "\n");
}

void text_strips_add(struct text_lines *s, const struct chart *c)
{
	size_t cells = cells_a_row(s);

	text_adds(s->t, "One sign for ");
	add_amount(s->t, c, c->cell_length);
	text_adds(s->t, ":\n");
	for (size_t first = 0; first < c->cell_count; first += cells)
		paint_row(s, c, first, cells);
	add_legend(s, c);
}
