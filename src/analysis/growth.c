/* Shapes of time against size. */
#include "analysis/growth.h"

#include <math.h>
#include <stdlib.h>

#include "analysis/fit.h"
#include "analysis/least_squares.h"
#include "base/number.h"

/* What a gadget does that no shape follows: rounding, a command hidden in part. Ours. */
#define MODEL_ERROR 0.006
/* Farther off than this many of its own uncertainties is no accident (3.3 standard errors: once in 1000). */
#define FITS 3.3
/* Shapes that are worse by this much are ruled out by the best one (3 standard errors). */
#define WORSE 9.0
/* And this far off a shape is still better than none. */
#define FITS_ROUGHLY 6.0
/* Sizes of pieces that differ by less tell fixed cost and slope not apart. */
#define SPAN_MIN 1.5
#define UNIT_MIN UINT64_C(1024)
#define UNIT_MAX (UINT64_C(16) << 20)
/* From here on units may be three times a power of two: cells of three bits (common practice, no source). */
#define UNIT_OF_THREE (UINT64_C(12) << 10)
/* Sizes enough to do without one. */
enum { COUNT_MIN = 4 };
/* Not below what the rest of such a shape is worth (ours). */
#define UNIT_SLOPE_ERROR 0.01

struct sample {
	double x[GROWTH_POINTS_MAX], y[GROWTH_POINTS_MAX], w[GROWTH_POINTS_MAX];
	double excess[GROWTH_POINTS_MAX]; /* bytes a unit adds to a piece */
	uint64_t bytes[GROWTH_POINTS_MAX];
	double pieces[GROWTH_POINTS_MAX];
	size_t n;
	/* A request of one block that was left out, for it may have a time of its own. */
	bool apart;
	double apart_x, apart_y, apart_w, block;
};

/* ---- program units ---- */

static uint64_t next_unit(uint64_t unit)
{
	if (!number_is_power_of_two(unit))
		return unit / 3 * 4;
	return unit / 2 * 3 >= UNIT_OF_THREE ? unit / 2 * 3 : unit * 2;
}

static uint64_t covered(uint64_t from, uint64_t to, uint64_t unit)
{
	return (to + unit - 1) / unit * unit - from / unit * unit;
}

static uint64_t excess_at(uint64_t start, uint64_t bytes, uint64_t limit, uint64_t unit)
{
	uint64_t sum = 0;

	for (uint64_t done = 0; done < bytes; done += limit) {
		uint64_t n = bytes - done < limit ? bytes - done : limit;

		sum += covered(start + done, start + done + n, unit) - n;
	}
	return sum;
}

double growth_unit_excess(uint64_t bytes, uint64_t piece_limit, uint64_t unit)
{
	enum { PLACES_MAX = 256 }; /* enough for a mean */
	uint64_t limit = piece_limit && piece_limit < bytes ? piece_limit : bytes;
	uint64_t places = unit / number_gcd(bytes, unit), step = 1;
	double sum = 0;

	if (bytes / limit > PLACES_MAX)
		return 0; /* a record from nowhere */
	if (places > PLACES_MAX) {
		step = places / PLACES_MAX;
		places = PLACES_MAX;
	}
	for (uint64_t i = 0; i < places; i++)
		sum += (double)excess_at(i * step * bytes, bytes, limit, unit);
	return sum / (double)places;
}

static uint64_t touched(uint64_t start, uint64_t bytes, unsigned in_flight, uint64_t unit)
{
	uint64_t sum = 0;

	for (unsigned k = 0; k < in_flight; k++)
		sum += covered(start + k * bytes, start + (k + 1) * bytes, unit) / unit;
	return sum;
}

static int compare_counts(const void *a, const void *b)
{
	const uint64_t *x = a, *y = b;

	return (*x > *y) - (*x < *y);
}

