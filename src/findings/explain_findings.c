/* What an explanation comes to, and in which order it is said. */
#include <math.h>
#include <string.h>

#include "base/size.h"
#include "findings/explain_codes.h"
#include "findings/explain_doubts.h"
#include "findings/explain_limits.h"
#include "findings/explain_phases.h"
#include "findings/explain_view.h"
#include "findings/run_findings.h"

enum { BOTH = 1u << RUN_READ | 1u << RUN_WRITE };

void explain_findings_of(
	struct findings *f, const struct explanation *e, enum run_direction direction)
{
	explain_limits_add(f, e, 1u << direction);
	explain_phases_add(f, e, 1u << direction);
	explain_doubts_add(f, e, 1u << direction);
}

void explain_findings_add(struct findings *f, const struct run *run, const struct explanation *e)
{
	if (!e->count)
		finding_add(f, &explain_codes[EXPLAIN_NOTHING],
			"There is no usable pass in this record: nothing can be explained.");
	explain_limits_add(f, e, BOTH);
	explain_phases_add(f, e, BOTH);
	run_findings_add(f, run);
	explain_doubts_add(f, e, BOTH);
}

/* ---- as observed ---- */

/* A size with less of the time than that is none to begin with. */
#define WORTH_NAMING 0.1

static void add_worst(struct findings *f, const struct explain_mix *m)
{
	char size[SIZE_TEXT_MAX];
	struct finding *one;

	double flushes = m->flush_s / m->total[EXPLAIN_NOW];

	if (!m->worst_known || m->means_only)
		return;
	if (flushes > m->worst_share) {
		one = finding_add(f, &explain_codes[EXPLAIN_MIX_FLUSHES],
			"As observed, flushes take most of the time, %.0f %% of it beyond storing "
			"what was written: send fewer of them.",
			flushes * 100);
		finding_figure(one, "time_share", value_share(flushes));
		return;
	}
	if (m->worst_share < WORTH_NAMING)
		return;
	one = finding_add(f, &explain_codes[EXPLAIN_MIX_WORST],
		"As observed, %ss of %s take most of the time, %.0f %% of it: optimise these "
		"first.",
		run_direction_name(m->worst_direction), size_format(size, m->worst_bytes),
		m->worst_share * 100);
	finding_figure(one, "direction", value_word(run_direction_name(m->worst_direction)));
	finding_figure(one, "request_bytes", value_bytes(m->worst_bytes));
	finding_figure(one, "time_share", value_share(m->worst_share));
}

static void add_check(struct findings *f, const struct explain_mix *m)
{
	char busy[SIZE_TEXT_MAX], total[SIZE_TEXT_MAX];
	struct finding *one;

	if (isnan(m->off))
		return;
	one = finding_add(f, &explain_codes[EXPLAIN_MIX_CHECK],
		"Requests were in flight for %s then; these costs give %s, %.0f %% %s.",
		duration_format(busy, m->busy_s), duration_format(total, m->total[EXPLAIN_NOW]),
		fabs(m->off) * 100, m->off < 0 ? "less" : "more");
	finding_figure(one, "observed_seconds", value_seconds(m->busy_s));
	finding_figure(one, "predicted_seconds", value_seconds(m->total[EXPLAIN_NOW]));
}

static void add_other(struct findings *f, const struct explain_seen *seen)
{
	finding_figure(finding_add(f, &explain_codes[EXPLAIN_MIX_OTHER],
			       "What was observed is another target, '%.40s': its timing cannot "
			       "confirm this.",
			       seen->run->target.token),
		"observed_token", value_text(seen->run->target.token));
}

static bool lacks_sweep(const struct explain_mix *m, enum run_direction d)
{
	return m->present[d] && isnan(m->seconds[d][EXPLAIN_NOW]);
}

static bool lacks_rates(const struct explain_mix *m, enum run_direction d)
{
	return m->present[d] && !lacks_sweep(m, d) && isnan(m->seconds[d][EXPLAIN_WHOLE]) &&
	       (d == RUN_READ || m->shown);
}

static void add_no_sweep(struct findings *f, const struct explain_mix *m, enum run_direction d)
{
	const char *side = run_direction_name(d);

	if (lacks_sweep(m, d))
		finding_figure(finding_add(f, &explain_codes[EXPLAIN_MIX_UNKNOWN],
				       "The sweep has no %ss: sweep with --direction %s to know "
				       "their time.",
				       side, side),
			"direction", value_word(side));
}

/* Once, whether one direction lacks them or both. */
static void add_no_rates(struct findings *f, const struct explain_mix *m)
{
	bool reads = lacks_rates(m, RUN_READ), writes = lacks_rates(m, RUN_WRITE);
	bool both = reads && writes;

	if (!reads && !writes)
		return;
	finding_figure(finding_add(f, &explain_codes[EXPLAIN_MIX_UNKNOWN],
			       "To tell what other firmware would gain for the observed %s%s%s, "
			       "the rates of link and card are needed: give --link%s%s%s%s.",
			       reads ? "reads" : "", both ? " and " : "", writes ? "writes" : "",
			       both ? ", " : " and ", reads ? "--card-read" : "",
			       both ? " and " : "", writes ? "--card-write" : ""),
		"direction",
		value_word(both    ? "read,write"
			   : reads ? "read"
				   : "write"));
}

/* Of a record made before such pairs were timed, or of a target that takes no flush. */
static void add_unknown_flushes(struct findings *f, const struct explain_mix *m)
{
	if (isnan(m->flush_s) && !isnan(m->seconds[RUN_WRITE][EXPLAIN_NOW]))
		finding_figure(finding_add(f, &explain_codes[EXPLAIN_MIX_UNKNOWN],
				       "How long the observed flushes take is not known: this "
				       "sweep timed no "
				       "writes with a flush after each. Sweep writes again, on a "
				       "target that takes flushes."),
			"direction", value_word(run_direction_name(RUN_WRITE)));
}

void explain_mix_findings_add(struct findings *f, const struct explain_mix *m,
	const struct run *swept, const struct explain_seen *seen)
{
	if (!m->present[RUN_READ] && !m->present[RUN_WRITE]) {
		finding_add(f, &explain_codes[EXPLAIN_MIX_NOTHING],
			"No request was observed in '%.60s'.", seen->run->path);
		return;
	}
	add_worst(f, m);
	if (m->present[RUN_WRITE] && !m->shown)
		finding_add(f, &explain_codes[EXPLAIN_MIX_ACKNOWLEDGED],
			"Nothing shows when the swept writes are stored: their time here is only "
			"until they are acknowledged.");
	if (!strcmp(swept->target.token, seen->run->target.token))
		add_check(f, m);
	else
		add_other(f, seen);
	if (m->means_only)
		finding_add(f, &explain_codes[EXPLAIN_MIX_MEANS],
			"Only mean request sizes are known of what was observed, because it was "
			"not traced.");
	add_no_sweep(f, m, RUN_READ);
	add_no_sweep(f, m, RUN_WRITE);
	add_no_rates(f, m);
	add_unknown_flushes(f, m);
}
