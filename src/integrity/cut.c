/* Writes with a journal until the target is cut off. */
#include "integrity/cut.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/advice.h"
#include "base/buffer.h"
#include "base/error.h"
#include "base/text.h"
#include "integrity/stamp.h"
#include "medium/medium.h"
#include "medium/scsi.h"
#include "medium/scsi_sense.h"

enum {
	CHUNK_BYTES = 128 * 1024, /* of the baseline; no write is longer */
	BATCH = 64, /* writes announced with one sync of the journal */
	PROBES = 3,
	UNIT_ATTENTIONS_MAX = 3, /* a flush that met one was not done: SPC-4 5.14, sent again */
};

static const uint64_t probe_after_ns = 500000000; /* a bus reset takes about that; from memory */

struct cutting {
	struct medium *m;
	const struct cut_settings *settings;
	const struct cut_trigger *trigger;
	struct record_writer *journal;
	const struct watch *watch;
	struct cut_summary *out;
	struct error *err;
	struct stamp stamp;
	struct cut_plan plan;
	struct cut_write batch[BATCH];
	void *buf;
	uint64_t batch_ns; /* the last whole batch took */
	uint64_t begun_ns, ended_ns; /* baseline done; trigger ended */
	uint64_t errors_before, errors_seen; /* by the kernel's count; the latter before the cut */
	bool ended;
	enum cut_moment last; /* what the target did last */
	uint32_t awaited; /* writes since the cut was due */
	char phase[80]; /* what the user sees while it writes */
	bool kernel_flushes; /* the kernel sends none to what it takes for write-through */
	bool flushes; /* a flush reaches the device, one way or the other */
};

/* What one step of the work says: go on, the phase is over (out->ending is set), or the journal failed. */
enum progress { GO_ON, OVER, BROKEN };

static uint64_t now_ns(const struct cutting *c)
{
	return medium_now_ns(c->m);
}

/* After an error: does the target still answer anywhere? */
static bool still_answers(struct cutting *c)
{
	const struct journal_cycle *y = &c->settings->cycle;
	size_t block = medium_traits(c->m)->offset_align_bytes;

	for (uint64_t i = 0; i < PROBES; i++) {
		uint64_t at = y->region_start + y->region_bytes / PROBES * i;
		size_t got = 0;

		if (medium_read(c->m, at - at % block, c->buf, block, &got) == 0 && got == block)
			return true;
	}
	return false;
}

static bool is_gone_code(int code)
{
	return code == ENODEV || code == ENXIO || code == ENOMEDIUM || code == ESHUTDOWN;
}

static uint64_t kernel_errors(const struct cutting *c)
{
	struct medium_counts n;

	return medium_counts(c->m, &n) == 0 && n.errors_known ? n.errors : 0;
}

/* Of a target that is gone nothing can be asked, and its end is an error: then those count that came before. */
static void note_errors(struct cutting *c, enum cut_ending ending)
{
	bool ended_well = ending != CUT_GONE && ending != CUT_FAILED;
	uint64_t now = ended_well ? kernel_errors(c) : c->errors_seen;

	if (c->out->ready && now > c->errors_before)
		c->out->device_errors = now - c->errors_before;
}

static enum progress finish(struct cutting *c, enum cut_ending ending)
{
	note_errors(c, ending);
	c->out->ending = ending;
	c->out->ns = c->begun_ns ? now_ns(c) - c->begun_ns : 0;
	return journal_write_stop(c->journal, cut_ending_name(ending), c->out->failure.code,
		       c->out->device_errors, now_ns(c), c->err) < 0
		       ? BROKEN
		       : OVER;
}

static enum progress failed(
	struct cutting *c, const char *what, int rc, uint64_t at, uint64_t wanted, uint64_t got)
{
	c->out->failure.what = what;
	c->out->failure.code = -rc;
	c->out->failure.at = at;
	c->out->failure.wanted = wanted;
	c->out->failure.got = got;
	/* After the trigger an error or a transfer that ended early is the cut, even of a target that comes back at once. */
	if (is_gone_code(-rc) || c->out->pulled)
		return finish(c, CUT_GONE);
	medium_idle_ns(c->m, probe_after_ns);
	rc = medium_check(c->m, MEDIUM_CHECK_FAILED);
	if (rc == -ESTALE)
		return finish(c, CUT_FAILED);
	return finish(c, rc < 0 || !still_answers(c) ? CUT_GONE : CUT_FAILED);
}

/* To a device that the kernel takes for write-through the command has to be sent past it. */
static int flush_by_scsi(struct cutting *c)
{
	struct scsi_sense sense = { 0 };
	struct scsi_exchange x;
	int rc, tries = UNIT_ATTENTIONS_MAX;

	do {
		scsi_build_synchronize_cache(&x, 0, 0, false);
		rc = medium_scsi(c->m, &x);
		if (rc < 0 || scsi_completed(&x))
			return rc;
		scsi_sense_decode(&sense, x.sense, x.sense_length);
	} while (sense.key == SENSE_UNIT_ATTENTION && !sense.deferred && tries--);
	return -EIO;
}

