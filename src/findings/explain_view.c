/* The view of an explanation. */
#include "findings/explain_view.h"

#include <math.h>
#include <string.h>

#include "analysis/mix.h"
#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/explain_limits.h"
#include "findings/numbers.h"
#include "findings/points.h"

/* What the kernel makes of large files on USB disks up to high speed: requests of 240 sectors. */
#define LARGE_REQUEST (UINT64_C(120) << 10)

struct builder {
	struct view *v;
	const struct run *run;
	const struct explanation *e;
};

static void take_words(struct pool *p, char out[SIZE_TEXT_MAX], struct value v)
{
	struct text t;

	text_init(&t);
	value_add(&t, v);
	p->failed |= t.failed;
	text_copy(out, SIZE_TEXT_MAX, t.failed ? "" : t.bytes);
	text_release(&t);
}

/* A value's words in the unit of another: "0.980" of 980 kB/s beside "1.02 MB/s". Only rates come with several units here. */
static const char *in_unit_of(struct pool *p, struct value v, const char *to)
{
	double unit = strstr(to, " GB/s")   ? 1e9
		      : strstr(to, " MB/s") ? 1e6
		      : strstr(to, " kB/s") ? 1e3
					    : 1;
	const char *words;
	struct text t;

	text_init(&t);
	number_add(&t, v.number / unit);
	words = pool_printf(p, "%s", t.bytes);
	p->failed |= t.failed;
	text_release(&t);
	return words;
}

/* "392..407 kB/s", "0.980..1.02 MB/s"; one alone when both look the same. */
static const char *range_words(struct pool *p, struct value low, struct value high)
{
	char from[SIZE_TEXT_MAX], to[SIZE_TEXT_MAX];
	const char *unit;

	take_words(p, from, low);
	take_words(p, to, high);
	unit = strchr(from, ' ');
	if (!strcmp(from, to))
		return pool_printf(p, "%s", from);
	if (unit && strchr(to, ' ') && !strcmp(unit, strchr(to, ' ')))
		return pool_printf(p, "%.*s..%s", (int)(unit - from), from, to);
	return low.unit == UNIT_BYTES_PER_SECOND
		       ? pool_printf(p, "%s..%s", in_unit_of(p, low, to), to)
		       : pool_printf(p, "%s..%s", from, to);
}

/* Both ends in the unit that `seconds` has where it is shown. */
static const char *seconds_range(struct pool *p, double seconds, const struct bounds *b)
{
	double unit = seconds < 1e-6 ? 1e-9 : seconds < 1e-3 ? 1e-6 : seconds < 1 ? 1e-3 : 1;

	return pool_printf(p, "%.3g..%.3g", fmax(0, b->low) / unit, fmax(0, b->high) / unit);
}

/* ---- rows ---- */

static struct explain_table table_of(struct pool *p, const struct explained *x)
{
	const struct cost_line *l = &x->line;
	struct explain_table row = { .x = x,
		.name = points_series_words(p, x->order, x->direction, x->in_flight),
		.culprits = explain_codes_of(p, x->culprits.list, x->culprits.count) };

	if (l->known && l->fixed_s > 0)
		row.fixed_range = seconds_range(p, l->fixed_s, &l->fixed_bounds);
	return row;
}

static const struct explain_table *make_tables(const struct builder *b)
{
	struct pool *p = &b->v->pool;
	struct explain_table *rows = pool_alloc(p, b->e->count, sizeof *rows);

	for (size_t i = 0; rows && i < b->e->count; i++)
		rows[i] = table_of(p, &b->e->tables[i]);
	return rows;
}

static void add_part(struct pool *p, struct explain_part *rows, size_t *n,
	const struct explained *x, const struct culprit *c, enum explain_role role)
{
	double bytes = (double)x->judged_bytes;
	struct explain_part *r = &rows[(*n)++];

	*r = (struct explain_part){ .x = x,
		.name = points_series_words(p, x->order, x->direction, x->in_flight),
		.culprit = c,
		.role = role,
		.share_range = range_words(
			p, value_share(c->share_low), value_share(fmin(1, c->share_high))) };
	if (c->cause > CAUSE_CARD && c->seconds_low > 0)
		r->rate_range = range_words(
			p, value_rate(bytes / c->seconds_high), value_rate(bytes / c->seconds_low));
}

