/* blkassay cut: write with a journal until power or plug is cut. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/advice.h"
#include "base/buffer.h"
#include "base/error.h"
#include "base/random.h"
#include "base/size.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/cut_return.h"
#include "cli/cut_verdict.h"
#include "cli/message.h"
#include "cli/progress.h"
#include "cli/record_run.h"
#include "cli/results.h"
#include "cli/session.h"
#include "findings/cut_view.h"
#include "integrity/cut.h"
#include "integrity/stamp.h"
#include "platform/child.h"
#include "platform/interrupt.h"

enum {
	DEFAULT_REGION = 8 << 20,
	PROBE_BYTES = 1 << 20,
	PROBE_CHUNK = 64 << 10,
	PLAN_WRITES = 4096,
	AWAIT_WRITES = 64
};

static const uint64_t second_ns = 1000000000;
static const uint64_t default_window_ns = UINT64_C(10) * 1000000000;
static const uint64_t patience_ns = UINT64_C(5) * 1000000000;
/* So that a cut falls into a drain as well; no longer than the writes themselves pause. */
static const uint64_t model_idle_max_ns = 5000000;

struct cut_job {
	const struct options *o;
	struct session session;
	char path[512];
	uint64_t seed;
	uint32_t cycles;
	bool model;
	struct record_writer writer;
	struct child child;
	struct cut_trigger trigger;
	struct cut_totals totals;
};

/* ---- the trigger ---- */

static int pull(void *context, struct error *err)
{
	struct cut_job *job = context;
	int rc = child_start(&job->child, job->o->text[OPTION_CUT_WITH]);

	return rc < 0 ? error_sys(err, ERROR_IO, -rc, "cannot run '%s'",
				job->o->text[OPTION_CUT_WITH])
		      : 0;
}

static bool ended(void *context)
{
	return child_ended(&((struct cut_job *)context)->child);
}

/* ---- what was asked ---- */

static int check_request(const struct cut_job *job, struct error *err)
{
	const struct options *o = job->o;

	if (job->model && o->given[OPTION_CUT_WITH])
		return error_set(
			err, ERROR_USAGE, "a model cuts its own power; leave out --cut-with");
	if (!job->model && job->cycles > 1 && o->given[OPTION_SECONDS] &&
		!o->given[OPTION_CUT_WITH])
		return error_set(err, ERROR_USAGE,
			"--cycles needs a cut in every cycle: leave out --seconds and pull the "
			"plug, or name the command that cuts with --cut-with");
	if (!job->model && job->cycles > 1 && o->given[OPTION_KEEP_DATA])
		return error_set(err, ERROR_USAGE,
			"--keep-data goes with one cut at a time, because after the cut the region "
			"holds test data; use --erase, or leave out --cycles");
	return 0;
}

/* A short region by default: more than any gadget buffers, and quick to stamp and read back over a slow link. */
static int choose_region(struct cut_job *job, struct error *err)
{
	struct session *s = &job->session;
	uint64_t cell = cut_plan_cell_bytes(s->traits->offset_align_bytes);
	uint64_t most =
		(uint64_t)JOURNAL_BLOCKS_MAX * stamp_block_bytes(s->traits->offset_align_bytes);
	char size[SIZE_TEXT_MAX];

	if (!job->o->given[OPTION_REGION] && s->region_bytes > DEFAULT_REGION)
		s->region_bytes = DEFAULT_REGION;
	if (s->region_bytes < cell)
		return error_set(err, ERROR_USAGE,
			"the region is shorter than %s, too short to cut", size_format(size, cell));
	if (s->region_bytes > most)
		return error_set(err, ERROR_USAGE,
			"the region is longer than %s, more than a cut keeps track of; name a "
			"shorter --region",
			size_format(size, most));
	return 0;
}

/* B/s of reading, for a guess at how much will be written; 0 when unknown. */
static double read_rate(struct session *s)
{
	void *buf = buffer_new(PROBE_CHUNK, s->traits->memory_align_bytes);
	uint64_t begun = medium_now_ns(s->medium), done = 0, ns;

	while (buf && done < PROBE_BYTES && done + PROBE_CHUNK <= s->region_bytes) {
		size_t got = 0;

		if (medium_read(s->medium, s->region_start + done, buf, PROBE_CHUNK, &got) < 0 ||
			!got)
			break;
		done += got;
	}
	free(buf);
	ns = medium_since_ns(s->medium, begun);
	return ns ? (double)done * 1e9 / (double)ns : 0;
}

/* B/s of the writes to come, from their lengths and pauses and how fast the target reads; 0 when unknown. Flushes come on
 * top, so it is less in truth. */
