/* What a verify has shown. */
#include "findings/verify_shown.h"

#include <inttypes.h>
#include <string.h>

#include "base/pool.h"

/* The first pass judges none twice. */
uint64_t verify_distinct_blocks(const struct verify_record *v)
{
	const struct verify_record_plan *p = &v->plan;
	const struct damage_totals *t = &v->state.totals;
	uint64_t bytes = p->spot_count ? p->spot_count * p->sizes[0] : p->region_bytes;
	uint64_t each = t->block_bytes ? bytes / t->block_bytes : 0;

	return each && each < t->judged ? each : t->judged;
}

bool verify_is_complete(const struct verify_record *v)
{
	return v->stated && !strcmp(v->state.outcome, "complete");
}

static bool is_clean(const struct verify_record *v)
{
	const struct verify_record_state *s = &v->state;

	return verify_is_complete(v) && s->totals.judged && !damage_totals_damaged(&s->totals) &&
	       !s->reads.requests && !s->writes.requests && !s->flush_errno;
}

/* All but what is too short for a request. */
bool verify_is_whole_target(const struct verify_record *v)
{
	uint64_t size = v->run.target.size_bytes, block = v->run.target.logical_block_bytes;

	return !v->plan.region_start && v->plan.region_bytes <= size &&
	       size - v->plan.region_bytes < (block > 4096 ? block : 4096);
}

uint64_t verify_capacity(const struct verify_record *v, const struct verify_pattern *p)
{
	if (p->repeat_is_capacity || p->folded_bytes)
		return p->folded_bytes ? p->folded_bytes : p->repeat_bytes;
	/* Places see addresses that repeat or lead nowhere; whether storage ends in some other way they cannot know. */
	if (!is_clean(v) || !verify_is_whole_target(v) || v->plan.spot_count)
		return 0;
	return v->plan.region_bytes;
}

const char *verify_why(struct pool *pool, uint64_t sys_errno)
{
	const char *known = sys_errno && sys_errno < 4096 ? strerrordesc_np((int)sys_errno) : NULL;

	if (!sys_errno)
		return "the target ended early";
	return known ? known : pool_printf(pool, "error %" PRIu64, sys_errno);
}

/* A run that wrote itself knows that it did, and what cannot be read is damage whoever wrote it. */
bool verify_has_no_trace(const struct damage_totals *t, bool wrote)
{
	const uint64_t *n = t->by_class;

	return t->judged && !wrote && !n[DAMAGE_NONE] && !n[DAMAGE_UNREADABLE] && !n[DAMAGE_TORN] &&
	       !n[DAMAGE_SHIFTED] && !n[DAMAGE_BIT_ERROR] &&
	       n[DAMAGE_STALE] + n[DAMAGE_MISPLACED] == t->other_run;
}
