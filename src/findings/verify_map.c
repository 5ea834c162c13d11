/* Where in the region damage was found. */
#include "findings/verify_view.h"

static bool cell_exists(const struct damage_totals *t, size_t i)
{
	return t->cell_bytes && (uint64_t)i < (t->region_bytes + t->cell_bytes - 1) / t->cell_bytes;
}

static size_t count_cells(const struct damage_totals *t)
{
	size_t n = 0;

	while (n < DAMAGE_MAP_CELLS && cell_exists(t, n))
		n++;
	return n;
}

/* ---- for programs ---- */

static const char *class_words(struct pool *p, uint32_t classes)
{
	const char *words = "";

	for (int c = DAMAGE_NONE + 1; c < DAMAGE_CLASSES; c++)
		if (classes & 1U << c)
			words = pool_printf(p, "%s%s%s", words, *words ? "+" : "",
				damage_row((enum damage_class)c)->code);
	return words;
}

/* One stretch never holds both what was judged and what was not. */
static bool is_alike(const struct damage_totals *t, size_t a, size_t b)
{
	return t->cell_classes[a] == t->cell_classes[b] && !t->cell_judged[a] == !t->cell_judged[b];
}

void verify_map_add(struct view *v, const struct damage_totals *t)
{
	size_t cells = count_cells(t), n = 0;
	struct verify_stretch *rows = pool_alloc(&v->pool, cells, sizeof *rows);

	for (size_t i = 0, end; rows && i < cells; i = end) {
		struct verify_stretch *s = &rows[n++];
		uint64_t from = (uint64_t)i * t->cell_bytes, to;

		*s = (struct verify_stretch){ .offset = t->region_start + from,
			.classes = class_words(&v->pool, t->cell_classes[i]) };
		for (end = i; end < cells && is_alike(t, i, end); end++) {
			s->judged += t->cell_judged[end];
			s->damaged += t->cell_damaged[end];
		}
		to = (uint64_t)end * t->cell_bytes;
		s->bytes = (to < t->region_bytes ? to : t->region_bytes) - from;
	}
	view_table(v, &verify_map_spec, rows, n);
}

/* ---- for people ---- */

static bool has_several(uint32_t classes)
{
	return classes & (classes - 1);
}

static double share_damaged(const struct damage_totals *t, size_t i)
{
	double judged = (double)t->cell_judged[i], damaged = (double)t->cell_damaged[i];

	return damaged < judged ? damaged / judged : 1;
}

/* How much of a cell is damaged so, which is known where nothing else is: `classes` are all of its classes. */
static bool add_levels(struct pool *p, struct chart_strip *s, const struct damage_totals *t,
	size_t cells, uint32_t classes)
{
	double *levels = pool_alloc(p, cells, sizeof *levels);
	bool any = false;

	for (size_t i = 0; levels && i < cells; i++) {
		bool is_so =
			classes ? t->cell_classes[i] == classes : has_several(t->cell_classes[i]);

		levels[i] = is_so ? share_damaged(t, i) : 0;
		any = any || is_so;
	}
	s->levels = levels;
	return levels && any;
}

static bool add_right(
	struct pool *p, struct chart_strip *s, const struct damage_totals *t, size_t cells)
{
	double *levels = pool_alloc(p, cells, sizeof *levels);

	for (size_t i = 0; levels && i < cells; i++)
		levels[i] = t->cell_judged[i] ? 1 - share_damaged(t, i) : 0;
	s->levels = levels;
	return levels != NULL;
}

/* What is right, then each class alone, then mixtures. */
static size_t make_strips(
	struct pool *p, struct chart_strip *strips, const struct damage_totals *t, size_t cells)
{
	size_t n = 0;

	strips[n] = (struct chart_strip){
		.name = "right", .sign = damage_row(DAMAGE_NONE)->sign, .quiet = true
	};
	n += add_right(p, &strips[n], t, cells);
	for (int c = DAMAGE_NONE + 1; c < DAMAGE_CLASSES; c++) {
		const struct damage_row *row = damage_row((enum damage_class)c);

		strips[n] = (struct chart_strip){ .name = row->name, .sign = row->sign };
		n += add_levels(p, &strips[n], t, cells, 1U << c);
	}
	strips[n] = (struct chart_strip){ .name = "several", .sign = DAMAGE_SIGN_SEVERAL };
	n += add_levels(p, &strips[n], t, cells, 0);
	return n;
}

/* All cells alike: the verdict has said it. */
static bool is_uniform(const struct damage_totals *t, size_t cells)
{
	for (size_t i = 0; i < cells; i++)
		if (!is_alike(t, 0, i) ||
			(t->cell_damaged[i] && t->cell_damaged[i] < t->cell_judged[i]))
			return false;
	return true;
}

void verify_map_show(struct view *v, const struct damage_totals *t)
{
	struct pool *p = &v->pool;
	struct chart_strip *strips = pool_alloc(p, DAMAGE_CLASSES + 1, sizeof *strips);
	struct chart *chart = pool_alloc(p, 1, sizeof *chart);
	size_t cells = count_cells(t);
	bool damaged = damage_totals_damaged(t);

	if (!strips || !chart || is_uniform(t, cells))
		return;
	*chart = (struct chart){ .kind = CHART_STRIPS,
		.title = damaged ? "Each class along the target" : "Along the target",
		.intro = damaged ? "A mark's height tells how much of what was judged there is of "
				   "that class; the lowest stand for very little."
				 : NULL,
		.what = damaged ? "Places of damage in the region by class; the tables below have "
				  "counts and ranges."
				: "Places in the region where blocks were judged.",
		.x_name = "place on the target",
		.x_unit = UNIT_BYTES_DECIMAL,
		.strips = strips,
		.strip_count = make_strips(p, strips, t, cells),
		.cell_count = cells,
		.cells_from = (double)t->region_start,
		.cell_length = (double)t->cell_bytes,
		.cells_to = (double)t->region_start + (double)t->region_bytes,
		.none_name = "not judged",
		.none_sign = DAMAGE_SIGN_NOT_JUDGED };
	view_section(v, (struct section){ .on = ON_SCREENS,
				.level = 2,
				.heading = damaged ? "Where the damage is" : "What was judged",
				.chart = chart });
}
