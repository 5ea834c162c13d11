/* blkassay audit: what a gadget claims about its writes, and whether it keeps it. */
#include <string.h>

#include "audit/audit.h"
#include "base/error.h"
#include "base/size.h"
#include "cli/command.h"
#include "cli/message.h"
#include "cli/phase_watch.h"
#include "cli/progress.h"
#include "cli/record_run.h"
#include "cli/results.h"
#include "cli/session.h"
#include "record/audit_lines.h"

/* Of one name in the list. */
static int take_name(uint32_t *only, const char *name, struct error *err)
{
	const char *list = "";
	char all[512] = "";
	int id = promise_parse(name);

	if (id >= 0) {
		*only |= PROMISE_BIT(id);
		return 0;
	}
	for (int i = 0; i < PROMISE_IDS; i++) {
		size_t n = strlen(all);

		snprintf(all + n, sizeof all - n, "%s%s", list,
			promise_row((enum promise_id)i)->name);
		list = ", ";
	}
	return error_set(err, ERROR_USAGE, "--only names no promise '%s'; there are %s", name, all);
}

static int parse_only(uint32_t *only, const char *list, struct error *err)
{
	char name[64];

	for (*only = 0; list; list = *list ? list + 1 : NULL) {
		size_t n = strcspn(list, ",");

		snprintf(name, sizeof name, "%.*s", n < sizeof name ? (int)n : 63, list);
		if (take_name(only, name, err) < 0)
			return -1;
		list += n;
	}
	return 0;
}

/* What is named must be something that this run asks after. */
static int check_only(const struct audit_plan *p, const struct session *s, struct error *err)
{
	if (p->only & PROMISE_BIT(PROMISE_ID_EJECT) && !p->with_eject)
		return error_set(err, ERROR_USAGE,
			"--only eject needs --with-eject, which sends START STOP UNIT");
	if (p->only & PROMISE_BIT(PROMISE_ID_POWER_CUT) && !s->traits->virtual_clock)
		return error_set(err, ERROR_USAGE,
			"--only power-cut: the audit cuts the power of models only; on hardware "
			"'blkassay cut' does that");
	return 0;
}

static int make_plan(struct audit_plan *p, const struct session *s, const struct options *o,
	uint64_t seed, struct error *err)
{
	uint64_t align = s->traits->offset_align_bytes, bytes = s->region_bytes;

	if (phase_watch_check(o, err) < 0)
		return -1;
	if (o->given[OPTION_SECONDS] && !o->given[OPTION_PROVOKE])
		return error_set(err, ERROR_USAGE,
			"--seconds says how long --provoke waits; it means nothing without it");
	if (bytes < AUDIT_AREA_MIN)
		return error_set(err, ERROR_USAGE,
			"the region holds %llu bytes; an audit needs at least %d KiB",
			(unsigned long long)bytes, AUDIT_AREA_MIN / 1024);
	if (bytes > AUDIT_AREA_DEFAULT)
		bytes = AUDIT_AREA_DEFAULT;
	/* Whole requests of 32 KiB, the longest the probes use. */
	bytes -= bytes % (align > 32768 ? align : 32768);
	*p = (struct audit_plan){ .area_start = s->region_start,
		.area_bytes = bytes,
		.whole_target =
			!s->kept && s->region_start == 0 &&
			s->region_bytes >= s->traits->size_bytes - s->traits->size_bytes % align,
		.seed = seed,
		.with_eject = o->given[OPTION_WITH_EJECT],
		.data_waits = s->kept,
		.provoke = o->given[OPTION_PROVOKE] };
	audit_plan_defaults(p, s->medium);
	p->provoke_ns = options_number(o, OPTION_SECONDS, p->provoke_ns);
	if (parse_only(&p->only, options_text(o, OPTION_ONLY, NULL), err) < 0)
		return -1;
	return check_only(p, s, err);
}

static int keep_promise(void *context, const struct promise *f, struct error *err)
{
	return audit_write_promise(context, f, err);
}

static void ask(void *context, const char *what)
{
	(void)context;
	message_warning("%s", what);
}

/* The exit status; *err says what failed. */
static int run(struct session *s, const struct options *o, const struct audit_plan *p,
	struct record_writer *w, struct promises *found, struct error *err)
{
	/* What nobody asked about does not count; all of it left out shows nothing. */
	static const int statuses[] = {
		[PROMISE_KEPT] = 0,
		[PROMISE_BROKEN] = 1,
		[PROMISE_NOT_SHOWN] = 4,
		[PROMISE_NOT_ASKED] = 4,
	};
	struct phase_watch phases;
	struct command_watcher bus;
	struct progress progress;
	struct audit_hooks hooks = {
		.context = w, .promise = keep_promise, .ask = ask, .watch = &progress.watch
	};
	enum audit_outcome outcome;
	int rc;

	phase_watch_open(&phases, o, s->medium, 1);
	hooks.bus = phase_watch_bus(&phases, &bus);
	progress_start(&progress);
	rc = audit_run(s->medium, p, &hooks, found, &outcome, err);
	progress_finish(&progress, "the audit");
	phase_watch_close(&phases);
	if (rc < 0)
		return error_exit_status(err);
	if (outcome == AUDIT_INTERRUPTED)
		return 130;
	return statuses[promises_conclude(found)];
}

static int audit(struct session *s, const struct options *o, const struct audit_plan *p,
	const char *path, struct error *err)
{
	static struct promises found; /* 35 KiB */
	struct record_writer w;
	struct progress saving;
	int status, rc;

	if (record_run_begin(&w, path, "audit", p->seed, o, s, err) < 0)
		return error_exit_status(err);
	progress_start(&saving);
	saving.counts_bytes = true;
	rc = session_prepare_writes(
		s, &w, p->area_start, p->area_bytes, audit_bytes_to_write(p), &saving.watch, err);
	progress_finish(&saving, NULL);
	if (rc < 0) {
		record_discard(&w); /* nothing was audited, so there is nothing to keep */
		return error_exit_status(err);
	}
	status = session_ended(s, &w, run(s, o, p, &w, &found, err), err);
	if (audit_write_close(&w, &found, err->kind == ERROR_NONE ? err : NULL) < 0 ||
		record_run_end(&w, status, err, err->kind == ERROR_NONE ? err : NULL) < 0)
		return status == 130 ? status : 3;
	return status;
}

int cmd_audit(const struct options *o)
{
	struct error err = { 0 }, close_err = { 0 };
	struct audit_plan plan;
	struct session s = { 0 };
	struct results results = { 0 };
	char path[512];
	int status;

	if (session_open(&s, o, SESSION_WRITES, &err) < 0)
		return message_error(&err);
	if (make_plan(&plan, &s, o, record_run_seed(o), &err) < 0 ||
		session_record_path(path, sizeof path, &s, o, "audit", &err) < 0 ||
		results_open_in(&results, o, path, &s, &err) < 0) {
		status = message_error(&err);
		session_abandon(&s);
		return status;
	}
	message_note("seed %llu; record: %s", (unsigned long long)plan.seed, path);
	status = audit(&s, o, &plan, path, &err);
	if (err.kind != ERROR_NONE)
		message_error(&err);
	else if (status == 130)
		message_warning("interrupted; finished lines are kept in '%s'", path);
	if (session_close(&s, &close_err) < 0) {
		int closed = message_error(&close_err);

		status = status == 130 ? status : closed;
	}
	return results_end(&results, path, status);
}