unsigned growth_unit_spread(uint64_t bytes, unsigned in_flight, uint64_t unit)
{
	enum { PLACES_MAX = 256, IN_FLIGHT_MAX = 64 };
	uint64_t places = unit / number_gcd(bytes, unit), step = 1, counts[PLACES_MAX];

	if (in_flight > IN_FLIGHT_MAX)
		return 0; /* a record from nowhere */
	if (places > PLACES_MAX) {
		step = places / PLACES_MAX;
		places = PLACES_MAX;
	}
	for (uint64_t i = 0; i < places; i++)
		counts[i] = touched(i * step * bytes, bytes, in_flight, unit);
	qsort(counts, places, sizeof *counts, compare_counts);
	/* A tenth and a half, and to spare. */
	return (unsigned)(counts[places * 7 / 8] - counts[places * 6 / 10]);
}

/* ---- a shape against the points ---- */

static double predict(const struct growth *g, double x, double excess)
{
	if (g->kind == GROWTH_UNIT)
		return g->fixed_s + g->slope * x + g->unit_slope * excess +
		       (excess > 0 ? g->unit_each_s : 0);
	if (x < g->at_bytes)
		return g->fixed_below_s + g->slope_below * x;
	return g->fixed_s + g->slope * x;
}

double growth_seconds(const struct growth *g, double bytes)
{
	double excess = 0;

	if (g->kind == GROWTH_UNIT)
		excess = growth_unit_excess((uint64_t)bytes, 0, (uint64_t)g->at_bytes);
	return predict(g, bytes, excess) + (bytes <= g->apart_bytes ? g->apart_s : 0);
}

/* squares as Akaike has it (IEEE Transactions on Automatic Control 19, 1974): one figure more must earn 2. */
static void judge(struct growth *g, const struct sample *s, int figures)
{
	g->worst = g->misfit = 0;
	g->figures = figures;
	g->squares = 2 * figures;
	for (size_t i = 0; i < s->n; i++) {
		double off = fabs(s->y[i] - predict(g, s->x[i], s->excess[i]));

		g->worst = fmax(g->worst, off / s->y[i]);
		g->misfit = fmax(g->misfit, off * sqrt(s->w[i]));
		g->squares += off * off * s->w[i];
	}
	if (s->apart) {
		double excess = g->kind == GROWTH_UNIT ? growth_unit_excess((uint64_t)s->apart_x, 0,
								 (uint64_t)g->at_bytes)
						       : 0;

		g->apart_bytes = s->apart_x;
		g->apart_s = s->apart_y - predict(g, s->apart_x, excess);
		g->squares += 2;
	}
}

/* From the weights, and not below what the scatter says. */
static void add_errors(const struct fit *f, const double *x, const double *w, size_t n,
	double *fixed_se, double *slope_se)
{
	double weights = 0, mean = 0, sxx = 0;
	double scale = f->df > 0 ? sqrt(fmax(1, f->residual_ms)) : 1;

	for (size_t i = 0; i < n; i++) {
		weights += w[i];
		mean += w[i] * x[i];
	}
	mean /= weights;
	for (size_t i = 0; i < n; i++)
		sxx += w[i] * (x[i] - mean) * (x[i] - mean);
	*slope_se = scale / sqrt(sxx);
	*fixed_se = scale * sqrt(1 / weights + mean * mean / sxx);
}

static bool straight(struct growth *g, const struct sample *s)
{
	struct fit f;

	if (!fit_line(&f, s->x, s->y, s->w, s->n))
		return false;
	*g = (struct growth){ .kind = GROWTH_STRAIGHT,
		.checked = s->n > 2,
		.fixed_s = f.a,
		.slope = f.b,
		.fixed_below_s = f.a,
		.slope_below = f.b };
	add_errors(&f, s->x, s->w, s->n, &g->fixed_se, &g->slope_se);
	g->fixed_below_se = g->fixed_se;
	g->slope_below_se = g->slope_se;
	judge(g, s, 2);
	return true;
}

/* ---- two lines ---- */

