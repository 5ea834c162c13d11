/* What a verify means. */
#include "findings/verify_view.h"

#include <inttypes.h>
#include <string.h>

#include "base/size.h"
#include "base/text.h"

/* Ranges that text and page show; CSV and JSON have all. */
enum { RANGES_ON_TEXT = 20, RANGES_ON_PAGE = 200 };

/* ---- what was asked for and done, for people ---- */

static void add_sizes(struct text *t, const struct verify_record_plan *p)
{
	char size[SIZE_TEXT_MAX];

	for (uint64_t i = 0; i < p->size_count; i++)
		text_addf(t, "%s%s", i ? ", " : "", size_format(size, p->sizes[i]));
}

static void add_plan_fact(struct view *v, const struct verify_record *r)
{
	const struct verify_record_plan *p = &r->plan;
	char size[SIZE_TEXT_MAX];
	struct text t;

	if (!r->planned)
		return;
	text_init(&t);
	text_addf(&t, "%s of ",
		p->write ? p->read ? "write and read back" : "write only" : "read only");
	if (p->spot_count)
		text_addf(&t, "%" PRIu64 " place%s in ", p->spot_count, text_plural(p->spot_count));
	text_addf(&t, "%s at byte %" PRIu64 " in requests of ", size_format(size, p->region_bytes),
		p->region_start);
	add_sizes(&t, p);
	text_addf(&t, ", %s%s%s; %" PRIu64 " generation%s, seed %" PRIu64,
		p->sequential ? "sequential" : "", p->sequential && p->random ? " and " : "",
		p->random ? "random" : "", p->rewrites, p->rewrites == 1 ? "" : "s",
		r->run.head.seed);
	if (p->kept_data)
		text_adds(&t, "; the target's own data was kept");
	view_fact(v, "verify", t.bytes);
	v->pool.failed |= t.failed;
	text_release(&t);
}

static void add_rate(struct text *t, uint64_t bytes, uint64_t ns, const char *done)
{
	char amount[SIZE_TEXT_MAX], rate[SIZE_TEXT_MAX];

	if (ns)
		text_addf(t, "%s%s %s at %s", t->length ? "; " : "",
			size_format_decimal(amount, (double)bytes), done,
			rate_format(rate, (double)bytes * 1e9 / (double)ns));
}

static void add_rates_fact(struct view *v, const struct verify_record *r)
{
	const struct verify_record_state *s = &r->state;
	struct text t;

	text_init(&t);
	add_rate(&t, s->written_bytes, s->write_ns + s->flush_ns, "written, flushes included,");
	add_rate(&t, s->read_bytes, s->read_ns, "read and judged");
	if (t.length && r->run.target.modelled)
		text_adds(&t, " (modelled, not measured)");
	if (t.length)
		view_fact(v, "rates", t.bytes);
	v->pool.failed |= t.failed;
	text_release(&t);
}

/* ---- tables ---- */

static void add_summary(
	struct view *v, const struct verify_record *r, const struct verify_pattern *p)
{
	struct verify_summary *row = pool_alloc(&v->pool, 1, sizeof *row);

	if (!row)
		return;
	*row = (struct verify_summary){ r, verify_distinct_blocks(r), verify_capacity(r, p) };
	view_table(v, &verify_summary_spec, row, 1);
}

static void add_failures(struct view *v, const struct verify_record *r)
{
	const struct verify_record_failures *each[] = { &r->state.reads, &r->state.writes };
	struct verify_failure_row *rows = pool_alloc(&v->pool, 2, sizeof *rows);
	size_t n = 0;

	for (int d = 0; rows && d < 2; d++)
		if (each[d]->requests)
			rows[n++] = (struct verify_failure_row){ (enum run_direction)d, each[d],
				verify_why(&v->pool, each[d]->first_errno) };
	view_table(v, &verify_failures_spec, rows, n);
}

static void add_classes(struct view *v, const struct damage_totals *t)
{
	struct verify_class_row *rows = pool_alloc(&v->pool, DAMAGE_CLASSES, sizeof *rows);
	size_t n = 0;

	for (int c = DAMAGE_NONE + 1; rows && c < DAMAGE_CLASSES; c++)
		if (t->by_class[c])
			rows[n++] = (struct verify_class_row){ (enum damage_class)c, t->by_class[c],
				t->judged };
	view_table(v, &verify_classes_spec, rows, n);
}

static void add_tables(
	struct view *v, const struct verify_record *r, const struct verify_pattern *p)
{
	view_table(v, &verify_plan_spec, r, r->planned);
	view_table(v, &verify_sizes_spec, r->plan.sizes, (size_t)r->plan.size_count);
	add_summary(v, r, p);
	add_failures(v, r);
	add_classes(v, &r->state.totals);
	view_table(v, &verify_damage_spec, r->ranges, r->range_count);
	verify_map_add(v, &r->state.totals);
}

/* ---- screens ---- */

static void show_ranges(struct view *v, const char *heading, unsigned on, size_t most)
{
	struct table ranges = *view_find_table(v, verify_damage_spec.key);
	size_t more = ranges.count > most ? ranges.count - most : 0;

	if (!ranges.count)
		return;
	ranges.count -= more;
	view_section(v, (struct section){ .on = on,
				.level = 2,
				.heading = heading,
				.table = ranges,
				.note = more ? pool_printf(&v->pool,
						       "and %zu more range%s (CSV and JSON have "
						       "all)",
						       more, text_plural(more))
					     : NULL });
}

static void add_sections(struct view *v, const struct verify_record *r)
{
	const struct table *classes = view_find_table(v, verify_classes_spec.key);
	bool no_trace = verify_has_no_trace(&r->state.totals, r->plan.write);
	const char *ranges = no_trace ? "What lies there" : "Damaged ranges";

	if (!classes) /* out of memory */
		return;
	if (classes->count)
		view_section(v, (struct section){ .on = ON_PAGE,
					.level = 2,
					.heading = no_trace ? "What was found" : "Damage by class",
					.table = *classes });
	verify_map_show(v, &r->state.totals);
	show_ranges(v, ranges, ON_TEXT, RANGES_ON_TEXT);
	show_ranges(v, ranges, ON_PAGE, RANGES_ON_PAGE);
}

int verify_view(struct view *v, struct verify_record *r, struct error *err)
{
	struct verify_pattern p;

	verify_pattern_find(&p, r);
	view_begin(v, "verify");
	view_of_run(v, &r->run);
	add_plan_fact(v, r);
	add_rates_fact(v, r);
	verify_findings_add(&v->findings, r, &p);
	add_tables(v, r, &p);
	add_sections(v, r);
	return view_end(v, err);
}
