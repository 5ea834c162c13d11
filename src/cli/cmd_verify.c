/* blkassay verify: write stamped blocks, read them back, judge every one. */
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/kept_warning.h"
#include "cli/message.h"
#include "cli/progress.h"
#include "cli/record_run.h"
#include "cli/results.h"
#include "cli/session.h"
#include "cli/verify_keep.h"
#include "cli/verify_plan.h"
#include "findings/verify_view.h"

/* One command in hand. */
struct verification {
	const struct options *options;
	struct session session;
	struct verify_record resumed; /* --resume */
	struct verify_plan plan;
	uint64_t spots[VERIFY_RECORD_SPOTS];
	struct verify_result result;
	struct verify_keeper keeper;
	struct record_writer writer;
	struct results results;
	char path[512]; /* of the record */
	bool resuming;
	bool began; /* nothing stands in the way of the first write any more */
};

/* ---- resuming ---- */

static int check_resume_options(const struct options *o, struct error *err)
{
	static const enum option_id fixed[] = { OPTION_ONLY, OPTION_SIZES, OPTION_ORDER,
		OPTION_REGION, OPTION_GENERATIONS, OPTION_SPOT, OPTION_SEED, OPTION_LABEL,
		OPTION_OUT, OPTION_CREATE, OPTION_GIVE_UP_AFTER, OPTION_KEEP_DATA };

	for (size_t i = 0; i < sizeof fixed / sizeof *fixed; i++)
		if (o->given[fixed[i]])
			return error_set(err, ERROR_USAGE,
				"--resume goes on with what the record says; leave out --%s",
				option_spec(fixed[i])->name);
	return 0;
}

static int load_resumed(struct verification *v, struct error *err)
{
	struct verify_record *r = &v->resumed;

	if (check_resume_options(v->options, err) < 0 ||
		verify_load(r, v->options->text[OPTION_RESUME], err) < 0)
		return -1;
	if (r->plan.kept_data) {
		kept_warning(&r->run);
		return error_set(err, ERROR_USAGE,
			"'%s' was run with --keep-data, after which the target's own data is put "
			"back, so there is nothing to go on from; start a new run",
			r->run.path);
	}
	if (r->run.target.modelled)
		return error_set(err, ERROR_USAGE,
			"'%s' was run on a model, whose card is gone with it; start a new run",
			r->run.path);
	if (!r->planned)
		return error_set(err, ERROR_USAGE,
			"'%s' ended before it began, so there is nothing to go on with; start a "
			"new run",
			r->run.path);
	if (r->stated && !strcmp(r->state.outcome, "complete"))
		return error_set(err, ERROR_USAGE, "'%s' is complete; 'blkassay report' shows it",
			r->run.path);
	return 0;
}

/* Is anything left to write? */
static bool resume_writes(const struct verify_record *r)
{
	return r->plan.write &&
	       !(r->stated && r->state.reading && (r->state.pass + 1 == r->state.passes));
}

/* ---- opening ---- */

static int open_plan(struct verification *v, struct error *err)
{
	const struct options *o = v->options;
	struct verify_request request;

	if (v->resuming) {
		if (load_resumed(v, err) < 0 ||
			session_open(&v->session, o,
				resume_writes(&v->resumed) ? SESSION_WRITES : SESSION_READS,
				err) < 0)
			return -1;
		text_copy(v->path, sizeof v->path, o->text[OPTION_RESUME]);
		return verify_plan_resume(&v->plan, &v->resumed, &v->session, err);
	}
	if (verify_request_parse(&request, o, err) < 0 ||
		session_open(&v->session, o, request.write ? SESSION_WRITES : SESSION_READS, err) <
			0)
		return -1;
	if (verify_plan_make(&v->plan, v->spots, &request, &v->session, record_run_seed(o), err) <
		0)
		return -1;
	if (v->plan.write && verify_plan_check_seed(&v->plan, &v->session, err) < 0)
		return -1;
	return session_record_path(v->path, sizeof v->path, &v->session, o, "verify", err);
}

static int open_record(struct verification *v, struct error *err)
{
	struct verify_record_plan described;

	v->keeper = (struct verify_keeper){ .writer = &v->writer, .plan = &v->plan };
	if (v->resuming) {
		verify_keep_resume(&v->result, &v->resumed);
		v->keeper.ranges_written = v->result.damage.range_count;
		if (record_append(&v->writer, v->path, "verify", err) < 0)
			return -1;
		return verify_write_resume(&v->writer, err);
	}
	if (record_run_begin(
		    &v->writer, v->path, "verify", v->plan.seed, v->options, &v->session, err) < 0)
		return -1;
	verify_plan_describe(&described, &v->plan, v->session.kept);
	return verify_write_plan(&v->writer, &described, err);
}

/* ---- running ---- */

static int reopen(void *context, struct medium **m, struct error *err)
{
	struct verification *v = context;
	int rc = session_reopen(&v->session, err);

	*m = v->session.medium;
	return rc;
}

static int checkpoint(void *context, const struct verify_result *r, struct error *err)
{
	struct verification *v = context;

	return verify_keep(&v->keeper, r, "running", err);
}

static void announce(const struct verification *v)
{
	const struct verify_plan *p = &v->plan;
	char size[SIZE_TEXT_MAX];

	if (p->spots)
		message_note("%llu place%s of %s%s", (unsigned long long)p->spot_count,
			text_plural(p->spot_count), size_format(size, p->sizes[0]),
			v->session.traits->virtual_clock ? ", on modelled time" : "");
	message_note("seed %llu; record: %s", (unsigned long long)p->seed, v->path);
}