static double write_rate(struct cut_job *job)
{
	const struct session *s = &job->session;
	double reads = read_rate(&job->session), bytes = 0, pauses = 0;
	struct cut_plan plan;
	struct cut_write w;

	cut_plan_init(
		&plan, job->seed, s->region_start, s->region_bytes, s->traits->offset_align_bytes);
	for (int i = 0; i < PLAN_WRITES; i++) {
		cut_plan_next(&plan, &w);
		bytes += w.bytes;
		pauses += (double)w.pause_ns / 1e9;
	}
	return reads > 0 ? bytes / (bytes / reads + pauses) : 0;
}

static uint64_t window_ns(const struct cut_job *job)
{
	if (job->o->given[OPTION_SECONDS])
		return job->o->number[OPTION_SECONDS];
	return job->model || job->o->given[OPTION_CUT_WITH] ? default_window_ns : 0;
}

static double expected_bytes(struct cut_job *job)
{
	uint64_t ns = window_ns(job);
	double one;

	/* Without an end, a minute stands for "until you pull the plug". */
	one = (double)job->session.region_bytes +
	      write_rate(job) * (double)(ns ? ns : 60 * second_ns) / 1e9;
	return one * job->cycles;
}

static uint64_t cycle_seed(const struct cut_job *job, uint32_t number)
{
	return random_at(job->seed, number);
}

/* As many cuts right after a flush as after a write without one, and as many after a write with FUA where there is such a
 * thing; all after a plain write where its answer is a promise by itself. */
static enum cut_moment moment_of(const struct medium_traits *t, uint64_t seed)
{
	if (t->cache == MEDIUM_CACHE_WRITE_THROUGH)
		return CUT_AFTER_PLAIN;
	if (t->fua && seed % 3 == 2)
		return CUT_AFTER_THROUGH;
	return seed & 2 ? CUT_AFTER_FLUSH : CUT_AFTER_PLAIN;
}

static struct cut_settings settings_of(struct cut_job *job, uint32_t number)
{
	const struct session *s = &job->session;
	uint64_t seed = cycle_seed(job, number), window = window_ns(job), moment;
	struct cut_settings out = {
		.cycle = { .number = number,
			.seed = seed,
			.region_start = s->region_start,
			.region_bytes = s->region_bytes,
			.block_bytes = stamp_block_bytes(s->traits->offset_align_bytes),
			.promise = s->traits->cache == MEDIUM_CACHE_WRITE_THROUGH
					   ? PROMISE_ACKNOWLEDGED
					   : PROMISE_FLUSHED },
		.patience_ns = patience_ns
	};
	cut_verdict_plug(&out.cycle.plug, s);

	/* Anywhere in the last nine tenths of the window. */
	moment = window / 10 +
		 (uint64_t)(0.9 * (double)window * ((double)(random_mix(seed) >> 11) * 0x1p-53));
	if (job->model || job->o->given[OPTION_CUT_WITH]) {
		out.moment = moment_of(s->traits, seed);
		out.await_writes = AWAIT_WRITES;
	}
	if (job->o->given[OPTION_CUT_WITH])
		out.pull_after_ns = moment ? moment : 1;
	else if (job->model)
		out.end_after_ns = moment ? moment : 1;
	else
		out.end_after_ns = window;
	return out;
}

/* ---- one cut ---- */

static int write_until_cut(
	struct cut_job *job, uint32_t number, struct cut_summary *summary, struct error *err)
{
	struct cut_settings settings = settings_of(job, number);
	struct progress progress;
	int rc;

	progress_start(&progress);
	rc = cut_run(job->session.medium, &settings, &job->trigger, &job->writer, &progress.watch,
		summary, err);
	progress_finish(&progress, NULL);
	if (summary->pulled)
		child_finish(&job->child, patience_ns * 12);
	if (summary->pulled && job->child.status)
		message_warning("'%s' ended with status %d", job->o->text[OPTION_CUT_WITH],
			job->child.status);
	return rc;
}

static void describe_failure(
	const struct cut_job *job, const struct cut_summary *c, struct error *err)
{
	if (medium_lost(job->session.medium)) {
		medium_explain(job->session.medium, err);
		error_add(err, ", then cut again: this one does not count");
		return;
	}
	if (!strcmp(c->failure.what, "flush"))
		error_sys(err, ERROR_IO, c->failure.code, "a flush failed");
	else if (c->failure.code)
		error_sys(err, ERROR_IO, c->failure.code,
			"a write of %llu bytes at byte %llu failed",
			(unsigned long long)c->failure.wanted, (unsigned long long)c->failure.at);
	else
		error_set(err, ERROR_IO, "a write at byte %llu ended after %llu of %llu bytes",
			(unsigned long long)c->failure.at, (unsigned long long)c->failure.got,
			(unsigned long long)c->failure.wanted);
	error_add(err, ", and the target still answers, so nothing was cut");
}