/* Points below `split` on one line, the others on another. False where these don't meet between the two groups. */
static bool two_lines(struct growth *g, const struct sample *s, size_t split)
{
	struct fit low, high;
	size_t rest = s->n - split;

	if (!fit_line(&low, s->x, s->y, s->w, split) ||
		!fit_line(&high, s->x + split, s->y + split, s->w + split, rest))
		return false;
	*g = (struct growth){ .kind = high.b > low.b ? GROWTH_TURNED : GROWTH_COARSE,
		.checked = s->n > 4,
		.fixed_s = high.a,
		.slope = high.b,
		.fixed_below_s = low.a,
		.slope_below = low.b,
		.at_bytes = (low.a - high.a) / (high.b - low.b) };
	add_errors(&high, s->x + split, s->w + split, rest, &g->fixed_se, &g->slope_se);
	add_errors(&low, s->x, s->w, split, &g->fixed_below_se, &g->slope_below_se);
	if (!(g->at_bytes > 0.9 * s->x[split - 1] && g->at_bytes < 1.1 * s->x[split]))
		return false;
	judge(g, s, 4);
	return true;
}

/* One point beyond a bend tells nothing of what comes after it: two must lie clearly on either side, or `enough`. A size of
 * just one unit lies on the far side of its bend. */
static bool is_told_by(const struct growth *g, const struct sample *s, size_t enough)
{
	size_t below = 0, above = 0;
	bool unit = g->kind == GROWTH_UNIT;

	for (size_t i = 0; i < s->n; i++) {
		/* Places that straddle two units tell as much as requests that are longer. */
		bool straddles = unit && fmod(g->at_bytes, s->x[i]) != 0;

		/* The ends of split requests fill no unit either, however large they are. */
		below += unit ? s->excess[i] > 0.02 * s->x[i] : s->x[i] < 0.9 * g->at_bytes;
		above += s->x[i] > (unit ? 0.99 : 1.1) * g->at_bytes ||
			 (straddles && s->x[i] < g->at_bytes);
	}
	return below > 1 && above >= enough;
}

static bool is_told(const struct growth *g, const struct sample *s)
{
	return is_told_by(g, s, 2);
}

static bool is_physical(const struct growth *g, const struct sample *s)
{
	double hair = 0.02 * s->y[0];

	return g->fixed_below_s > -hair && g->slope_below * s->x[0] > -hair && g->slope > 0 &&
	       (g->kind != GROWTH_COARSE || g->fixed_s > -hair);
}

/* Overlapped stages begin with a block that nothing overlaps: behind it the link goes on at once while the card is at its
 * fixed work, so one block alone may take as long as two. */
static bool is_apart_likely(const struct growth *g, const struct sample *s)
{
	double hair = FITS / sqrt(s->apart_w);

	return g->apart_s > -hair && g->apart_s < g->slope * s->block + hair;
}

/* Shapes that fit, those that do so roughly, and the misfit of the nearest. */
struct choice {
	struct growth_set *set, *rough;
	struct growth nearest;
};

static void consider(struct choice *c, const struct growth *g, const struct sample *s)
{
	struct growth_set *set = g->misfit > FITS ? c->rough : c->set;

	if (s->apart && !is_apart_likely(g, s))
		return;
	if (g->misfit < c->nearest.misfit)
		c->nearest = *g;
	if (g->misfit > FITS_ROUGHLY || set->count == GROWTH_SHAPES_MAX)
		return;
	set->list[set->count++] = *g;
	if (g->squares < set->list[0].squares) {
		set->list[set->count - 1] = set->list[0];
		set->list[0] = *g;
	}
}

/* What is clearly worse than the best goes, but for a straight line; one that is about as good rules out all others. */
static void keep_best(struct growth_set *set, double worse)
{
	double limit = set->list[0].squares + worse;
	size_t kept = 0;

	for (size_t i = 0; i < set->count; i++) {
		const struct growth *g = &set->list[i];

		if (g->kind == GROWTH_STRAIGHT && g->squares < limit) {
			set->list[0] = *g;
			set->count = 1;
			return;
		}
		if (g->kind == GROWTH_STRAIGHT || g->squares < limit)
			set->list[kept++] = *g;
	}
	set->count = kept;
}

static void try_two_lines(struct choice *c, const struct sample *s)
{
	struct growth g;

	for (size_t split = 2; split + 2 <= s->n; split++)
		if (two_lines(&g, s, split) && g.checked && is_physical(&g, s) && is_told(&g, s))
			consider(c, &g, s);
}

/* ---- units ---- */

/* A figure that two points alone tell is no check of the shape. */
static bool is_each_told(const struct sample *s)
{
	size_t with = 0;

	for (size_t i = 0; i < s->n; i++)
		with += s->excess[i] > 0;
	return with > 2;
}