static void add_parts(
	struct pool *p, struct explain_part *rows, size_t *n, const struct explained *x)
{
	const struct culprits *c = &x->culprits;

	for (size_t i = 0; !c->doubt && i < c->count; i++)
		add_part(p, rows, n, x, &c->list[i], EXPLAIN_LIMITS);
	for (size_t i = 0; i < c->next_count; i++)
		add_part(p, rows, n, x, &c->next[i], EXPLAIN_NEXT);
	if (c->perhaps_known)
		add_part(p, rows, n, x, &c->perhaps, EXPLAIN_PERHAPS);
}

static const struct explain_part *make_parts(const struct builder *b, size_t *count)
{
	struct explain_part *rows =
		pool_alloc(&b->v->pool, b->e->count * (2 * CAUSE_COUNT + 1), sizeof *rows);

	*count = 0;
	for (size_t i = 0; rows && i < b->e->count; i++)
		add_parts(&b->v->pool, rows, count, &b->e->tables[i]);
	return rows;
}

static const struct explain_point *make_points(const struct builder *b, size_t *count)
{
	struct explain_point *rows;
	size_t room = 0;

	for (size_t i = 0; i < b->e->count; i++)
		room += b->e->tables[i].point_count;
	rows = pool_alloc(&b->v->pool, room, sizeof *rows);
	*count = 0;
	for (size_t i = 0; rows && i < b->e->count; i++) {
		const struct explained *x = &b->e->tables[i];

		for (size_t k = 0; k < x->point_count; k++)
			rows[(*count)++] =
				(struct explain_point){ x, &x->points[k], &x->stored[k] };
	}
	return rows;
}

/* ---- copies ---- */

static double copy_seconds(const struct explained *x, uint64_t bytes, uint64_t request)
{
	struct mix_costs costs[2] = { { 0 } };
	struct mix_item items[2];

	costs[x->direction] = (struct mix_costs){ &x->line, x->stored, x->point_count };
	return mix_predict(
		       costs, items, mix_of_copy(items, x->direction == RUN_WRITE, bytes, request))
		       .seconds[x->direction] +
	       (x->direction == RUN_WRITE ? x->idle_flush_s : 0);
}

static const char not_measured[] = "not-measured";

/* How the time of such requests is known: beyond the sizes of the sweep only by a line through them. */
static const char *copy_way(const struct explained *x, uint64_t request)
{
	const struct cost_point *p = x->stored;

	if (x->point_count && p[0].request_bytes <= request &&
		request <= p[x->point_count - 1].request_bytes)
		return x->shown ? "measured" : "acknowledged";
	return x->shown && x->line.known && !(x->line.doubts & COST_BENT) ? "fitted" : not_measured;
}

static void add_copy(struct explain_copy *rows, size_t *n, const struct explained *x,
	const struct explain_known *known, uint64_t request)
{
	const struct stage_budget *u = &x->diagnosis.usual;
	double bytes = (double)known->copy_bytes;
	struct explain_copy row = { .direction = x->direction,
		.way = copy_way(x, request),
		.bytes = known->copy_bytes,
		.request_bytes = request,
		.seconds = copy_seconds(x, known->copy_bytes, request) };

	if (row.way == not_measured)
		row.seconds = 0;
	rows[(*n)++] = row;
	if (!x->shown || !(u->in_turn > 0) || u->bytes != request)
		return;
	row.way = "in-turn";
	row.seconds = bytes / u->in_turn;
	rows[(*n)++] = row;
	row.way = "overlapped";
	row.seconds = bytes / u->overlapped;
	rows[(*n)++] = row;
}