/* What is wrong with an ending, as an error; NONE when it is one to recheck. */
static void judge_ending(const struct cut_job *job, const struct cut_summary *c, struct error *err)
{
	if (c->ending == CUT_INTERRUPTED)
		error_set(err, ERROR_INTERRUPTED,
			!c->ready           ? "interrupted before the baseline was written"
			: job->session.kept ? "interrupted; the region's own data is put back, so "
					      "there is nothing to recheck"
					    : "interrupted; the journal can be rechecked");
	else if (c->ending == CUT_FAILED)
		describe_failure(job, c, err);
	else if (c->ending == CUT_REMAINS)
		error_set(err, ERROR_IO,
			"'%s' has ended and the target still answers %llu s later: nothing was cut",
			job->o->text[OPTION_CUT_WITH],
			(unsigned long long)(patience_ns / second_ns));
	else if (c->ending == CUT_GONE && !c->ready)
		error_set(err, ERROR_IO,
			"the target went away before the baseline was written: nothing can be "
			"rechecked; cut again");
}

static void tell(const struct cut_job *job, const struct cut_summary *c)
{
	char bytes[SIZE_TEXT_MAX], risk[SIZE_TEXT_MAX], time[SIZE_TEXT_MAX];

	/* Of several cuts the table at the end says it, and one line each is enough until then. */
	if (job->cycles == 1)
		message_note("%llu write%s (%s, %llu by FUA) and %llu flush%s in %s; %s "
			     "acknowledged but not flushed",
			(unsigned long long)c->writes, text_plural(c->writes),
			size_format_decimal(bytes, (double)c->bytes),
			(unsigned long long)c->throughs, (unsigned long long)c->flushes,
			text_plural_es(c->flushes), duration_format(time, (double)c->ns / 1e9),
			size_format_decimal(risk, (double)c->bytes_at_risk));
	if (c->device_errors)
		message_warning(
			"the kernel counted %llu error%s or reset%s of the device while it was "
			"written; %s",
			(unsigned long long)c->device_errors, text_plural(c->device_errors),
			text_plural(c->device_errors),
			advice_errors(job->session.traits->virtual_clock));
}

/* ---- cut and recheck ---- */

/* One line a cut, as it goes; the results come at the end. */
static void tell_verdict(const struct recheck_result *r)
{
	static const char *const words[] = {
		[RECHECK_KEPT] = "kept",
		[RECHECK_BROKEN] = "broken",
		[RECHECK_NOT_SHOWN] = "not shown",
	};

	char damage[48] = "no damaged blocks";
	uint64_t broken = recheck_broken(r);

	if (broken)
		snprintf(damage, sizeof damage, "%llu damaged block%s", (unsigned long long)broken,
			broken == 1 ? "" : "s");
	message_note("cut %lu: %s; %llu of %llu promise%s broken, %s", (unsigned long)r->cycle,
		words[recheck_conclude(r)], (unsigned long long)r->promises_broken,
		(unsigned long long)r->promises, text_plural(r->promises), damage);
}

static int recheck_here(struct cut_job *job, struct error *err)
{
	struct recheck_result r;
	int rc;

	if (cut_verdict(&job->session, job->path, &r, err) < 0)
		return -1;
	tell_verdict(&r);
	cut_totals_add(&job->totals, &r);
	rc = recheck_write(&job->writer, &r, err);
	recheck_result_release(&r);
	return rc;
}

static int bring_back(struct cut_job *job, struct error *err)
{
	if (job->model) {
		uint64_t seed = random_at(job->seed, UINT32_MAX + job->totals.rechecked);
		int rc;

		/* Half the cuts follow the last answer at once. */
		medium_idle_ns(job->session.medium, seed & 1 ? seed % model_idle_max_ns : 0);
		rc = medium_replug(job->session.medium, true);
		return rc < 0 ? error_sys(err, ERROR_IO, -rc, "cannot replug the model") : 0;
	}
	if (job->session.traits->kind == MEDIUM_IMAGE) /* it cannot come back under its name */
		return session_reopen(&job->session, err);
	return cut_return_wait(
		&job->session, job->o, job->o->given[OPTION_CUT_WITH] ? 120 * second_ns : 0, err);
}

static int leave_kept(struct cut_job *job, struct error *err)
{
	struct text command;
	int rc;

	text_init(&command);
	rc = session_leave_kept(&job->session, &job->writer, &command, err);
	if (command.length)
		message_note("then put the region's own data back:\n    %s", command.bytes);
	text_release(&command);
	return rc;
}

static int one_cycle(struct cut_job *job, uint32_t number, struct error *err)
{
	struct cut_summary summary;

	if (job->cycles > 1 && !job->model)
		message_note("cut %lu of %lu", (unsigned long)number, (unsigned long)job->cycles);
	if (write_until_cut(job, number, &summary, err) < 0)
		return -1;
	judge_ending(job, &summary, err);
	if (summary.ready && summary.ending != CUT_FAILED)
		tell(job, &summary);
	if (err->kind != ERROR_NONE)
		return -1;
	if (!job->model && job->cycles == 1)
		return leave_kept(job, err);
	if (bring_back(job, err) < 0)
		return -1;
	return recheck_here(job, err);
}

