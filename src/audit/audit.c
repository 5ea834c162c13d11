/* The write-behind audit: the order of its probes. */
#include "audit/audit.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>

#include "audit/probe_context.h"
#include "audit/probes.h"
#include "base/advice.h"
#include "base/error.h"
#include "base/watch.h"

#define ID(name) PROMISE_BIT(PROMISE_ID_##name)

enum { CLAIMS = ID(INQUIRY) | ID(CAPACITY) | ID(CACHE_PAGE) | ID(KERNEL_VIEW) };

/* In the order of enum promise_id. builds_on: what it takes from lines before it. */
static const struct {
	const char *phase;
	int (*run)(struct probe_context *pc);
	uint32_t answers, builds_on;
} probes[] = {
	{ "claims", probe_claims, CLAIMS, 0 },
	{ "buffer", probe_buffer, ID(BUFFER), CLAIMS },
	{ "flush", probe_flush, ID(FLUSH), ID(BUFFER) },
	{ "FUA", probe_fua, ID(FUA), ID(BUFFER) },
	{ "fsync", probe_fsync, ID(FSYNC), ID(BUFFER) },
	{ "coherence", probe_coherence,
		ID(READ_AFTER_WRITE) | ID(INTERLEAVED) | ID(OVERLAP) | ID(PARTIAL_OVERLAP) |
			ID(STRADDLE),
		ID(BUFFER) },
	{ "odd lengths", probe_odd_length, ID(ODD_LENGTH), ID(BUFFER) },
	{ "many writes", probe_stored, ID(STORED), ID(BUFFER) },
	{ "past the end", probe_past_end, ID(PAST_END), 0 },
	{ "sense data", probe_sense, ID(SENSE), 0 },
	{ "failed writes", probe_background_error, ID(BACKGROUND_ERROR), ID(STORED) },
	{ "power cuts", probe_power_cut, ID(POWER_CUT), ID(BUFFER) | ID(FLUSH) },
	{ "hidden write-behind", probe_write_behind, ID(WRITE_BEHIND), ID(BUFFER) | ID(POWER_CUT) },
	{ "transfers", probe_transfers, ID(TRANSFER_LENGTH), ID(STORED) },
	{ "eject", probe_eject, ID(EJECT) | ID(EJECTED), ID(BUFFER) },
	{ "claims again", probe_steady, ID(STEADY), CLAIMS },
	{ "answers", probe_answered, ID(ANSWERED), CLAIMS },
	/* Last: some drives hang on such a question. */
	{ "vital pages", probe_vital_pages, ID(VITAL_PAGES), 0 },
};

enum { PROBES = sizeof probes / sizeof *probes };

/* Which lines are to be found out, be it for the sake of others. */
static uint32_t needed(const struct audit_plan *p)
{
	uint32_t need = p->only ? p->only : PROMISES_ALL;

	for (size_t i = PROBES; i--;)
		if (need & probes[i].answers)
			need |= probes[i].builds_on;
	return need;
}

void audit_plan_defaults(struct audit_plan *p, const struct medium *m)
{
	p->cuts_power = medium_traits(m)->virtual_clock;
	p->repeats = 5;
	p->burst_limit_bytes = 16 << 20;
	p->burst_limit_ns = UINT64_C(2000000000);
	p->many_writes = medium_traits(m)->virtual_clock ? 4096 : 3000;
	p->many_limit_ns = medium_traits(m)->virtual_clock ? UINT64_MAX : UINT64_C(30000000000);
	p->provoke_ns = UINT64_C(60000000000);
}

/* A burst that fills the buffer for certain: two and a half of a knee, which lies within half of the longest; 64 requests at
 * least. */
static double filling_burst(const struct audit_plan *p)
{
	return fmax(1.25 * (double)p->burst_limit_bytes, PROBE_FILL_MIN);
}

double audit_bytes_to_write(const struct audit_plan *p)
{
	double limit = fmax((double)p->burst_limit_bytes, PROBE_FILL_MIN), fill = filling_burst(p);
	double small = (double)p->many_writes * 4096, area = (double)p->area_bytes;
	/* Repeats, in filling bursts: up to 3 request sizes; 2 for reads and flushes, 2 where these do not confirm it; 1 and
	 * two short ones, of 0.66, for either flush; leftovers and a short one; 1 eject, and 1 without, where that lost data. */
	double repeats = 3 + 2 + 2 + 2 * (1 + 2 * 0.66) + 1 + 2;

	/* Three sizes of bursts, each doubled up to the limit; FUA and its like; small writes in rounds, each round pushed
	 * out by as much at most, and what else is pushed out; all in between. */
	return 6 * limit + repeats * p->repeats * fill + 2.0 * p->repeats * PROBE_FILL_MIN * 2 +
	       2 * small + 6 * area + (p->cuts_power ? PROBE_CUT_RUNS * fmin(fill, area) : 0);
}

static int explain(struct probe_context *pc, int rc, const char *phase, struct error *err)
{
	/* A hook that failed has filled *err itself. */
	if (rc == -ECANCELED && err && err->kind != ERROR_NONE)
		return -1;
	error_sys(err, ERROR_IO, -rc, "the audit of '%s' stopped at '%s'", pc->t->path, phase);
	if (medium_lost(pc->m)) {
		medium_explain(pc->m, err);
		error_add(err, ", then run the audit again (it stopped at '%s')", phase);
		return -1;
	}
	if (rc == -ENODEV || rc == -ENXIO || rc == -ENOMEDIUM)
		error_add(err, "; it is gone: %s, then run the audit again",
			advice_gone(pc->t->transport));
	return -1;
}

/* Its lines are there, and say that nobody asked. */
static int leave_out(struct probe_context *pc, uint32_t lines)
{
	int rc = 0;

	for (int id = 0; id < PROMISE_IDS && !rc; id++)
		if (lines & PROMISE_BIT(id))
			rc = context_report(
				pc, (enum promise_id)id, PROMISE_NOT_ASKED, 0, "", "%s", "");
	return rc;
}

static int run_probe(struct probe_context *pc, size_t i, uint32_t need)
{
	int rc = medium_check(pc->m, MEDIUM_CHECK_BATCH);

	if (rc)
		return rc;
	return need & probes[i].answers ? probes[i].run(pc) : leave_out(pc, probes[i].answers);
}

static int run_probes(struct probe_context *pc, struct error *err)
{
	uint32_t need = needed(pc->plan);

	for (size_t i = 0; i < PROBES; i++) {
		int rc;

		/* The probes take so unequally long that a share or a time left would mislead. */
		snprintf(pc->phase, sizeof pc->phase, "%s (step %zu of %d)", probes[i].phase, i + 1,
			PROBES);
		if (context_stopped(pc))
			return 1;
		rc = run_probe(pc, i, need);
		if (rc < 0)
			return explain(pc, rc, probes[i].phase, err);
	}
	return context_stopped(pc) ? 1 : 0;
}

int audit_run(struct medium *m, const struct audit_plan *p, const struct audit_hooks *hooks,
	struct promises *out, enum audit_outcome *outcome, struct error *err)
{
	struct probe_context pc;
	int rc;

	*out = (struct promises){ .partial = true };
	*outcome = AUDIT_INTERRUPTED;
	if (context_init(&pc, m, p, hooks, out, err) < 0)
		return -1;
	out->no_scsi = !pc.scsi;
	rc = run_probes(&pc, err);
	out->partial = rc != 0;
	*outcome = rc > 0 ? AUDIT_INTERRUPTED : AUDIT_COMPLETE;
	context_release(&pc);
	return rc < 0 ? -1 : 0;
}
