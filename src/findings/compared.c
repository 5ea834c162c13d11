/* Gathering the points of both sides. */
#include "findings/compared.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/compare_builds.h"
#include "findings/points.h"

static void release_replicates(struct replicates *r)
{
	free(r->rate);
	free(r->stored);
	free(r->p99);
}

void compared_init(struct compared *c, size_t base_runs, size_t new_runs, bool anyway)
{
	*c = (struct compared){ .by_runs = base_runs > 1 || new_runs > 1, .anyway = anyway };
	c->next_remark = &c->remarks;
}

void compared_release(struct compared *c)
{
	for (size_t i = 0; i < c->count; i++) {
		for (int s = 0; s < 2; s++) {
			release_replicates(&c->points[i].side[s]);
		}
		phase_replicates_release(&c->points[i].phases);
	}
	free(c->points);
	free(c->heads);
	pool_release(&c->pool);
	*c = (struct compared){ 0 };
}

/* ---- are they comparable? ---- */

struct differences {
	struct text *all; /* "link 12 Mb/s against 480 Mb/s; ..." */
};

static void differ(struct differences *d, const char *what, const char *a, const char *b)
{
	text_addf(d->all, "%s%s %s against %s", d->all->length ? "; " : "", what, a, b);
}

static void check_number(
	struct differences *d, const char *what, double a, double b, const char *unit)
{
	char first[40], second[40];

	if (a == b)
		return;
	snprintf(first, sizeof first, "%.10g%s", a, unit);
	snprintf(second, sizeof second, "%.10g%s", b, unit);
	differ(d, what, a > 0 ? first : "unknown", b > 0 ? second : "unknown");
}

static void check_size(struct differences *d, const char *what, uint64_t a, uint64_t b)
{
	char first[SIZE_TEXT_MAX], second[SIZE_TEXT_MAX];

	if (a != b)
		differ(d, what, size_format(first, a), size_format(second, b));
}

/* Where 0 is not a size. */
static void check_known_size(struct differences *d, const char *what, uint64_t a, uint64_t b)
{
	char first[SIZE_TEXT_MAX], second[SIZE_TEXT_MAX];

	if (a != b)
		differ(d, what, a ? size_format(first, a) : "unknown",
			b ? size_format(second, b) : "unknown");
}

static void check_text(struct differences *d, const char *what, const char *a, const char *b)
{
	if (strcmp(a, b) != 0)
		differ(d, what, *a ? a : "unknown", *b ? b : "unknown");
}

/* What makes rates incomparable. */
static void check_conditions(struct differences *d, const struct run *a, const struct run *b)
{
	const struct run_target *t = &a->target, *u = &b->target;
	const struct run_plan *p = &a->plan, *q = &b->plan;

	if (t->modelled != u->modelled)
		differ(d, "figures", t->modelled ? "modelled" : "measured",
			u->modelled ? "modelled" : "measured");
	check_text(d, "target kind", t->kind, u->kind);
	check_text(d, "transport", t->transport, u->transport);
	check_number(d, "link", (double)t->link_bits_per_second / 1e6,
		(double)u->link_bits_per_second / 1e6, " Mb/s");
	check_known_size(d, "request limit", t->request_limit_bytes, u->request_limit_bytes);
	check_known_size(d, "logical block", t->logical_block_bytes, u->logical_block_bytes);
	check_size(d, "region start", p->region_start, q->region_start);
	check_size(d, "region length", p->region_bytes, q->region_bytes);
	check_number(d, "requests in flight", p->in_flight, q->in_flight, "");
	check_number(d, "time of a pass", p->seconds, q->seconds, " s");
}

/* What a reader should know, but a new build may well change. */
static void check_surroundings(struct differences *d, const struct run *a, const struct run *b)
{
	check_text(d, "cache", a->target.cache, b->target.cache);
	check_known_size(d, "capacity", a->target.size_bytes, b->target.size_bytes);
	check_text(d, "kernel", a->head.kernel, b->head.kernel);
	check_text(d, "blkassay", a->head.tool, b->head.tool);
}

static bool is_watched(const struct run *run)
{
	for (size_t i = 0; i < run->pass_count; i++)
		if (run->passes[i].phases_watched)
			return true;
	return false;
}