static int run_cycles(struct cut_job *job, struct error *err)
{
	int rc = 0;

	for (uint32_t n = 1; n <= job->cycles && rc == 0; n++) {
		if (interrupt_requested())
			rc = error_set(err, ERROR_INTERRUPTED, "interrupted after %lu cut%s",
				(unsigned long)n - 1, text_plural(n - 1));
		else
			rc = one_cycle(job, n, err);
	}
	return rc;
}

/* A cut whose recheck is yet to come is what was asked for. */
static int status_of(const struct cut_totals *t)
{
	if (t->broken)
		return 1;
	return t->rechecked && cut_totals_conclude(t) == RECHECK_NOT_SHOWN ? 4 : 0;
}

/* What will come to no verdict, however it goes. */
static void caution_nothing_cut(const struct cut_job *job)
{
	const struct options *o = job->o;

	if (job->model || o->given[OPTION_CUT_WITH])
		return;
	if (!advice_has_plug(job->session.traits->transport))
		message_warning("'%s' has no plug to pull, so this run can test no promise; cut a "
				"device, or a model",
			job->session.traits->path);
	else if (o->given[OPTION_SECONDS])
		message_warning("after --seconds the target has time to store everything: a later "
				"cut can show what is broken, but not what is kept; pull the plug "
				"while it is written, or use --cut-with");
}

/* Said once in a run, before anything is switched; --quiet does not silence it. */
static void caution_power(const struct cut_job *job)
{
	if (job->o->given[OPTION_CUT_WITH])
		message_warning("switch nothing but the gadget's own low-voltage supply (USB's 5 "
				"V, a hub port made for it, a bench supply); never mains; never "
				"short or back-feed a battery; discharge yourself before you touch "
				"cards and boards; blkassay-cut(7), Cautions, has the rest");
}

static int cut(struct cut_job *job, struct error *err)
{
	struct session *s = &job->session;
	struct error end_err = { 0 };
	struct progress progress;
	int status, rc;

	if (record_run_begin(&job->writer, job->path, JOURNAL_KIND, job->seed, job->o, s, err) < 0)
		return error_exit_status(err);
	caution_power(job);
	progress_start(&progress);
	progress.counts_bytes = true;
	s->run.seed = cycle_seed(job, 1); /* with kept data there is no second cut */
	rc = session_prepare_writes(s, &job->writer, s->region_start, s->region_bytes,
		expected_bytes(job), &progress.watch, err);
	progress_finish(&progress, NULL);
	if (rc < 0 && error_exit_status(err) == 2) {
		record_discard(&job->writer); /* nothing was done, so nothing is kept */
		session_abandon(s);
		return 2;
	}
	if (rc == 0 && medium_keep_telltales(s->medium) < 0)
		rc = error_set(err, ERROR_IO, "out of memory");
	if (rc == 0)
		rc = run_cycles(job, err);
	status = rc < 0 ? error_exit_status(err) : status_of(&job->totals);
	status = session_ended(s, &job->writer, status, err);
	if (record_run_end(&job->writer, status, err, &end_err) < 0 && status != 3) {
		*err = end_err;
		status = 3;
	}
	return status;
}

int cmd_cut(const struct options *o)
{
	struct cut_job job = { .o = o,
		.cycles = (uint32_t)options_number(o, OPTION_CYCLES, 1),
		.seed = record_run_seed(o),
		.model = !strncmp(o->args[0], "model:", 6),
		.trigger = { .context = &job, .pull = pull, .ended = ended } };
	struct error err = { 0 }, close_err = { 0 };
	struct results results = { 0 };
	int status;

	if (check_request(&job, &err) < 0 ||
		session_open(&job.session, o, SESSION_WRITES, &err) < 0)
		return message_error(&err);
	if (choose_region(&job, &err) < 0 ||
		session_record_path(
			job.path, sizeof job.path, &job.session, o, JOURNAL_KIND, &err) < 0 ||
		results_open_in(&results, o, job.path, &job.session, &err) < 0) {
		status = message_error(&err);
		session_abandon(&job.session);
		return status;
	}
	message_note("seed %llu; journal: %s", (unsigned long long)job.seed, job.path);
	caution_nothing_cut(&job);
	status = cut(&job, &err);
	if (err.kind != ERROR_NONE)
		message_error(&err);
	if (session_close(&job.session, &close_err) < 0) {
		int closed = message_error(&close_err);

		status = status == 0 || status == 1 || status == 4 ? closed : status;
	}
	return results_end(&results, job.path, status);
}
