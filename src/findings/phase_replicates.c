/* Phases of two sides. */
#include "findings/phase_replicates.h"

#include <math.h>
#include <stdlib.h>

#include "analysis/welch.h"
#include "findings/phase_tables.h"
#include "findings/points.h"

static const double certain_p = 0.05 / RUN_PHASE_COUNT;

static int reserve(struct phase_side *r, size_t more)
{
	size_t room = r->n + more;

	if (room <= r->room)
		return 0;
	for (int i = 0; i < RUN_PHASE_COUNT; i++) {
		double *grown = reallocarray(r->seconds[i], room, sizeof *grown);

		if (!grown)
			return -1;
		r->seconds[i] = grown;
	}
	r->room = room;
	return 0;
}

static void fold(struct phase_side *r, size_t from)
{
	if (r->n <= from + 1)
		return;
	for (int i = 0; i < RUN_PHASE_COUNT; i++)
		r->seconds[i][from] = moments_of(r->seconds[i] + from, r->n - from).mean;
	r->n = from + 1;
}

int phase_replicates_take(struct phase_replicates *c, int side,
	const struct run_pass *const *passes, size_t count, bool by_runs)
{
	struct phase_side *r = &c->side[side];
	size_t from = r->n;

	if (reserve(r, count) < 0)
		return -1;
	for (size_t i = 0; i < count; i++) {
		struct point one = { .passes = &passes[i], .pass_count = 1 };
		struct phases_of_point of = phases_of_point(&one);

		if (!of.passes)
			continue;
		for (int k = 0; k < RUN_PHASE_COUNT; k++)
			r->seconds[k][r->n] = of.seconds[k];
		r->n++;
	}
	if (by_runs)
		fold(r, from);
	return 0;
}

void phase_replicates_release(struct phase_replicates *c)
{
	for (int s = 0; s < 2; s++)
		for (int i = 0; i < RUN_PHASE_COUNT; i++)
			free(c->side[s].seconds[i]);
	*c = (struct phase_replicates){ 0 };
}

/* By which the time of a phase changed. */
static double part_of(const struct phase_change *c, int phase)
{
	return c->seconds[1][phase] - c->seconds[0][phase];
}

/* Another phase takes up half of it or more: then work went from one phase to another, and neither is what changed the whole. */
static bool is_taken_up(const struct phase_change *c, double part)
{
	for (int i = 0; i < RUN_PHASE_COUNT; i++)
		if (part_of(c, i) * part < 0 && fabs(part_of(c, i)) > fabs(part) / 2)
			return true;
	return false;
}

struct phase_change phase_replicates_change(const struct phase_replicates *c, double by_rate_s)
{
	struct phase_change out = { .seen = c->side[0].n > 0 && c->side[1].n > 0 };
	double whole = 0, most = 0;

	for (int i = 0; out.seen && i < RUN_PHASE_COUNT; i++) {
		struct moments a = moments_of(c->side[0].seconds[i], c->side[0].n);
		struct moments b = moments_of(c->side[1].seconds[i], c->side[1].n);

		out.seconds[0][i] = a.mean;
		out.seconds[1][i] = b.mean;
		whole += b.mean - a.mean;
	}
	for (int i = 0; out.seen && i < RUN_PHASE_COUNT; i++) {
		struct moments a = moments_of(c->side[0].seconds[i], c->side[0].n);
		struct moments b = moments_of(c->side[1].seconds[i], c->side[1].n);
		struct welch w = welch_of(&a, &b);
		double part = part_of(&out, i);

		if (!(part * whole > 0) || !(fabs(part) > fabs(most)))
			continue;
		most = part;
		out.phase = (enum run_phase)i;
		out.shown = w.known && w.p <= certain_p && fabs(part) > fabs(whole) / 2 &&
			    !is_taken_up(&out, part) && part * by_rate_s > 0 &&
			    fabs(part) > fabs(by_rate_s) / 2 && fabs(part) < fabs(by_rate_s) * 2;
	}
	return out;
}