static const struct explain_copy *make_copies(const struct builder *b, size_t *count)
{
	const struct explain_known *known = &b->e->known;
	struct explain_copy *rows = pool_alloc(&b->v->pool, 12, sizeof *rows);

	*count = 0;
	for (int d = 0; rows && known->copy_bytes && d < 2; d++) {
		const struct explained *x = explanation_of(b->e, (enum run_direction)d);

		if (!x)
			continue;
		add_copy(rows, count, x, known, known->usual_bytes);
		if (known->usual_bytes != LARGE_REQUEST)
			add_copy(rows, count, x, known, LARGE_REQUEST);
	}
	return rows;
}

/* ---- as observed ---- */

static const struct explain_mix_row *make_mix(
	const struct builder *b, const struct explain_mix *m, size_t *count)
{
	static const char *const of[] = { "read", "write" };
	struct explain_mix_row *rows = pool_alloc(&b->v->pool, 4, sizeof *rows);
	size_t n = 0;

	for (int d = 0; rows && d < 2; d++) {
		if (!m->present[d])
			continue;
		rows[n].of = of[d];
		for (int w = 0; w < EXPLAIN_WAYS; w++)
			rows[n].seconds[w] = m->seconds[d][w];
		n++;
	}
	if (rows && n && m->flush_s != 0) {
		rows[n].of = "flush";
		for (int w = 0; w < EXPLAIN_WAYS; w++)
			rows[n].seconds[w] = m->flush_s;
		n++;
	}
	if (rows && n) {
		rows[n].of = "all";
		for (int w = 0; w < EXPLAIN_WAYS; w++)
			rows[n].seconds[w] = m->total[w];
		n++;
	}
	*count = n;
	return rows;
}

static const char *seen_words(struct pool *p, const struct explain_seen *seen)
{
	const struct observed_counts *c = &seen->observation->total;
	char got[SIZE_TEXT_MAX], put[SIZE_TEXT_MAX];

	return pool_printf(p, "%s read, %s written, %llu flush%s",
		size_format_decimal(got, (double)c->bytes[RUN_READ]),
		size_format_decimal(put, (double)c->bytes[RUN_WRITE]),
		(unsigned long long)c->flushes, c->flushes == 1 ? "" : "es");
}

/* ---- screens ---- */

static void show_causes(struct view *v)
{
	const struct table *all = view_find_table(v, "causes");

	if (all->count)
		view_section(v, (struct section){ .on = ON_SCREENS,
					.level = 2,
					.heading = "Where the time of a request goes",
					.table = *all });
}

static void show_lines(struct view *v)
{
	if (view_find_table(v, "tables")->count)
		view_section(v,
			(struct section){ .on = ON_SCREENS,
				.level = 2,
				.heading =
					"Fitted line: time = fixed cost + bytes / streaming rate",
				.table = *view_find_table(v, "tables") });
}

/* The first table of a direction on text, all of them on a page. */
static void show_points(struct view *v)
{
	const struct table *all = view_find_table(v, "points");
	const struct explain_point *rows = all->rows;
	bool shown[2] = { false, false };

	for (size_t i = 0, end; i < all->count; i = end) {
		const struct explained *x = rows[i].x;
		unsigned on = shown[x->direction] ? ON_PAGE : ON_SCREENS;
		char rate[SIZE_TEXT_MAX];

		for (end = i + 1; end < all->count && rows[end].x == x;)
			end++;
		if (!x->usb)
			continue;
		shown[x->direction] = true;
		view_section(v,
			(struct section){ .on = on,
				.level = 2,
				.heading = pool_printf(&v->pool,
					"%s%s%s against the link (%s, %s: %s)",
					x->order == RUN_RANDOM ? "Random " : "Sequential ",
					x->direction == RUN_WRITE ? "writes" : "reads",
					x->in_flight > 1 ? pool_printf(&v->pool, ", %u in flight,",
								   x->in_flight)
							 : "",
					x->usb->name, x->usb->source,
					rate_format(rate, x->usb->ceiling)),
				.table = { all->spec, &rows[i], end - i } });
	}
}