/* Watching takes time of its own (findings/phase_tables.c), but none of a model's clock. */
static void check_watching(struct differences *d, const struct compared *c, const struct run *run)
{
	if (c->watched != is_watched(run) && !run->target.modelled)
		differ(d, "the bus", c->watched ? "watched" : "not watched",
			c->watched ? "not watched (which takes 2 to 5 % of short requests)"
				   : "watched (which takes 2 to 5 % of short requests)");
}

/* In more than a tenth of its passes (ours). */
static bool is_shared(const struct run *run)
{
	size_t n = 0;

	for (size_t i = 0; i < run->pass_count; i++)
		n += run->passes[i].bus_shared;
	return 10 * n > run->pass_count;
}

/* A build measured beside a busy neighbour looks slower. */
static void check_sharing(struct differences *d, const struct compared *c, const struct run *run)
{
	static const char *const words[] = { "the target's own", "shared with other devices" };

	if (c->shared != is_shared(run))
		differ(d, "the bus", words[c->shared], words[!c->shared]);
}

static void add_remark(struct compared *c, enum compare_noticed what, const char *sentence)
{
	struct compare_remark *remark = pool_alloc(&c->pool, 1, sizeof *remark);

	if (!remark) /* the pool remembers */
		return;
	*remark = (struct compare_remark){ .what = what, .sentence = sentence };
	*c->next_remark = remark;
	c->next_remark = &remark->next;
}

static int check_comparable(struct compared *c, const struct run *run, struct error *err)
{
	struct text found;
	struct differences d = { &found };
	int rc = 0;

	text_init(&found);
	check_conditions(&d, &c->heads[0], run);
	if (found.length && !c->anyway)
		rc = error_set(err, ERROR_USAGE,
			"'%s' and '%s' were measured under different conditions: %s; --anyway "
			"compares them all the same",
			c->heads[0].path, run->path, found.bytes);
	c->overruled = c->overruled || found.length;
	check_surroundings(&d, &c->heads[0], run);
	check_watching(&d, c, run);
	check_sharing(&d, c, run);
	if (found.length)
		add_remark(c, REMARK_CONDITIONS,
			pool_printf(&c->pool, "Conditions differ in %s and %s: %s.",
				c->heads[0].path, run->path, found.bytes));
	text_release(&found);
	return rc;
}

static size_t runs_taken(const struct compared *c)
{
	return c->runs[COMPARE_BASE] + c->runs[COMPARE_NEW];
}

static int check_id(const struct compared *c, const struct run *run, struct error *err)
{
	for (size_t i = 0; i < runs_taken(c); i++)
		if (!strcmp(c->heads[i].head.id, run->head.id))
			return error_set(err, ERROR_USAGE,
				"run %s is given twice ('%s'); a run cannot be compared with "
				"itself",
				run->head.id, run->path);
	return 0;
}

static bool is_finished(const struct run *run)
{
	return !run->cut && !strcmp(run->end.status, "complete");
}

static int check_run(struct compared *c, const struct run *run, struct error *err)
{
	char damage[RUN_DAMAGE_MAX];

	if (strcmp(run->head.kind, "sweep") != 0)
		return error_set(err, ERROR_USAGE, "'%s' is %s; only sweeps can be compared",
			run->path, run_kind_words(run->head.kind));
	if (check_id(c, run, err) < 0)
		return -1;
	if (run_damage_words(damage, run)) {
		if (!c->anyway)
			return error_set(err, ERROR_USAGE,
				"'%s': %s, so no comparison can rest on it; measure again, or "
				"see what is left with --anyway",
				run->path, damage);
		c->overruled = true;
		add_remark(c, REMARK_DAMAGED, pool_printf(&c->pool, "%s: %s.", run->path, damage));
	}
	if (!is_finished(run))
		add_remark(c, REMARK_UNFINISHED,
			pool_printf(&c->pool, "%s did not finish: it is compared as far as it got.",
				run->path));
	return runs_taken(c) ? check_comparable(c, run, err) : 0;
}

/* ---- gathering ---- */

static bool is_point(const struct compare_point *c, const struct point *p)
{
	return c->direction == p->direction && c->order == p->order &&
	       c->in_flight == p->in_flight && c->request_bytes == p->request_bytes;
}

static struct compare_point *find_point(struct compared *c, const struct point *p)
{
	for (size_t i = 0; i < c->count; i++)
		if (is_point(&c->points[i], p))
			return &c->points[i];
	if (c->count == c->room) {
		size_t room = c->room ? c->room * 2 : 32;
		struct compare_point *grown = reallocarray(c->points, room, sizeof *grown);

		if (!grown)
			return NULL;
		c->points = grown;
		c->room = room;
	}
	c->points[c->count] = (struct compare_point){ .direction = p->direction,
		.order = p->order,
		.in_flight = p->in_flight,
		.request_bytes = p->request_bytes };
	return &c->points[c->count++];
}

