/* The plain-text summary. */
#include "report/summary.h"

#include "base/clean.h"
#include "base/error.h"
#include "base/text.h"
#include "report/columns.h"
#include "report/facts.h"
#include "report/layout.h"
#include "report/notices.h"
#include "report/points.h"

enum { FACT_INDENT = 12, NARROWEST = 60 };

struct painter {
	struct text *t;
	struct text scratch;
	const struct summary_style *style;
	size_t columns;
};

/* ---- facts ---- */

static void paint_fact(void *context, const char *name, const char *value)
{
	struct painter *p = context;

	text_reset(&p->scratch);
	clean_add(&p->scratch, value, !p->style->utf8);
	text_adds(p->t, "  ");
	layout_left(p->t, name, FACT_INDENT - 2);
	layout_wrap(p->t, p->scratch.bytes, FACT_INDENT, FACT_INDENT, p->columns);
}

/* ---- tables ---- */

static void start_bold(struct painter *p)
{
	text_adds(p->t, p->style->colour ? "\033[1m" : "");
}

static void start_caution(struct painter *p)
{
	text_adds(p->t, p->style->colour ? "\033[1;35m" : "");
}

static void end_style(struct painter *p)
{
	text_adds(p->t, p->style->colour ? "\033[0m" : "");
}

static void paint_table_name(struct painter *p, const struct points *table)
{
	const struct point *first = &table->list[0];

	text_adds(p->t, "\n");
	start_bold(p);
	text_addf(p->t, "%s, %s", first->direction == RUN_READ ? "READS" : "WRITES",
		run_order_name(first->order));
	end_style(p);
	if (first->in_flight > 1)
		text_addf(p->t, ", %u in flight", first->in_flight);
	text_adds(p->t, "\n");
}

/* Columns [first, *end) fit beside the request column. */
static size_t part_end(const struct painter *p, const struct points *table, size_t first)
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

static void paint_part(struct painter *p, const struct points *table, size_t first, size_t end)
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

static void paint_table(struct painter *p, const struct points *table)
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

/* ---- what to notice ---- */

static void paint_notice(void *context, enum notice_kind kind, const char *sentence)
{
	struct painter *p = context;

	text_reset(&p->scratch);
	clean_add(&p->scratch, sentence, !p->style->utf8);
	if (kind == NOTICE_CAUTION) {
		start_caution(p);
		text_adds(p->t, "  !");
		end_style(p);
		text_adds(p->t, " ");
	} else {
		text_adds(p->t, "  + ");
	}
	layout_wrap(p->t, p->scratch.bytes, 4, 4, p->columns);
}

static void paint_legend(struct painter *p)
{
	text_adds(p->t, "\n");
	layout_wrap(p->t,
		"Rates are medians over passes; beside each, in its unit, the 95 % range of the "
		"typical rate (Student's t over passes, on logarithms). p50 and p99 are medians "
		"over passes of each pass's own figure; "
		"slowest "
		"is the slowest request of all.",
		0, 0, p->columns);
}

static void paint(struct painter *p, const struct run *run, const struct points *points)
{
	struct fact_visitor facts = { p, paint_fact };
	struct notice_visitor notices = { p, paint_notice };

	start_bold(p);
	text_addf(p->t, "Run ");
	clean_add(p->t, run->head.id, !p->style->utf8);
	end_style(p);
	text_adds(p->t, "\n");
	p->t->failed |= !facts_visit(run, &facts);
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
	struct text *t, const struct run *run, const struct summary_style *style, struct error *err)
{
	struct painter p = { .t = t, .style = style, .columns = style->columns };
	struct points points;

	if (p.columns < NARROWEST)
		p.columns = NARROWEST;
	if (points_make(&points, run, err) < 0)
		return -1;
	text_init(&p.scratch);
	paint(&p, run, &points);
	t->failed = t->failed || p.scratch.failed;
	text_release(&p.scratch);
	points_release(&points);
	return t->failed ? error_set(err, ERROR_IO, "out of memory for the summary") : 0;
}