static void show_stages(struct view *v)
{
	const struct table *all = view_find_table(v, "stages");
	const struct explain_table *rows = all->rows;
	char size[SIZE_TEXT_MAX];

	if (all->count)
		view_section(
			v, (struct section){ .on = ON_SCREENS,
				   .level = 2,
				   .heading = pool_printf(&v->pool,
					   "What link and card allow a request of %s, fixed cost "
					   "included",
					   size_format(size, rows[0].x->diagnosis.usual.bytes)),
				   .table = *all });
}

static void show_copies(struct view *v, const struct explain_known *known)
{
	const struct table *all = view_find_table(v, "copies");
	char amount[SIZE_TEXT_MAX];

	if (all->count)
		view_section(
			v, (struct section){ .on = ON_SCREENS,
				   .level = 2,
				   .heading = pool_printf(&v->pool, "Copy of %s",
					   size_format_decimal(amount, (double)known->copy_bytes)),
				   .table = *all });
}

static void show_mix(struct view *v, const struct explain_seen *seen)
{
	const struct table *all = view_find_table(v, "as_observed");

	if (all->count)
		view_section(v, (struct section){ .on = ON_SCREENS,
					.level = 2,
					.heading = pool_printf(&v->pool, "As observed: %s",
						seen_words(&v->pool, seen)),
					.table = *all });
}

static void show_method(struct view *v)
{
	view_section(v,
		(struct section){ .on = ON_SCREENS,
			.note = "The fit is one of least squares over request sizes, with 95 % "
				"ranges; blkassay-method(7) says how causes are told apart. Every "
				"share is what would be saved without that cause, so they need not "
				"sum to 100 %." });
	view_section(v, (struct section){ .on = ON_PAGE,
				.level = 2,
				.heading = "What the columns mean",
				.glossary = &explain_parts_spec });
	view_section(v, (struct section){ .on = ON_PAGE, .glossary = &explain_tables_spec });
	view_section(v, (struct section){ .on = ON_PAGE, .glossary = &explain_points_spec });
}

/* ---- the whole ---- */

static void add_tables(const struct builder *b)
{
	const struct explain_table *rows = make_tables(b);
	size_t n = rows ? b->e->count : 0, known = 0;
	struct explain_table *stages = pool_alloc(&b->v->pool, n, sizeof *stages);
	const void *more;

	view_table(b->v, &explain_tables_spec, rows, n);
	more = make_parts(b, &n);
	view_table(b->v, &explain_parts_spec, more, n);
	for (size_t i = 0; rows && stages && i < b->e->count; i++)
		if (rows[i].x->diagnosis.usual.in_turn > 0)
			stages[known++] = rows[i];
	view_table(b->v, &explain_stages_spec, stages, known);
	more = make_points(b, &n);
	view_table(b->v, &explain_points_spec, more, n);
	more = make_copies(b, &n);
	view_table(b->v, &explain_copies_spec, more, n);
}

static void add_seen(const struct builder *b, const struct explain_seen *seen)
{
	struct explain_mix mix;
	const struct explain_mix_row *rows = NULL;
	size_t n = 0;

	if (seen) {
		explain_mix_make(&mix, b->e, seen->observation);
		explain_mix_findings_add(&b->v->findings, &mix, b->run, seen);
		rows = make_mix(b, &mix, &n);
	}
	view_table(b->v, &explain_mix_spec, rows, n);
}

int explain_view(struct view *v, const struct run *run, const struct explanation *e,
	const struct explain_seen *seen, struct error *err)
{
	struct builder b = { v, run, e };

	view_begin(v, "explain");
	view_of_run(v, run);
	explain_findings_add(&v->findings, run, e);
	add_tables(&b);
	add_seen(&b, seen);
	show_causes(v);
	show_mix(v, seen);
	show_copies(v, &e->known);
	show_lines(v);
	show_stages(v);
	show_points(v);
	if (e->count)
		show_method(v);
	return view_end(v, err);
}