/* Time for the excess, and, where told, something for each piece that has any: the card reads the rest of the unit first
 * (more), or link and firmware go on meanwhile (less). */
static bool with_unit(struct growth *g, const struct sample *s, bool each)
{
	double one[GROWTH_POINTS_MAX], any[GROWTH_POINTS_MAX], found[LEAST_SQUARES_MAX] = { 0 };
	const double *columns[] = { s->x, s->excess, one, any };
	const double *without[] = { s->x, s->excess, any };

	for (size_t i = 0; i < s->n; i++) {
		one[i] = 1;
		any[i] = s->excess[i] > 0;
	}
	if (!least_squares(found, columns, each ? 4 : 3, s->y, s->w, s->n))
		return false;
	if (found[2] < 0) { /* no request costs less than nothing */
		if (!least_squares(found, without, each ? 3 : 2, s->y, s->w, s->n))
			return false;
		found[3] = each ? found[2] : 0;
		found[2] = 0;
	}
	g->slope = g->slope_below = found[0];
	g->unit_slope = found[1];
	g->fixed_s = g->fixed_below_s = found[2];
	g->unit_each_s = found[3];
	judge(g, s, each ? 4 : 3);
	return true;
}

static void set_excess(struct sample *s, uint64_t limit, uint64_t unit)
{
	for (size_t i = 0; i < s->n; i++) {
		double k = s->pieces[i];

		s->excess[i] = growth_unit_excess(s->bytes[i], k > 1.01 ? limit : 0, unit) / k;
	}
}

/* The card's time is part of b, so u is at most b; and what a unit adds is never less than nothing. */
static bool is_unit(const struct growth *g)
{
	return g->unit_slope > 0 && g->unit_slope < 1.1 * g->slope &&
	       g->unit_slope * g->at_bytes / 2 + g->unit_each_s > 0;
}

/* As those of a straight line through what the unit leaves. */
static void add_unit_errors(struct growth *g, const struct sample *s)
{
	double rest[GROWTH_POINTS_MAX] = { 0 };
	struct fit f;

	for (size_t i = 0; i < s->n; i++)
		rest[i] = s->y[i] - g->unit_slope * s->excess[i] -
			  (s->excess[i] > 0 ? g->unit_each_s : 0);
	if (fit_line(&f, s->x, rest, s->w, s->n))
		add_errors(&f, s->x, s->w, s->n, &g->fixed_se, &g->slope_se);
	g->slope_se = fmax(g->slope_se, UNIT_SLOPE_ERROR * g->slope);
	g->slope_below_se = g->slope_se;
	g->fixed_below_se = g->fixed_se;
}

/* Does a unit three times as large add the same to all sizes? Then does one five times as large. */
static bool is_multiple_alike(const struct sample *s, uint64_t limit, uint64_t unit)
{
	double first = 0;

	for (size_t i = 0; i < s->n; i++) {
		double more =
			growth_unit_excess(s->bytes[i], s->pieces[i] > 1.01 ? limit : 0, 3 * unit) /
				s->pieces[i] -
			s->excess[i];

		first = i ? first : more;
		if (fabs(more - first) > 0.01 * (double)unit)
			return false;
	}
	return true;
}

static void try_units(struct choice *c, struct sample *s, uint64_t limit, bool each)
{
	double largest = s->n ? s->x[s->n - 1] : 0;

	for (uint64_t unit = UNIT_MIN; unit <= UNIT_MAX && (double)unit <= 4 * largest;
		unit = next_unit(unit)) {
		struct growth g = { .kind = GROWTH_UNIT,
			.at_bytes = (double)unit,
			.checked = s->n > (each ? 4 : 3) };

		set_excess(s, limit, unit);
		if (each && !is_each_told(s))
			continue;
		if (with_unit(&g, s, each) && is_unit(&g) && is_told(&g, s)) {
			add_unit_errors(&g, s);
			g.multiple_alike = is_multiple_alike(s, limit, unit);
			consider(c, &g, s);
		}
	}
	set_excess(s, limit, 1);
}