static int prepare_writes(struct verification *v, const struct watch *watch, struct error *err)
{
	const struct verify_plan *p = &v->plan;

	if (!p->write || (v->resuming && !resume_writes(&v->resumed)))
		return 0;
	if (p->spots)
		return session_prepare_places(&v->session, &v->writer,
			&(struct session_places){ p->spots, (size_t)p->spot_count, p->sizes[0] },
			(double)verify_bytes_to_write(p), watch, err);
	return session_prepare_writes(&v->session, &v->writer, p->region_start, p->region_bytes,
		(double)verify_bytes_to_write(p), watch, err);
}

static int run(struct verification *v, struct error *err)
{
	struct verify_hooks hooks = { .context = v,
		.checkpoint = checkpoint,
		.resumable = !v->session.kept && !v->session.traits->virtual_clock };
	struct progress progress;
	int rc;

	/* A model lives only as long as it is open, and the host caches nothing of it. */
	if (!v->session.traits->virtual_clock)
		hooks.reopen = reopen;
	progress_start(&progress);
	/* A virtual clock runs faster than the one on the wall: a rate would be neither's. */
	progress.counts_bytes = !v->session.traits->virtual_clock;
	hooks.watch = &progress.watch;
	rc = prepare_writes(v, &progress.watch, err);
	v->began = rc == 0;
	if (rc < 0)
		v->result.outcome =
			err->kind == ERROR_INTERRUPTED ? VERIFY_INTERRUPTED : VERIFY_FAILED;
	else
		rc = verify_run(&v->session.medium, &v->plan, &hooks, &v->result, err);
	progress_finish(&progress, "verifying");
	return rc;
}

/* ---- the end ---- */

static int status_of(const struct verification *v, const struct error *err)
{
	const struct verify_result *r = &v->result;

	if (r->outcome == VERIFY_INTERRUPTED)
		return 130;
	if (r->outcome == VERIFY_FAILED)
		return error_exit_status(err);
	if (r->reads.requests || r->writes.requests || r->flush_errno ||
		r->outcome == VERIFY_GAVE_UP)
		return 1;
	if (verify_has_no_trace(&r->damage.totals, v->plan.write))
		return 4;
	return damage_totals_damaged(&r->damage.totals) ? 1 : 0;
}

static int close_record(struct verification *v, int status, const struct error *why)
{
	struct error err = { 0 };
	int rc = verify_keep(&v->keeper, &v->result, verify_keep_outcome(v->result.outcome), &err);

	if (record_run_end(&v->writer, status, why, rc < 0 ? NULL : &err) < 0)
		rc = -1;
	if (rc < 0) {
		message_error(&err);
		return status == 0 || status == 1 || status == 4 ? 3 : status;
	}
	return status;
}

static int show_from(struct verification *v, struct verify_record *shown, struct error *err)
{
	struct view view;
	int rc;

	if (verify_keep_show(shown, &v->plan, &v->result, err) < 0 ||
		verify_view(&view, shown, err) < 0)
		return -1;
	rc = results_show(&v->results, &view, err);
	view_release(&view);
	if (!rc && v->results.any_file)
		kept_warning(&shown->run);
	return rc < 0 ? rc : results_finish(&v->results, err);
}

/* From memory, so that it is shown even where the record could not be written to its end. */
static int show(struct verification *v, int status)
{
	struct verify_record shown;
	struct error err = { 0 };
	int failed = 0;

	if (verify_load(&shown, v->path, &err) < 0) {
		failed = message_error(&err);
		return status == 0 ? failed : status;
	}
	if (show_from(v, &shown, &err) < 0)
		failed = message_error(&err);
	verify_record_release(&shown);
	return failed && (status == 0 || status == 1 || status == 4) ? failed : status;
}

/* From an open session to a closed record. */
static int carry_out(struct verification *v)
{
	struct error err = { 0 }, close_err = { 0 };
	int status;

	if (verify_result_init(&v->result, &v->plan, &err) < 0 ||
		results_open_in(&v->results, v->options, v->path, &v->session, &err) < 0 ||
		open_record(v, &err) < 0) {
		status = message_error(&err);
		record_close(&v->writer, NULL);
		session_abandon(&v->session);
		return status;
	}
	announce(v);
	run(v, &err);
	status = session_ended(&v->session, &v->writer, status_of(v, &err), &err);
	if (err.kind != ERROR_NONE && err.kind != ERROR_INTERRUPTED)
		message_error(&err);
	if (status == 2 && !v->began && !v->resuming) { /* nothing was done, so nothing is kept */
		record_discard(&v->writer);
		session_abandon(&v->session);
		return status;
	}
	status = close_record(v, status, &err);
	if (session_close(&v->session, &close_err) < 0) {
		int closed = message_error(&close_err);

		status = status == 0 || status == 1 || status == 4 ? closed : status;
	}
	if (status == 130)
		message_warning("interrupted; what is known is kept in '%s'", v->path);
	return show(v, status);
}

int cmd_verify(const struct options *o)
{
	struct verification *v = calloc(1, sizeof *v);
	struct error err = { 0 };
	int status;

	if (!v) {
		error_set(&err, ERROR_IO, "out of memory");
		return message_error(&err);
	}
	v->options = o;
	v->resuming = o->given[OPTION_RESUME];
	v->writer.fd = -1;
	if (open_plan(v, &err) < 0) {
		status = message_error(&err);
		session_abandon(&v->session);
	} else {
		status = carry_out(v);
	}
	results_release(&v->results);
	damage_release(&v->result.damage);
	verify_record_release(&v->resumed);
	free(v);
	return status;
}
