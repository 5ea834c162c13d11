/* A table as plain text. */
#include "report/text_table.h"

#include <math.h>
#include <string.h>

#include "base/clean.h"
#include "findings/table.h"
#include "report/layout.h"
#include "report/text_lines.h"

/* Words in the last column wrap within it: beside others where that leaves them WORDS_LEAST, alone beside the first in
 * whatever there is. */
enum { COLUMNS_MAX = 40, GAP = 2, BAR_LEAST = 8, BAR_MOST = 24, WORDS_LEAST = 24, WORDS_ANY = 8 };

struct layout {
	struct text_lines *s;
	const struct table *table;
	const struct column *columns[COLUMNS_MAX]; /* the ones shown */
	size_t widths[COLUMNS_MAX]; /* with the blanks before */
	size_t count;
	size_t keys; /* columns at the left edge that tell a row from its neighbours: they stand in every part */
	size_t bar_width; /* of the bars behind the last column; 0: none */
};

/* The cell as this screen shows it; valid until the next one. */
static const char *cell(const struct layout *l, size_t row, const struct column *c)
{
	struct text raw;

	text_init(&raw);
	value_add(&raw, table_value(l->table, row, c));
	text_reset(&l->s->scratch);
	clean_add(&l->s->scratch, raw.bytes, !l->s->style->utf8);
	l->s->scratch.failed |= raw.failed;
	text_release(&raw);
	return l->s->scratch.bytes;
}

/* What is given keeps tables of the same columns under each other alike; what does not fit there gets what it needs. */
static size_t width_of(const struct layout *l, const struct column *c)
{
	size_t widest = clean_columns(c->heading), gap = c->width ? 1 : GAP;

	for (size_t i = 0; i < l->table->count; i++) {
		size_t used = clean_columns(cell(l, i, c));

		widest = used > widest ? used : widest;
	}
	if (c->words) /* what stands at the left edge needs no blanks before it */
		gap = l->count ? GAP : 0;
	return widest + gap > c->width ? widest + gap : c->width;
}

static void take_columns(struct layout *l)
{
	const struct table_spec *spec = l->table->spec;

	for (size_t i = 0; i < spec->column_count && l->count < COLUMNS_MAX; i++) {
		const struct column *c = &spec->columns[i];

		if (!table_shows(l->table, c))
			continue;
		l->columns[l->count] = c;
		l->widths[l->count] = width_of(l, c);
		l->count++;
	}
}

static size_t least_width(const struct layout *l, size_t column)
{
	size_t width = l->widths[column];
	bool wraps = column && column + 1 == l->count && l->columns[column]->words;

	return wraps && width > WORDS_LEAST + GAP ? WORDS_LEAST + GAP : width;
}

static size_t width_until(const struct layout *l, size_t column)
{
	size_t width = 0;

	for (size_t c = 0; c < column; c++)
		width += l->widths[c];
	return width;
}

static bool is_as_before(const struct layout *l, size_t row, const struct column *c)
{
	struct text before;
	bool same;

	text_init(&before);
	text_adds(&before, cell(l, row - 1, c));
	same = !strcmp(before.bytes, cell(l, row, c));
	text_release(&before);
	return same;
}

static bool tells_rows_apart(const struct layout *l, size_t keys)
{
	for (size_t row = 1; row < l->table->count; row++) {
		size_t same = 0;

		while (same < keys && is_as_before(l, row, l->columns[same]))
			same++;
		if (same == keys)
			return false;
	}
	return true;
}

/* One, unless the table has to go on below and more tell its rows apart and leave room for each of the others. */
static size_t keys_of(const struct layout *l)
{
	size_t keys = 1;

	if (width_until(l, l->count) <= l->s->columns)
		return 1;
	while (keys < l->count && !tells_rows_apart(l, keys))
		keys++;
	for (size_t c = keys; c < l->count; c++)
		if (width_until(l, keys) + least_width(l, c) > l->s->columns)
			return 1;
	return keys < l->count ? keys : 1;
}

/* Columns [first, end) fit beside the keys. */
static size_t part_end(const struct layout *l, size_t first)
{
	size_t width = width_until(l, l->keys), end = first;

	while (end < l->count && (end == first || width + least_width(l, end) <= l->s->columns))
		width += l->widths[end++];
	return end;
}

static void paint_cell(const struct layout *l, size_t column, const char *said)
{
	struct text *t = l->s->t;
	size_t gap = column ? GAP : 0;

	if (!l->columns[column]->words) {
		layout_right(t, said, l->widths[column]);
		return;
	}
	layout_left(t, "", gap);
	layout_left(t, said, l->widths[column] - gap);
}

/* ---- bars ---- */

static double bar_value(const struct table *t, size_t row)
{
	struct value v = t->spec->bar((const char *)t->rows + row * t->spec->row_bytes);

	return v.known && v.number > 0 ? v.number : 0;
}