/* Beside units that fit: others that only one point tells, where they fit better still. They rule out nothing. */
static void add_untold_units(struct growth_set *set, struct sample *s, uint64_t limit)
{
	double best = set->list[0].squares;

	if (set->list[0].kind != GROWTH_UNIT)
		return;
	for (uint64_t unit = UNIT_MIN; unit <= UNIT_MAX && set->count < GROWTH_SHAPES_MAX;
		unit = next_unit(unit)) {
		struct growth g = {
			.kind = GROWTH_UNIT, .at_bytes = (double)unit, .checked = s->n > 3
		};

		set_excess(s, limit, unit);
		if (!with_unit(&g, s, false) || !is_unit(&g) || !is_told_by(&g, s, 1) ||
			is_told(&g, s) || g.squares >= best)
			continue;
		add_unit_errors(&g, s);
		set->list[set->count++] = g;
	}
	set_excess(s, limit, 1);
}

/* Units from one block up to far more than the longest request. */
static void add_hidden(struct growth *g, struct sample *s, uint64_t limit)
{
	for (uint64_t unit = UNIT_MIN; unit <= UNIT_MAX && g->hidden_count < GROWTH_HIDDEN_MAX;
		unit = next_unit(unit)) {
		struct growth_hidden h = { .unit_bytes = (double)unit };
		struct fit f;

		set_excess(s, limit, unit);
		if (!fit_line(&f, s->x, s->excess, s->w, s->n))
			break;
		h.fixed_bytes = f.a;
		h.slope = f.b;
		for (size_t i = 0; i < s->n; i++)
			h.told = fmax(
				h.told, fabs(s->excess[i] - f.a - f.b * s->x[i]) * sqrt(s->w[i]));
		if (h.fixed_bytes > 0)
			g->hidden[g->hidden_count++] = h;
	}
	set_excess(s, limit, 1);
}

/* ---- the simplest that fits ---- */

static void take_points(struct sample *s, const struct growth_point *points, size_t count)
{
	*s = (struct sample){ .n = 0 };
	for (size_t i = 0; i < count && s->n < GROWTH_POINTS_MAX; i++) {
		const struct growth_point *p = &points[i];
		double k = p->pieces > 1 ? p->pieces : 1, y = p->seconds / k;

		if (!(y > 0))
			continue;
		s->x[s->n] = (double)p->bytes / k;
		s->y[s->n] = y;
		s->w[s->n] = 1 / (y * y * (MODEL_ERROR * MODEL_ERROR + p->noise * p->noise));
		s->bytes[s->n] = p->bytes;
		s->excess[s->n] = 0;
		s->pieces[s->n++] = k;
	}
}

static void swap(double *a, double *b)
{
	double kept = *a;

	*a = *b;
	*b = kept;
}

static void swap_points(struct sample *s, size_t i, size_t j)
{
	uint64_t bytes = s->bytes[i];

	s->bytes[i] = s->bytes[j];
	s->bytes[j] = bytes;
	swap(&s->x[i], &s->x[j]);
	swap(&s->y[i], &s->y[j]);
	swap(&s->w[i], &s->w[j]);
	swap(&s->pieces[i], &s->pieces[j]);
}

/* By size of a piece: a split request may have smaller ones than a shorter request that was not. */
static void sort_points(struct sample *s)
{
	for (size_t i = 1; i < s->n; i++)
		for (size_t j = i; j > 0 && s->x[j] < s->x[j - 1]; j--)
			swap_points(s, j, j - 1);
}

static void add_span(struct growth *g, const struct sample *s)
{
	g->sizes = s->n && s->x[s->n - 1] < SPAN_MIN * s->x[0] ? 1 : s->n;
	g->smallest_bytes = s->n ? s->x[0] : 0;
	g->largest_bytes = s->n ? s->x[s->n - 1] : 0;
}

static void drop_point(struct sample *s, size_t at)
{
	for (size_t i = at; i + 1 < s->n; i++)
		swap_points(s, i, i + 1);
	s->n--;
}

