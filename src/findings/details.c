/* Details by point. */
#include "findings/details.h"

#include <math.h>
#include <stdlib.h>

#include "base/error.h"

struct loader {
	struct details *d;
	const uint32_t *point_of_pass; /* count: belongs to none */
	const struct run *run;
	bool no_memory;
};

static struct detail *detail_of(const struct loader *l, uint64_t pass)
{
	if (pass >= l->run->pass_count || l->point_of_pass[pass] >= l->d->count)
		return NULL;
	return &l->d->list[l->point_of_pass[pass]];
}

static size_t bin_of(uint64_t ns)
{
	double octaves = ns > 1 ? log2((double)ns) : 0;
	size_t bin = (size_t)(octaves * DETAIL_BINS_PER_OCTAVE);

	return bin < DETAIL_BINS ? bin : DETAIL_BINS - 1;
}

static void take_histogram(
	void *context, uint64_t pass, const uint64_t *bin_ns, const uint64_t *count, size_t bins)
{
	struct loader *l = context;
	struct detail *d = detail_of(l, pass);

	if (!d)
		return;
	if (!d->bins)
		d->bins = calloc(DETAIL_BINS, sizeof *d->bins);
	l->no_memory |= !d->bins;
	for (size_t i = 0; d->bins && i < bins; i++) {
		d->bins[bin_of(bin_ns[i])] += count[i];
		d->requests += count[i];
	}
}

/* So many steps are joined that no more than DETAIL_STEPS are left, and that each holds ten requests or so: shorter ones
 * would show single requests, not rates. */
static size_t steps_to_join(const struct run_pass *pass, uint64_t step_ns, size_t steps)
{
	size_t join = (steps + DETAIL_STEPS - 1) / DETAIL_STEPS;
	uint64_t wanted = pass->lat_p50_ns * 10 / step_ns + 1;

	if (wanted > join)
		join = wanted < steps ? (size_t)wanted : steps;
	return join;
}

/* Rate of stretch [i, i + join), or -1 for a last one that the pass ended in the first half of. The last one ends with
 * the pass, not with its step. */
static double stretch_rate(const struct run_pass *pass, uint64_t step_ns, const uint64_t *bytes,
	size_t i, size_t join, size_t steps)
{
	double from = (double)step_ns * (double)i, full = (double)step_ns * (double)join;
	double to = from + full, end = (double)pass->busy_ns, sum = 0;

	for (size_t n = 0; n < join && i + n < steps; n++)
		sum += (double)bytes[i + n];
	if (to > end && end > from)
		to = end;
	return i && to - from < full / 2 ? -1 : sum * 1e9 / (to - from);
}

static void shrink(struct detail_trace *t, const struct run_pass *pass, uint64_t step_ns,
	const uint64_t *bytes, size_t steps)
{
	size_t join = steps_to_join(pass, step_ns, steps);

	t->step_ns = step_ns * join;
	for (size_t i = 0; i < steps && t->steps < DETAIL_STEPS; i += join) {
		double rate = stretch_rate(pass, step_ns, bytes, i, join, steps);

		if (rate >= 0)
			t->rate_bps[t->steps++] = (float)rate;
	}
}

static void take_trace(
	void *context, uint64_t pass, uint64_t step_ns, const uint64_t *bytes, size_t steps)
{
	struct loader *l = context;
	struct detail *d = detail_of(l, pass);

	if (!d || !steps)
		return;
	d->traces_seen++;
	if (!d->traces)
		d->traces = calloc(DETAIL_TRACES, sizeof *d->traces);
	l->no_memory |= !d->traces;
	if (d->traces && d->trace_count < DETAIL_TRACES)
		shrink(&d->traces[d->trace_count++], &l->run->passes[pass], step_ns, bytes, steps);
}

static void map_passes(uint32_t *map, const struct run *run, const struct points *points)
{
	for (size_t i = 0; i < run->pass_count; i++)
		map[i] = UINT32_MAX;
	for (size_t i = 0; i < points->count && i < UINT32_MAX; i++)
		for (size_t k = 0; k < points->list[i].pass_count; k++)
			map[points->list[i].passes[k] - run->passes] = (uint32_t)i;
}

int details_load(
	struct details *d, const struct run *run, const struct points *points, struct error *err)
{
	uint32_t *map = calloc(run->pass_count + 1, sizeof *map);
	struct loader loader = { .d = d, .point_of_pass = map, .run = run };
	struct run_histogram_visitor visitor = { &loader, take_histogram, take_trace };
	int rc;

	*d = (struct details){ .list = calloc(points->count + 1, sizeof *d->list),
		.count = points->count };
	if (!map || !d->list) {
		free(map);
		details_release(d);
		return error_set(err, ERROR_IO, "out of memory for the details of '%s'", run->path);
	}
	map_passes(map, run, points);
	for (size_t i = 0; i < points->count; i++)
		d->list[i].slowest_s = points->list[i].lat_max_s;
	/* Details name their pass by its place; where lines are missing, places are not what they were. */
	rc = run->damaged_lines || !*run->path ? 0 : run_visit_details(run->path, &visitor, err);
	free(map);
	if (!rc && loader.no_memory)
		rc = error_set(err, ERROR_IO, "out of memory for the details of '%s'", run->path);
	if (rc < 0)
		details_release(d);
	return rc;
}

void details_release(struct details *d)
{
	for (size_t i = 0; d->list && i < d->count; i++) {
		free(d->list[i].bins);
		free(d->list[i].traces);
	}
	free(d->list);
	*d = (struct details){ 0 };
}

double detail_quantile_s(const struct detail *d, double p)
{
	double wanted = p * (double)d->requests, seen = 0;

	if (!d->bins || !d->requests)
		return 0;
	for (size_t i = 0; i < DETAIL_BINS; i++) {
		seen += (double)d->bins[i];
		if (d->bins[i] && seen >= wanted)
			return fmin(d->slowest_s,
				exp2(((double)i + 0.5) / DETAIL_BINS_PER_OCTAVE) / 1e9);
	}
	return d->slowest_s;
}