/* Of the greatest value there is; 0 where there is none. */
static double share_of_greatest(const struct table *t, size_t row)
{
	double greatest = 0;

	for (size_t i = 0; i < t->count; i++)
		greatest = fmax(greatest, bar_value(t, i));
	return greatest > 0 ? bar_value(t, row) / greatest : 0;
}

/* In half characters where the screen has them, so that short bars differ. */
static void paint_bar(const struct layout *l, size_t row)
{
	bool fine = l->s->style->utf8;
	double share = share_of_greatest(l->table, row);
	size_t halves = (size_t)(share * 2 * (double)l->bar_width + 0.5), least = fine ? 1 : 2;
	struct text *t = l->s->t;

	if (share > 0 && halves < least)
		halves = least;
	layout_left(t, "", GAP);
	for (size_t i = 0; i < halves / 2; i++)
		text_adds(t, fine ? "\u2501" : "=");
	if (halves % 2 && fine)
		text_adds(t, "\u2578");
}

/* Only a table that leaves room beside all its columns has bars. */
static void take_bar(struct layout *l)
{
	size_t width = GAP, room;

	for (size_t i = 0; i < l->count; i++)
		width += l->widths[i];
	room = width < l->s->columns ? l->s->columns - width : 0;
	if (l->table->spec->bar && l->table->count > 1 && room >= BAR_LEAST)
		l->bar_width = room < BAR_MOST ? room : BAR_MOST;
}

/* Blanks at the end of a line are nothing. */
static void end_line(struct text *t)
{
	while (t->length && t->bytes[t->length - 1] == ' ')
		t->bytes[--t->length] = 0;
	text_adds(t, "\n");
}

static bool in_part(const struct layout *l, size_t column, size_t first, size_t end)
{
	return column < l->keys || (column >= first && column < end);
}

static void paint_row(struct layout *l, size_t row, size_t first, size_t end)
{
	size_t used = 0, last = l->count - 1;
	bool wraps = false;

	for (size_t c = 0; c < end; c++) {
		if (!in_part(l, c, first, end))
			continue;
		wraps = c && c == last && l->columns[c]->words &&
			used + l->widths[c] > l->s->columns &&
			used + GAP + WORDS_ANY <= l->s->columns;
		if (!wraps)
			paint_cell(l, c, cell(l, row, l->columns[c]));
		used += l->widths[c];
	}
	if (!wraps) {
		if (l->bar_width)
			paint_bar(l, row);
		end_line(l->s->t);
		return;
	}
	used -= l->widths[last] - GAP;
	layout_left(l->s->t, "", GAP);
	layout_wrap(l->s->t, cell(l, row, l->columns[last]), used, used, l->s->columns);
}

static void paint_part(struct layout *l, size_t first, size_t end)
{
	for (size_t c = 0; c < end; c++)
		if (in_part(l, c, first, end))
			paint_cell(l, c, l->columns[c]->heading);
	end_line(l->s->t);
	for (size_t i = 0; i < l->table->count; i++)
		paint_row(l, i, first, end);
}

/* ---- rows as blocks of lines ---- */

static size_t widest_heading(const struct layout *l)
{
	size_t widest = 0;

	for (size_t c = 1; c < l->count; c++) {
		size_t used = clean_columns(l->columns[c]->heading);

		widest = used > widest ? used : widest;
	}
	return widest;
}

static void paint_block(struct layout *l, size_t row, size_t indent)
{
	struct text_lines *s = l->s;

	text_lines_bold(s);
	layout_wrap(s->t, cell(l, row, l->columns[0]), 0, GAP, s->columns);
	text_lines_plain(s);
	for (size_t c = 1; c < l->count; c++) {
		if (!table_value(l->table, row, l->columns[c]).known)
			continue;
		layout_left(s->t, "", GAP);
		layout_left(s->t, l->columns[c]->heading, indent - GAP);
		layout_wrap(s->t, cell(l, row, l->columns[c]), indent, indent, s->columns);
	}
}

static void paint_blocks(struct layout *l)
{
	size_t indent = GAP + widest_heading(l) + GAP;

	for (size_t i = 0; i < l->table->count; i++) {
		text_adds(l->s->t, i ? "\n" : "");
		paint_block(l, i, indent);
	}
}

void text_table_add(struct text_lines *s, const struct table *table)
{
	struct layout l = { .s = s, .table = table };

	take_columns(&l);
	if (!l.count)
		return;
	if (table->spec->blocks) {
		paint_blocks(&l);
		return;
	}
	take_bar(&l);
	l.keys = keys_of(&l);
	for (size_t first = l.keys, end; first == l.keys || first < l.count; first = end) {
		end = part_end(&l, first);
		text_adds(s->t, first > l.keys ? "\n" : "");
		paint_part(&l, first, end);
	}
}