static int flush_device(struct cutting *c)
{
	int rc = medium_flush(c->m);

	return rc < 0 || c->kernel_flushes ? rc : flush_by_scsi(c);
}

static enum progress write_baseline(struct cutting *c)
{
	const struct journal_cycle *y = &c->settings->cycle;
	uint64_t done = 0;

	while (done < y->region_bytes) {
		uint64_t left = y->region_bytes - done, at = y->region_start + done;
		size_t n = left < CHUNK_BYTES ? (size_t)left : CHUNK_BYTES, got = 0;
		int rc;

		if (watch_should_stop(c->watch))
			return finish(c, CUT_INTERRUPTED);
		stamp_fill_range(&c->stamp, c->buf, n, at, CUT_BASELINE);
		rc = medium_write(c->m, at, c->buf, n, &got);
		if (rc < 0 || got < n)
			return failed(c, "write", rc, at, n, got);
		done += n;
		watch_step(c->watch, &(struct watch_step){ .phase = "writing the baseline",
					     .done = done,
					     .total = y->region_bytes,
					     .seconds_left = -1 });
	}
	int rc = medium_flush(c->m);
	if (rc < 0)
		return failed(c, "flush", rc, 0, 0, 0);
	if (journal_write_ready(c->journal, now_ns(c), c->err) < 0)
		return BROKEN;
	c->out->ready = true;
	c->errors_before = c->errors_seen = kernel_errors(c);
	c->begun_ns = now_ns(c);
	return GO_ON;
}

static enum progress flush(struct cutting *c, uint32_t through)
{
	int rc;

	if (journal_write_flush(c->journal, through, now_ns(c), c->err) < 0)
		return BROKEN;
	rc = flush_device(c);
	if (rc < 0)
		return failed(c, "flush", rc, 0, 0, 0);
	if (journal_write_stored(c->journal, through, now_ns(c), c->err) < 0)
		return BROKEN;
	c->last = CUT_AFTER_FLUSH;
	c->out->flushes++;
	c->out->writes_at_risk = c->out->bytes_at_risk = 0;
	return GO_ON;
}

/* *through is cleared where the target offers no such write. */
static int send(struct cutting *c, const struct cut_write *w, bool *through, size_t *got)
{
	int rc = -ENOTSUP;

	if (*through)
		rc = medium_write_through(c->m, w->at, c->buf, w->bytes, got);
	/* EOPNOTSUPP, which Linux gives for this, is the same number. */
	*through = *through && rc != -ENOTSUP;
	return *through ? rc : medium_write(c->m, w->at, c->buf, w->bytes, got);
}

static enum progress write_one(struct cutting *c, const struct cut_write *w)
{
	bool pulled = c->out->pulled;
	bool through = (pulled ? c->settings->moment == CUT_AFTER_THROUGH : w->through) &&
		       c->kernel_flushes;
	bool flushed = pulled ? c->settings->moment == CUT_AFTER_FLUSH : w->flush;
	uint64_t sent = now_ns(c);
	size_t got = 0;
	int rc;

	stamp_fill_range(&c->stamp, c->buf, w->bytes, w->at, w->number);
	rc = send(c, w, &through, &got);
	if (rc < 0 || got < w->bytes)
		return failed(c, "write", rc, w->at, w->bytes, got);
	if (journal_write_done(c->journal, w->number, through, sent, now_ns(c), c->err) < 0)
		return BROKEN;
	c->last = through ? CUT_AFTER_THROUGH : CUT_AFTER_PLAIN;
	c->out->writes++;
	c->out->bytes += w->bytes;
	c->out->throughs += through;
	c->out->writes_at_risk += !through;
	c->out->bytes_at_risk += through ? 0 : w->bytes;
	return flushed && c->flushes ? flush(c, w->number) : GO_ON;
}

static void tell_progress(struct cutting *c, uint64_t passed_ns)
{
	const struct cut_settings *s = c->settings;
	struct watch_step step = { .phase = c->phase, .seconds_left = -1 };

	if (c->out->pulled) {
		snprintf(c->phase, sizeof c->phase, "writing; the command that cuts %s",
			c->ended ? "has ended" : "runs");
	} else if (s->end_after_ns || s->pull_after_ns) {
		text_copy(c->phase, sizeof c->phase, "writing until the cut");
		step.done = passed_ns / 1000000;
		step.total = (s->end_after_ns ? s->end_after_ns : s->pull_after_ns) / 1000000;
	} else {
		snprintf(c->phase, sizeof c->phase, "writing, %llu s; %s",
			(unsigned long long)(passed_ns / 1000000000),
			advice_has_plug(medium_traits(c->m)->transport)
				? "pull the plug at any moment"
				: "Ctrl-C ends");
	}
	watch_step(c->watch, &step);
}

/* Is something due that was planned for that moment? */
static bool is_due(struct cutting *c, uint64_t moment_ns, uint64_t passed_ns)
{
	const struct cut_settings *s = c->settings;

	if (!moment_ns || passed_ns < moment_ns)
		return false;
	return s->moment == CUT_AT_ANY || s->moment == c->last || c->awaited++ >= s->await_writes;
}

