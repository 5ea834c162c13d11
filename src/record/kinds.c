/* All kinds of lines. */
#include "record/kinds.h"

#include "record/audit_lines.h"
#include "record/cut_lines.h"
#include "record/file.h"
#include "record/journal_lines.h"
#include "record/observe_lines.h"
#include "record/run.h"
#include "record/verify_lines.h"

static const struct line_kind *const every[] = { &kind_record, &kind_run, &kind_target, &kind_kept,
	&kind_end };
static const struct line_kind *const sweep[] = { &kind_plan, &kind_storing, &kind_pass,
	&kind_histogram, &kind_phase, &kind_trace };
static const struct line_kind *const verify[] = { &kind_verify_plan, &kind_verify_range,
	&kind_verify_state, &kind_verify_resume };
static const struct line_kind *const audit[] = { &kind_promise, &kind_audit };
static const struct line_kind *const observe[] = { &kind_second, &kind_total, &kind_seen, &kind_mix,
	&kind_latency, &kind_service, &kind_commands };
static const struct line_kind *const journal[] = { &kind_cycle, &kind_ready, &kind_intend,
	&kind_done, &kind_flush, &kind_stored, &kind_pull, &kind_stop, &kind_recheck,
	&kind_damage };

#define GROUP(name)                                        \
	{                                                  \
#name, name, sizeof(name) / sizeof *(name) \
	}
const struct kind_group kind_groups[] = { GROUP(every), GROUP(sweep), GROUP(verify), GROUP(audit),
	GROUP(observe), GROUP(journal) };
const size_t kind_group_count = sizeof kind_groups / sizeof *kind_groups;