static void try_shapes(struct choice *c, struct sample *s, const struct growth_options *o)
{
	struct growth line;

	if (s->n > 1 && s->x[s->n - 1] >= SPAN_MIN * s->x[0] && straight(&line, s))
		consider(c, &line, s);
	if (o->units && s->n > 3)
		try_units(c, s, o->piece_limit, false);
	if (o->units && s->n > 5)
		try_units(c, s, o->piece_limit, true);
	try_two_lines(c, s);
}

/* Writes of one block apart from the rest. */
static void try_apart(struct choice *c, const struct sample *s, const struct growth_options *o)
{
	struct sample most = *s;

	if (!o->units || s->n <= COUNT_MIN || s->x[0] > 1.01 * (double)o->block_bytes)
		return;
	most.apart = true;
	most.apart_x = s->x[0];
	most.apart_y = s->y[0];
	most.apart_w = s->w[0];
	most.block = (double)o->block_bytes;
	drop_point(&most, 0);
	try_shapes(c, &most, o);
}

/* 99th percentile of chi-squared (Wilson and Hilferty, Proceedings of the National Academy of Sciences 17, 1931). */
static double chi_squared_99(double df)
{
	double v = 2 / (9 * df);

	return df * pow(1 - v + 2.326 * sqrt(v), 3);
}

static bool is_strained(const struct growth *g, const struct sample *s)
{
	double df = (double)s->n - g->figures - (g->apart_bytes > 0);

	return df > 0 && g->squares - 2 * (g->figures + (g->apart_bytes > 0)) > chi_squared_99(df);
}

static void find_shapes(struct growth_set *set, struct sample *s, const struct growth_options *o)
{
	struct growth_set rough = { .count = 0 };
	struct choice c = { set, &rough, { .misfit = INFINITY } };

	*set = (struct growth_set){ .count = 0 };
	try_shapes(&c, s, o);
	try_apart(&c, s, o);
	set->fits = set->count > 0;
	keep_best(set, WORSE);
	set->strained = set->fits && is_strained(&set->list[0], s);
	if (set->fits && o->units && s->n > 3)
		add_untold_units(set, s, o->piece_limit);
	if (!set->fits) {
		*set = rough;
		/* None is right, so the best rules out only what is far worse. */
		keep_best(set, 4 * set->list[0].squares);
	}
	if (!set->count)
		set->list[set->count++] = (struct growth){
			.kind = GROWTH_UNKNOWN, .worst = c.nearest.worst, .misfit = c.nearest.misfit
		};
	for (size_t i = 0; i < set->count; i++) {
		add_span(&set->list[i], s);
		if (o->units && set->list[i].kind == GROWTH_STRAIGHT)
			add_hidden(&set->list[i], s, o->piece_limit);
	}
}

/* How far off the first shape is from a point that was left out counts as well. */
static void admit_dropped(struct growth_set *set, const struct sample *all, size_t at)
{
	struct growth *g = &set->list[0];

	g->worst = fmax(g->worst, fabs(all->y[at] - growth_seconds(g, all->x[at])) / all->y[at]);
}

static bool reaches(const struct sample *s, uint64_t bytes)
{
	bool below = false, above = false;

	for (size_t i = 0; i < s->n; i++) {
		below |= s->bytes[i] <= bytes;
		above |= s->bytes[i] >= bytes;
	}
	return below && above;
}

void growth_find(struct growth_set *set, const struct growth_point *points, size_t count,
	const struct growth_options *options)
{
	struct growth_set less;
	struct sample all, most;

	take_points(&all, points, count);
	sort_points(&all);
	find_shapes(set, &all, options);
	/* One point alone may be where something else begins. */
	for (int side = 0; !(set->fits && !set->partial) && side < 2 && all.n > COUNT_MIN; side++) {
		most = all;
		drop_point(&most, side ? 0 : all.n - 1);
		find_shapes(&less, &most, options);
		less.partial = true;
		admit_dropped(&less, &all, side ? 0 : all.n - 1);
		if (less.fits && reaches(&most, options->wanted_bytes) &&
			!(set->fits && set->list[0].squares <= less.list[0].squares))
			*set = less;
	}
	set->point_count = count < GROWTH_POINTS_MAX ? count : GROWTH_POINTS_MAX;
	for (size_t i = 0; i < set->point_count; i++)
		set->points[i] = points[i];
}