static enum progress look_at_clock(struct cutting *c)
{
	const struct cut_settings *s = c->settings;
	uint64_t passed = now_ns(c) - c->begun_ns;

	if (watch_should_stop(c->watch))
		return finish(c, CUT_INTERRUPTED);
	if (!c->out->pulled && is_due(c, s->pull_after_ns, passed)) {
		if (journal_write_pull(c->journal, now_ns(c), c->err) < 0 ||
			c->trigger->pull(c->trigger->context, c->err) < 0)
			return BROKEN;
		c->out->pulled = true;
	}
	if (c->out->pulled && !c->ended && c->trigger->ended(c->trigger->context)) {
		c->ended = true;
		c->ended_ns = now_ns(c);
	}
	if (c->ended && now_ns(c) - c->ended_ns >= s->patience_ns)
		return finish(c, CUT_REMAINS);
	if (is_due(c, s->end_after_ns, passed))
		return finish(c, CUT_TIME_UP);
	tell_progress(c, passed);
	return GO_ON;
}

/* Idles up to the moment something is due: the cut must be able to fall into a pause too. */
static void pause_for(struct cutting *c, uint64_t ns)
{
	uint64_t due = c->settings->end_after_ns, passed = now_ns(c) - c->begun_ns;

	if (!c->out->pulled && c->settings->pull_after_ns)
		due = c->settings->pull_after_ns;
	if (due && passed < due && due - passed < ns)
		ns = due - passed;
	if (ns)
		medium_idle_ns(c->m, ns);
}

/* What is announced is sent as it is: shortly before the trigger is due one write at a time. */
static int batch_size(struct cutting *c)
{
	const struct cut_settings *s = c->settings;
	uint64_t passed = now_ns(c) - c->begun_ns;
	bool soon = s->moment != CUT_AT_ANY && s->pull_after_ns && !c->out->pulled &&
		    passed + 2 * c->batch_ns >= s->pull_after_ns;

	return soon ? 1 : BATCH;
}

/* Once the trigger works, short writes without a pause: so the cut comes soon after an answer, whenever it comes. */
static void plan_batch(struct cutting *c, int n)
{
	bool hurry = c->out->pulled && c->settings->moment != CUT_AT_ANY;

	for (int i = 0; i < n; i++) {
		struct cut_write *w = &c->batch[i];

		cut_plan_next(&c->plan, w);
		if (hurry) {
			w->bytes = c->settings->cycle.block_bytes;
			w->pause_ns = 0;
		}
	}
}

static enum progress write_batch(struct cutting *c)
{
	uint64_t begun = now_ns(c);
	int n = batch_size(c), rc = medium_check(c->m, MEDIUM_CHECK_BATCH);

	if (rc < 0)
		return failed(c, "write", rc, 0, 0, 0);
	if (!c->out->pulled)
		c->errors_seen = kernel_errors(c);
	plan_batch(c, n);
	if (journal_write_intents(c->journal, c->batch, (size_t)n, now_ns(c), c->err) < 0)
		return BROKEN;
	for (int i = 0; i < n; i++) {
		enum progress p = look_at_clock(c);

		if (p == GO_ON)
			p = write_one(c, &c->batch[i]);
		if (p != GO_ON)
			return p;
		pause_for(c, c->batch[i].pause_ns);
	}
	if (n == BATCH)
		c->batch_ns = now_ns(c) - begun;
	/* The last number a generation can hold is out of reach for any run of less than years. */
	return c->plan.next < UINT32_MAX - BATCH ? GO_ON : finish(c, CUT_TIME_UP);
}

int cut_run(struct medium *m, const struct cut_settings *settings,
	const struct cut_trigger *trigger, struct record_writer *journal, const struct watch *watch,
	struct cut_summary *out, struct error *err)
{
	const struct medium_traits *t = medium_traits(m);
	const struct journal_cycle *y = &settings->cycle;
	struct cutting *c = calloc(1, sizeof *c);
	enum progress p = BROKEN;

	*out = (struct cut_summary){ .ending = CUT_FAILED };
	if (c)
		c->buf = buffer_new(CHUNK_BYTES, t->memory_align_bytes);
	if (!c || !c->buf) {
		free(c);
		return error_set(err, ERROR_IO, "out of memory");
	}
	c->m = m;
	c->kernel_flushes = t->cache != MEDIUM_CACHE_WRITE_THROUGH;
	/* A device without that command, or one that may not be sent it, is simply never flushed. */
	c->flushes = c->kernel_flushes || flush_by_scsi(c) == 0;
	c->settings = settings;
	c->trigger = trigger;
	c->journal = journal;
	c->watch = watch;
	c->out = out;
	c->err = err;
	stamp_init(&c->stamp, y->seed, y->block_bytes);
	cut_plan_init(&c->plan, y->seed, y->region_start, y->region_bytes, t->offset_align_bytes);
	if (journal_write_cycle(journal, y, now_ns(c), err) == 0)
		p = write_baseline(c);
	while (p == GO_ON)
		p = write_batch(c);
	free(c->buf);
	free(c);
	return p == BROKEN ? -1 : 0;
}