static int grow(double **list, size_t room)
{
	double *grown = reallocarray(*list, room, sizeof *grown);

	if (!grown)
		return -1;
	*list = grown;
	return 0;
}

static int reserve(struct replicates *r, size_t more)
{
	size_t room = r->n + more;

	if (room <= r->room)
		return 0;
	if (grow(&r->rate, room) < 0 || grow(&r->stored, room) < 0 || grow(&r->p99, room) < 0)
		return -1;
	r->room = room;
	return 0;
}

/* With several runs the values of this one, from `from` on, become their mean. */
static void fold(double *values, size_t *n, size_t from)
{
	if (*n <= from + 1)
		return;
	values[from] = moments_of(values + from, *n - from).mean;
	*n = from + 1;
}

static void take_pass(struct replicates *r, const struct run_pass *pass, bool stored, bool p99)
{
	r->rate[r->n++] = log(run_pass_rate_acknowledged(pass));
	if (stored && run_pass_rate_stored(pass) > 0)
		r->stored[r->stored_n++] = log(run_pass_rate_stored(pass));
	if (p99 && pass->lat_p99_ns)
		r->p99[r->p99_n++] = log((double)pass->lat_p99_ns / 1e9);
	r->slowest_s = fmax(r->slowest_s, (double)pass->lat_max_ns / 1e9);
}

static int take_phases(
	struct compared *c, struct compare_point *to, enum compare_side side, const struct point *p)
{
	return phase_replicates_take(&to->phases, (int)side, p->passes, p->pass_count, c->by_runs);
}

/* By the gadget's doing, as far as is known: not by the host's, and not because somebody ended the run. */
static bool pass_failed(const struct run_pass *p)
{
	return p->errors > 0 || p->flags & (RUN_PASS_ERRORS | RUN_PASS_RESETS);
}

static int take_point(
	struct compared *c, enum compare_side side, const struct point *p, struct error *err)
{
	struct compare_point *to = find_point(c, p);
	struct replicates *r = to ? &to->side[side] : NULL;
	size_t from = r ? r->n : 0, p99_from = r ? r->p99_n : 0;
	size_t stored_from = r ? r->stored_n : 0;

	if (!r || reserve(r, p->pass_count) < 0)
		return error_set(err, ERROR_IO, "out of memory for the comparison");
	for (size_t i = 0; i < p->pass_count; i++)
		take_pass(r, p->passes[i], p->stored.median > 0, point_has_p99(p));
	/* Those that do not count stand behind the ones that do. */
	for (size_t i = p->pass_count; i < p->pass_count + p->left_out; i++)
		c->failed[side] += pass_failed(p->passes[i]);
	if (take_phases(c, to, side, p) < 0)
		return error_set(err, ERROR_IO, "out of memory for the comparison");
	c->passes[side] += r->n - from;
	c->left_out[side] += p->left_out + p->pass_count - (r->n - from);
	if (c->by_runs) {
		fold(r->rate, &r->n, from);
		fold(r->stored, &r->stored_n, stored_from);
		fold(r->p99, &r->p99_n, p99_from);
	}
	return 0;
}

static int take_points(
	struct compared *c, enum compare_side side, const struct run *run, struct error *err)
{
	struct points points;
	int rc = points_make(&points, run, err);

	for (size_t i = 0; !rc && i < points.count; i++)
		rc = take_point(c, side, &points.list[i], err);
	points_release(&points);
	return rc;
}

static void note_start(struct compared *c, enum compare_side side, const char *started)
{
	char *first = c->first_started[side], *last = c->last_started[side];

	if (!*first || strcmp(started, first) < 0)
		text_copy(first, sizeof c->first_started[side], started);
	if (strcmp(started, last) > 0)
		text_copy(last, sizeof c->last_started[side], started);
}

bool compared_one_after_the_other(const struct compared *c)
{
	return strcmp(c->last_started[COMPARE_BASE], c->first_started[COMPARE_NEW]) < 0 ||
	       strcmp(c->last_started[COMPARE_NEW], c->first_started[COMPARE_BASE]) < 0;
}

