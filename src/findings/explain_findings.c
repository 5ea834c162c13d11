/* What an explanation comes to: its codes, and in which order they are said. */
#include <math.h>
#include <string.h>

#include "base/size.h"
#include "findings/explain_codes.h"
#include "findings/explain_doubts.h"
#include "findings/explain_limits.h"
#include "findings/explain_phases.h"
#include "findings/explain_view.h"
#include "findings/run_findings.h"

#define WHERE "direction orders in_flight request_bytes "
#define LIMIT                                                                             \
	WHERE "culprits share_low share_high seconds now_bytes_per_second "               \
	      "without_low_bytes_per_second without_high_bytes_per_second next_culprits " \
	      "next_share_low next_share_high"

const struct finding_code explain_codes[] = {
	[EXPLAIN_LIMITED] = { "limits", FINDING_PLAIN, true,
		"what limits a direction, how much of a request's time it takes, and the rate "
		"without "
		"it",
		LIMIT },
	[EXPLAIN_ONE_OF] = { "one-of", FINDING_PLAIN, true,
		"the same where several causes fit alike, and what would tell them apart", LIMIT },
	[EXPLAIN_NOT_SHOWN] = { "not-shown", FINDING_CAUTION, true,
		"what limits can't be said; why: link-beaten, card-beaten, too-few-sizes, "
		"no-shape, not-stored",
		WHERE "why" },
	[EXPLAIN_NOTHING] = { "nothing", FINDING_CAUTION, true, "no pass of the record counts",
		NULL },
	[EXPLAIN_PHASE] = { "phases", FINDING_PLAIN, false,
		"a part of a request's time by its phases on the bus or in the model: fetch, "
		"refuse, "
		"store, not-ready, host or link; how much of it grows with the size, and what "
		"working "
		"on data while data move could save",
		"direction order request_bytes part seconds share fixed_seconds seconds_per_byte "
		"gain_seconds" },
	[EXPLAIN_PHASE_RULES_OUT] = { "phases-rule-out", FINDING_PLAIN, false,
		"causes that the rates allow and the phases do not",
		"direction order request_bytes causes" },
	[EXPLAIN_PHASE_AGAINST] = { "phases-against", FINDING_CAUTION, false,
		"the phases contradict the cause that the rates seem to show",
		"direction order request_bytes part seconds" },
	[EXPLAIN_LINK_BEATEN] = { "above-link", FINDING_CAUTION, false,
		"rates above what the link is said to carry", "of" },
	[EXPLAIN_CARD_BEATEN] = { "above-card", FINDING_CAUTION, false,
		"rates above what the card is said to do", "of" },
	[EXPLAIN_CARD_IS_BUS] = { "card-is-bus", FINDING_CAUTION, false,
		"the card's rate is only what its bus can carry", "of" },
	[EXPLAIN_FEW_SIZES] = { "few-sizes", FINDING_CAUTION, false,
		"too few request sizes for a line", "of" },
	[EXPLAIN_NARROW] = { "narrow-sizes", FINDING_CAUTION, false,
		"the request sizes lie too near each other", "of" },
	[EXPLAIN_RATE_UNSURE] = { "rate-unsure", FINDING_CAUTION, false,
		"the interval of the streaming rate is too wide to rely on", "of" },
	[EXPLAIN_FIXED_UNSURE] = { "fixed-cost-unsure", FINDING_CAUTION, false,
		"the interval of the fixed cost reaches 0", "of" },
	[EXPLAIN_PIECES] = { "coarse-overlap", FINDING_PLAIN, false,
		"link and card overlap in pieces, below whose size they can't", "of" },
	[EXPLAIN_BENDS] = { "line-bends", FINDING_PLAIN, false,
		"beyond some size something else sets the pace", "of" },
	[EXPLAIN_MISFIT] = { "line-misfit", FINDING_CAUTION, false,
		"no line describes the times within their scatter", "of" },
	[EXPLAIN_DRIFT] = { "drift", FINDING_CAUTION, false,
		"requests took longer, or less, at the end of the run", "of" },
	[EXPLAIN_CLINGS] = { "neighbours-alike", FINDING_CAUTION, false,
		"passes resemble those before and after them", "of" },
	[EXPLAIN_WRITES_BEHIND] = { "acknowledged-early", FINDING_CAUTION, false,
		"writes are acknowledged well before they are stored", "of" },
	[EXPLAIN_SPLIT] = { "split", FINDING_PLAIN, false, "the kernel splits large requests",
		"of" },
	[EXPLAIN_LEFT_OUT] = { "passes-left-out", FINDING_CAUTION, false,
		"passes that do not count", "of" },
	[EXPLAIN_MIX_WORST] = { "as-observed-most", FINDING_PLAIN, false,
		"the observed size on which most of the time goes",
		"direction request_bytes time_share" },
	[EXPLAIN_MIX_FLUSHES] = { "as-observed-flushes", FINDING_PLAIN, false,
		"the observed flushes take more of the time than any size, beyond storing what was "
		"written",
		"time_share" },
	[EXPLAIN_MIX_ACKNOWLEDGED] = { "as-observed-acknowledged", FINDING_CAUTION, false,
		"the time of observed writes is only that until they are acknowledged", NULL },
	[EXPLAIN_MIX_CHECK] = { "as-observed-check", FINDING_PLAIN, false,
		"the predicted time beside the one in which requests were in flight",
		"observed_seconds predicted_seconds" },
	[EXPLAIN_MIX_OTHER] = { "as-observed-elsewhere", FINDING_CAUTION, false,
		"the observation is of another target, so its time can't check the prediction",
		"observed_token" },
	[EXPLAIN_MIX_MEANS] = { "as-observed-means", FINDING_CAUTION, false,
		"the observation was not traced: mean request sizes alone are known", NULL },
	[EXPLAIN_MIX_UNKNOWN] = { "as-observed-unknown", FINDING_CAUTION, false,
		"what is missing to predict the time of a direction, or what firmware could gain",
		"direction" },
	[EXPLAIN_MIX_NOTHING] = { "as-observed-nothing", FINDING_CAUTION, false,
		"the observation holds no request", NULL },
};

const size_t explain_code_count = sizeof explain_codes / sizeof *explain_codes;

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

static void add_unknown(struct findings *f, const struct explain_mix *m, enum run_direction d)
{
	const char *side = run_direction_name(d);
	struct finding *one;

	if (!m->present[d])
		return;
	if (isnan(m->seconds[d][EXPLAIN_NOW]))
		one = finding_add(f, &explain_codes[EXPLAIN_MIX_UNKNOWN],
			"The sweep has no %ss: sweep with --direction %s to know their time.", side,
			side);
	else if (isnan(m->seconds[d][EXPLAIN_WHOLE]) && (d == RUN_READ || m->shown))
		one = finding_add(f, &explain_codes[EXPLAIN_MIX_UNKNOWN],
			"What other firmware would gain for the observed %ss needs the rates of "
			"link "
			"and card: give --link and --card-%s.",
			side, side);
	else
		return;
	finding_figure(one, "direction", value_word(side));
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
			"not "
			"traced.");
	add_unknown(f, m, RUN_READ);
	add_unknown(f, m, RUN_WRITE);
}
