/* The plain-text summary. */
#include "report/summary.h"

#include "base/error.h"
#include "base/text.h"
#include "findings/columns.h"
#include "findings/notices.h"
#include "findings/points.h"
#include "report/layout.h"
#include "report/text_view.h"

static void paint_table_name(struct text_view *p, const struct points *table)
{
	const struct point *first = &table->list[0];

	text_adds(p->t, "\n");
	text_view_bold(p);
	text_addf(p->t, "%s, %s", first->direction == RUN_READ ? "READS" : "WRITES",
		run_order_name(first->order));
	text_view_plain(p);
	if (first->in_flight > 1)
		text_addf(p->t, ", %u in flight", first->in_flight);
	text_adds(p->t, "\n");
}

/* Columns [first, *end) fit beside the request column. */
static size_t part_end(const struct text_view *p, const struct points *table, size_t first)
{
	size_t width = point_columns[0].width, i = first;

	for (; i < point_column_count; i++) {
		if (!point_columns[i].shown(table))
			continue;
		if (width + point_columns[i].width > p->columns && i > first)
			break;
		width += point_columns[i].width;
	}
	return i;
}

static bool in_part(const struct points *table, size_t column, size_t first, size_t end)
{
	if (column != 0 && (column < first || column >= end))
		return false;
	return point_columns[column].shown(table);
}

static void paint_part(struct text_view *p, const struct points *table, size_t first, size_t end)
{
	for (size_t c = 0; c < end; c++)
		if (in_part(table, c, first, end))
			layout_right(p->t, point_columns[c].heading, point_columns[c].width);
	text_adds(p->t, "\n");
	for (size_t i = 0; i < table->count; i++) {
		for (size_t c = 0; c < end; c++) {
			if (!in_part(table, c, first, end))
				continue;
			text_reset(&p->scratch);
			point_columns[c].value(&p->scratch, &table->list[i]);
			/* What is wider than its column still keeps off its neighbour. */
			text_adds(p->t, p->scratch.length >= point_columns[c].width ? " " : "");
			layout_right(p->t, p->scratch.bytes, point_columns[c].width);
		}
		text_adds(p->t, "\n");
	}
}

static bool has_columns(const struct points *table, size_t first, size_t end)
{
	for (size_t c = first; c < end; c++)
		if (point_columns[c].shown(table))
			return true;
	return false;
}

static void paint_table(struct text_view *p, const struct points *table)
{
	paint_table_name(p, table);
	for (size_t first = 1; first < point_column_count;) {
		size_t end = part_end(p, table, first);

		if (has_columns(table, first, end)) {
			text_adds(p->t, first > 1 ? "\n" : "");
			paint_part(p, table, first, end);
		}
		first = end;
	}
}

static void paint_legend(struct text_view *p)
{
	text_adds(p->t, "\n");
	layout_wrap(p->t,
		"Rates are medians over passes; beside each, in its unit, the 95 % range of the "
		"typical rate (Student's t over passes, on logarithms). p50 and p99 are medians "
		"over passes of each pass's own figure; slowest is the slowest request of all.",
		0, 0, p->columns);
}

static void paint(struct text_view *p, const struct run *run, const struct points *points)
{
	struct notice_visitor notices = { p, text_view_notice };

	text_view_head(p, run);
	for (size_t i = 0; i < points->count;) {
		struct points table = points_table(points, i);

		paint_table(p, &table);
		i += table.count;
	}
	if (points->count)
		paint_legend(p);
	else
		text_adds(p->t, "\nThe record holds no finished pass.\n");
	text_adds(p->t, "\n");
	p->t->failed |= !notices_visit(run, points, &notices);
}

int summary_add(
	struct text *t, const struct run *run, const struct text_style *style, struct error *err)
{
	struct points points;
	struct text_view p;

	if (points_make(&points, run, err) < 0)
		return -1;
	text_view_begin(&p, t, style);
	paint(&p, run, &points);
	text_view_end(&p);
	points_release(&points);
	return t->failed ? error_set(err, ERROR_IO, "out of memory for the summary") : 0;
}