static int keep_head(struct compared *c, const struct run *run, struct error *err)
{
	size_t n = runs_taken(c);
	struct run *grown = reallocarray(c->heads, n + 1, sizeof *grown);

	if (!grown)
		return error_set(err, ERROR_IO, "out of memory for '%s'", run->path);
	c->heads = grown;
	grown[n] = *run;
	grown[n].passes = NULL;
	grown[n].pass_count = 0;
	return 0;
}

static int take_run(
	struct compared *c, enum compare_side side, const struct run *run, struct error *err)
{
	if (check_run(c, run, err) < 0 || take_points(c, side, run, err) < 0 ||
		keep_head(c, run, err) < 0)
		return -1;
	if (!runs_taken(c)) {
		c->watched = is_watched(run);
		c->shared = is_shared(run);
	}
	c->modelled = c->modelled || run->target.modelled;
	c->broke[side] += !strcmp(run->end.status, "failed");
	c->unfinished[side] |= !is_finished(run);
	c->runs[side]++;
	note_start(c, side, run->head.started);
	return 0;
}

int compared_take(struct compared *c, enum compare_side side, const char *path, struct error *err)
{
	struct run run;
	int rc = run_load(&run, path, err);

	if (rc < 0)
		return rc;
	rc = take_run(c, side, &run, err);
	run_release(&run);
	return rc;
}

/* ---- comparing ---- */

static void drop_one_sided(struct compared *c)
{
	size_t kept = 0;

	for (size_t i = 0; i < c->count; i++) {
		struct compare_point *p = &c->points[i];

		if (p->side[COMPARE_BASE].n && p->side[COMPARE_NEW].n) {
			c->points[kept++] = *p;
			continue;
		}
		c->one_sided++;
		c->lacking[p->side[COMPARE_BASE].n ? COMPARE_NEW : COMPARE_BASE]++;
		for (int s = 0; s < 2; s++)
			release_replicates(&p->side[s]);
		phase_replicates_release(&p->phases);
	}
	c->count = kept;
}

bool compare_same_table(const struct compare_point *a, const struct compare_point *b)
{
	return a->direction == b->direction && a->order == b->order && a->in_flight == b->in_flight;
}

static int compare_points(const void *left, const void *right)
{
	const struct compare_point *a = left, *b = right;
	int d = (int)a->direction - (int)b->direction;

	if (!d)
		d = (int)a->order - (int)b->order;
	if (!d)
		d = (a->in_flight > b->in_flight) - (a->in_flight < b->in_flight);
	return d ? d
		 : (a->request_bytes > b->request_bytes) - (a->request_bytes < b->request_bytes);
}

/* The 99th percentiles come from a histogram of 128 bins to the octave: a bin is at most this wide. */
static double p99_resolution(void)
{
	return log1p(1.0 / 128);
}

/* A smaller difference of rates is none: the harness's own cost and two clocks differ by as much (ours). */
static double rate_resolution(void)
{
	return log1p(0.001);
}

static enum compare_basis basis_of(const struct compare_point *p)
{
	bool base = p->side[COMPARE_BASE].stored_n > 0, fresh = p->side[COMPARE_NEW].stored_n > 0;

	if (base && fresh)
		return COMPARE_STORED;
	return base || fresh ? COMPARE_ONE_STORED : COMPARE_ACKNOWLEDGED;
}

/* The rates of one side that are compared. */
static const double *rates_of(const struct compare_point *p, enum compare_side side, size_t *n)
{
	const struct replicates *r = &p->side[side];

	*n = p->basis == COMPARE_STORED ? r->stored_n : p->basis == COMPARE_ONE_STORED ? 0 : r->n;
	return p->basis == COMPARE_STORED ? r->stored : r->rate;
}

static void fill_rates(struct comparison *one, const struct compare_point *p)
{
	one->base = rates_of(p, COMPARE_BASE, &one->base_n);
	one->fresh = rates_of(p, COMPARE_NEW, &one->fresh_n);
}

static void fill(struct comparison *list, const struct compared *c, bool p99)
{
	unsigned group = 0;

	for (size_t i = 0; i < c->count; i++) {
		const struct replicates *base = &c->points[i].side[COMPARE_BASE];
		const struct replicates *fresh = &c->points[i].side[COMPARE_NEW];

		group += i && !compare_same_table(&c->points[i - 1], &c->points[i]);
		list[i] = (struct comparison){ .base = base->p99,
			.fresh = fresh->p99,
			.base_n = base->p99_n,
			.fresh_n = fresh->p99_n,
			.resolution = p99 ? p99_resolution() : rate_resolution(),
			.group = group };
		if (!p99)
			fill_rates(&list[i], &c->points[i]);
	}
}

static int nothing_to_compare(const struct compared *c, struct error *err)
{
	for (int side = 0; side < 2; side++)
		if (!c->passes[side] && c->left_out[side])
			return error_set(err, ERROR_USAGE,
				"no pass of the %s counts: all %zu were cut short, had errors or "
				"were disturbed; measure again",
				side == COMPARE_BASE ? "base" : "new side", c->left_out[side]);
	return error_set(err, ERROR_USAGE,
		"the two sides have no point in common (direction, order, request size); sweep "
		"both with the same --sizes, --direction and --order");
}

int compared_finish(struct compared *c, struct error *err)
{
	struct comparison *list;
	int rc;

	drop_one_sided(c);
	if (!c->count)
		return nothing_to_compare(c, err);
	qsort(c->points, c->count, sizeof *c->points, compare_points);
	list = calloc(c->count, sizeof *list);
	if (!list)
		return error_set(err, ERROR_IO, "out of memory for the comparison");
	for (size_t i = 0; i < c->count; i++)
		c->points[i].basis = basis_of(&c->points[i]);
	fill(list, c, false);
	rc = compare_all(list, c->count);
	if (!rc)
		compare_outlook(list, c->count);
	for (size_t i = 0; !rc && i < c->count; i++) {
		c->points[i].rate = list[i];
		c->points[i].modelled = c->modelled;
		c->points[i].gate.loss_bound = INFINITY; /* until a gate is asked for */
	}
	fill(list, c, true);
	rc = rc ? rc : compare_all(list, c->count);
	for (size_t i = 0; !rc && i < c->count; i++)
		c->points[i].p99 = list[i];
	free(list);
	return rc ? error_set(err, ERROR_IO, "out of memory for the comparison") : 0;
}

static enum gate_hold hold_of(const struct compared *c)
{
	if (c->lacking[COMPARE_NEW])
		return GATE_HELD_BY_NEW;
	if (c->lacking[COMPARE_BASE] && c->unfinished[COMPARE_BASE])
		return GATE_HELD_BY_BASE;
	if (c->failed[COMPARE_NEW] > c->failed[COMPARE_BASE])
		return GATE_HELD_BY_FAILURES;
	return c->broke[COMPARE_NEW] > c->broke[COMPARE_BASE] ? GATE_HELD_BY_END : GATE_FREE;
}

/* Who says --anyway vouches for the builds, and for nothing that was not measured. */
static enum gate_hold hold_of_builds(struct compared *c)
{
	struct build_doubts doubts = compare_builds(&c->pool, c);

	if (!compare_builds_hold(&doubts))
		return GATE_FREE;
	c->overruled = c->overruled || c->anyway;
	return c->anyway ? GATE_FREE : GATE_HELD_BY_BUILDS;
}

static bool any_half_shown(const struct compared *c)
{
	for (size_t i = 0; i < c->count; i++)
		if (c->points[i].basis == COMPARE_ONE_STORED)
			return true;
	return false;
}

int compared_gate(struct compared *c, struct gate_request *gate, struct error *err)
{
	struct comparison *list = calloc(c->count + 1, sizeof *list);
	struct compare_gate_point *each = calloc(c->count + 1, sizeof *each);
	struct compare_gate *out = &gate->result;
	int rc = -1;

	for (size_t i = 0; list && i < c->count; i++)
		list[i] = c->points[i].rate;
	if (list && each)
		rc = compare_gate(out, each, list, c->count, gate->allowed);
	for (size_t i = 0; !rc && i < c->count; i++)
		c->points[i].gate = each[i];
	if (!rc && out->answer == COMPARE_UNDECIDED && !any_half_shown(c))
		c->gate_needed = compare_gate_needed(list, c->count, gate->allowed);
	gate->held = out->answer == COMPARE_PASSED ? hold_of(c) : GATE_FREE;
	if (out->answer == COMPARE_PASSED && !gate->held)
		gate->held = hold_of_builds(c);
	if (gate->held)
		out->answer = COMPARE_UNDECIDED;
	free(list);
	free(each);
	return rc < 0 ? error_set(err, ERROR_IO, "out of memory for the gate") : 0;
}
