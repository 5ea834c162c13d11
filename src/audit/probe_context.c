/* What all probes work with. */
#include "audit/probe_context.h"

#include <errno.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include "base/advice.h"
#include "base/buffer.h"
#include "base/error.h"
#include "base/random.h"
#include "base/text.h"
#include "base/watch.h"

enum { MARKS = 4, REISSUES = 12, SPILL_DEFAULT = 1 << 20 };

static const uint64_t first_settle_ns = 300000000; /* until the drain rate is known */
static const uint64_t idle_step_ns = 50000000;

bool context_stopped(const struct probe_context *pc)
{
	/* Asked between commands, so this keeps the user's line alive too. */
	watch_step(
		pc->hooks->watch, &(struct watch_step){ .phase = pc->phase, .seconds_left = -1 });
	return watch_should_stop(pc->hooks->watch);
}

static int probe_scsi(struct probe_context *pc)
{
	struct scsi_exchange x;

	scsi_build_test_unit_ready(&x);
	pc->scsi = medium_scsi(pc->m, &x) == 0;
	return medium_lost(pc->m) ? medium_explain(pc->m, pc->err) : 0;
}

static uint32_t choose_bulk(const struct probe_context *pc)
{
	uint32_t n = PROBE_REQUEST_MAX;

	while (n > pc->unit && ((pc->t->request_limit_bytes && n > pc->t->request_limit_bytes) ||
				       n > pc->plan->area_bytes / 32))
		n /= 2;
	return n < pc->unit ? pc->unit : n;
}

int context_init(struct probe_context *pc, struct medium *m, const struct audit_plan *p,
	const struct audit_hooks *hooks, struct promises *out, struct error *err)
{
	*pc = (struct probe_context){ .m = m,
		.t = medium_traits(m),
		.plan = p,
		.hooks = hooks,
		.out = out,
		.err = err,
		.next_generation = 1,
		.this_window = 1,
		.settle_ns = first_settle_ns };
	if (probe_scsi(pc) < 0)
		return -1;
	pc->block = stamp_block_bytes(pc->t->logical_block_bytes);
	pc->unit = pc->t->offset_align_bytes > pc->block ? pc->t->offset_align_bytes : pc->block;
	pc->bulk = choose_bulk(pc);
	pc->request = pc->bulk;
	pc->blocks = p->area_bytes / pc->block;
	pc->quiet_base = p->area_bytes / 2 / pc->bulk * pc->bulk;
	pc->buf = buffer_new(PROBE_BUFFER_BYTES, pc->t->memory_align_bytes);
	pc->judge = malloc(sizeof *pc->judge);
	pc->generation = calloc((size_t)pc->blocks, sizeof *pc->generation);
	pc->window = calloc((size_t)pc->blocks, sizeof *pc->window);
	if (!pc->buf || !pc->judge || !pc->generation || !pc->window) {
		context_release(pc);
		return error_set(err, ERROR_IO, "out of memory for the audit");
	}
	judge_init(pc->judge, p->seed, pc->block);
	context_pass_over_errors(pc);
	return 0;
}

void context_release(struct probe_context *pc)
{
	free(pc->buf);
	free(pc->judge);
	free(pc->generation);
	free(pc->window);
	pc->buf = NULL;
	pc->judge = NULL;
	pc->generation = pc->window = NULL;
}

/* Does it tell of a write that failed, be it an earlier one? Not ready, a request that makes no sense, write protection and
 * their like are said of this command. The kernel's answers have no sense. */
static bool reports_a_failure(const struct probe_context *pc)
{
	const struct scsi_sense *s = &pc->last_sense;

	return !pc->scsi || s->deferred || s->key == SENSE_MEDIUM_ERROR ||
	       s->key == SENSE_HARDWARE_ERROR;
}

/* There is a card, and it cannot be got at: stopped, starting, busy with itself (SPC-4: NOT READY). Says nothing of data. */
static bool is_unready(const struct scsi_sense *s)
{
	return s->valid && !s->deferred && s->key == SENSE_NOT_READY &&
	       scsi_sense_identity(s) != -ENOMEDIUM;
}

/* After a failure what was written since the last clean flush need not be there. */
static void note_error(struct probe_context *pc)
{
	if (pc->host_failed) {
		pc->host_errors++;
	} else if (scsi_sense_identity(&pc->last_sense) == -ENOMEDIUM) {
		pc->absent_reported++;
	} else if (!reports_a_failure(pc)) {
		if (!pc->refusals_reported++)
			scsi_sense_format(pc->first_refusal, &pc->last_sense);
	} else {
		if (!pc->errors_reported++)
			scsi_sense_format(pc->first_error, &pc->last_sense);
		pc->deferred_reported += pc->last_sense.deferred;
	}
	for (uint64_t i = 0; i < pc->blocks; i++)
		if (pc->generation[i] && pc->window[i] + 1 >= pc->this_window) {
			pc->generation[i] = 0;
			pc->blocks_excused++;
		}
}

bool context_is_error_answer(int rc)
{
	return rc == -EIO || rc == -ENODATA || rc == -EREMOTEIO || rc == -EILSEQ;
}

static bool worth_reissuing(struct probe_context *pc, const struct scsi_exchange *x)
{
	const struct scsi_sense *s = &pc->last_sense;

	/* Not to a medium that is not known to be the same. */
	if (medium_has_left(pc->m) && x->cdb[0] != SCSI_TEST_UNIT_READY &&
		x->cdb[0] != SCSI_START_STOP_UNIT)
		return false;
	if (x->status == SCSI_BUSY ||
		(s->valid && s->key == SENSE_NOT_READY && s->code == 0x0401)) {
		medium_idle_ns(pc->m, idle_step_ns);
		return true;
	}
	return s->valid && (s->deferred || s->key == SENSE_UNIT_ATTENTION);
}

/* News that meets any command says nothing of this one. */
static bool is_news(const struct scsi_sense *s)
{
	return s->valid && (s->deferred || s->key == SENSE_UNIT_ATTENTION);
}

static void count_answer(struct probe_context *pc, const struct scsi_exchange *x)
{
	uint8_t code = x->cdb[0];

	if (pc->host_failed) {
		pc->commands[code].unanswered++;
		pc->commands[code].host_status = x->host_status;
	} else if (scsi_succeeded(x) || !is_news(&pc->last_sense)) {
		pc->commands[code].answered++;
	}
}

/* Whether it is ready is what TEST UNIT READY asks, and what comes of a load. */
static int refused(struct probe_context *pc, const struct scsi_exchange *x)
{
	bool asks = x->cdb[0] == SCSI_TEST_UNIT_READY || x->cdb[0] == SCSI_START_STOP_UNIT;

	if (!pc->host_failed && !asks && is_unready(&pc->last_sense)) {
		pc->unready++;
		pc->unready_sense = pc->last_sense;
	}
	return PROBE_REFUSED;
}

int context_exchange(struct probe_context *pc, struct scsi_exchange *x)
{
	uint64_t began = medium_now_ns(pc->m);

	for (int i = 0; i < REISSUES; i++) {
		int rc;

		x->status = 0;
		x->sense_length = 0;
		x->residual = 0;
		pc->host_failed = false;
		rc = medium_scsi(pc->m, x);
		if (rc < 0)
			return rc;
		pc->last_ns = medium_since_ns(pc->m, began);
		if (scsi_succeeded(x)) {
			count_answer(pc, x);
			return 0;
		}
		/* The host's own trouble with the command: is there anybody? */
		if (x->host_status) {
			rc = medium_check(pc->m, MEDIUM_CHECK_FAILED);
			if (rc < 0)
				return rc;
		}
		scsi_sense_decode(&pc->last_sense, x->sense, x->sense_length);
		pc->host_failed = x->host_status && !pc->last_sense.valid;
		count_answer(pc, x);
		if (scsi_completed(x))
			return 0;
		/* A deferred recovered error tells of an earlier command that went well in the end. */
		if (pc->last_sense.deferred && pc->last_sense.key != SENSE_RECOVERED_ERROR)
			note_error(pc);
		if (!worth_reissuing(pc, x))
			break;
	}
	return refused(pc, x);
}

int context_test_unit_ready(struct probe_context *pc)
{
	struct scsi_exchange x;

	scsi_build_test_unit_ready(&x);
	return context_exchange(pc, &x);
}

/* Through the kernel, an answer of the device is an errno without sense; so may be the answer of one that is gone. */
static int refusal(struct probe_context *pc, int rc)
{
	int lost;

	if (rc >= 0 || (!context_is_error_answer(rc) && rc != -ENOSPC))
		return rc;
	lost = medium_check(pc->m, MEDIUM_CHECK_FAILED);
	if (lost < 0 || !context_is_error_answer(rc))
		return lost < 0 ? lost : rc;
	pc->last_sense = (struct scsi_sense){ 0 };
	return PROBE_REFUSED;
}

static uint64_t lba_of(const struct probe_context *pc, uint64_t offset)
{
	return (pc->plan->area_start + offset) / pc->t->logical_block_bytes;
}

/* Answered GOOD: with all that was asked for? */
static bool is_whole(
	struct probe_context *pc, bool write, uint64_t offset, uint32_t wanted, size_t got)
{
	pc->transfers++;
	if (got >= wanted)
		return true;
	if (!pc->short_reads && !pc->short_writes)
		snprintf(pc->first_short, sizeof pc->first_short,
			"a %s of %u bytes at byte %" PRIu64 " moved %zu", write ? "write" : "read",
			wanted, pc->plan->area_start + offset, got);
	if (write)
		pc->short_writes++;
	else
		pc->short_reads++;
	return false;
}

static int kernel_write(
	struct probe_context *pc, uint64_t offset, uint32_t length, enum probe_way way, bool *whole)
{
	uint64_t at = pc->plan->area_start + offset, began = medium_now_ns(pc->m);
	size_t got;
	int rc = way == PROBE_FUA ? medium_write_through(pc->m, at, pc->buf, length, &got)
				  : medium_write(pc->m, at, pc->buf, length, &got);

	pc->last_ns = medium_since_ns(pc->m, began);
	*whole = rc || is_whole(pc, true, offset, length, got);
	return refusal(pc, rc);
}

/* *whole: false where it was answered GOOD with less than all. */
static int send_write(
	struct probe_context *pc, uint64_t offset, uint32_t length, enum probe_way way, bool *whole)
{
	struct scsi_exchange x;
	int rc;

	if (!pc->scsi)
		return kernel_write(pc, offset, length, way, whole);
	scsi_build_write(&x, lba_of(pc, offset), length / pc->t->logical_block_bytes,
		pc->t->logical_block_bytes, pc->buf, way == PROBE_FUA ? SCSI_IO_FUA : 0);
	rc = context_exchange(pc, &x);
	*whole = rc || is_whole(pc, true, offset, length, scsi_transferred(&x));
	return rc;
}

int context_write(struct probe_context *pc, uint64_t offset, uint32_t length, enum probe_way way)
{
	uint32_t generation = pc->next_generation++;
	bool whole;
	int rc;

	stamp_fill_range(
		&pc->judge->stamp, pc->buf, length, pc->plan->area_start + offset, generation);
	rc = send_write(pc, offset, length, way, &whole);
	if (rc < 0)
		return rc;
	for (uint64_t i = offset / pc->block; i < (offset + length) / pc->block; i++) {
		if (pc->window[i] == PROBE_BAD_PLACE)
			continue;
		pc->generation[i] = rc || !whole ? 0 : generation;
		pc->window[i] = pc->this_window;
	}
	if (rc && !pc->last_sense.deferred)
		note_error(pc);
	pc->write_commands++;
	pc->written_bytes += length;
	return rc;
}

int context_write_next(struct probe_context *pc, uint32_t length, enum probe_way way)
{
	if (pc->cursor + length > pc->quiet_base)
		pc->cursor = 0;
	pc->cursor += length;
	return context_write(pc, pc->cursor - length, length, way);
}

int context_read(struct probe_context *pc, uint64_t offset, uint32_t length)
{
	struct scsi_exchange x;
	uint64_t began;
	size_t got;
	int rc;

	if (pc->scsi) {
		scsi_build_read(&x, lba_of(pc, offset), length / pc->t->logical_block_bytes,
			pc->t->logical_block_bytes, pc->buf, 0);
		rc = context_exchange(pc, &x);
		return !rc && !is_whole(pc, false, offset, length, scsi_transferred(&x))
			       ? PROBE_REFUSED
			       : rc;
	}
	began = medium_now_ns(pc->m);
	rc = medium_read(pc->m, pc->plan->area_start + offset, pc->buf, length, &got);
	pc->last_ns = medium_since_ns(pc->m, began);
	if (!rc && !is_whole(pc, false, offset, length, got))
		return PROBE_REFUSED;
	return refusal(pc, rc);
}

int context_sync(struct probe_context *pc)
{
	struct scsi_exchange x;
	uint64_t began, errors = pc->errors_reported;
	int rc;

	if (pc->scsi) {
		scsi_build_synchronize_cache(&x, 0, 0, false);
		rc = context_exchange(pc, &x);
		if (rc == PROBE_REFUSED && pc->last_sense.key == SENSE_ILLEGAL_REQUEST &&
			!pc->known.sync_refused) {
			pc->known.sync_refused = true;
			pc->known.sync_sense = pc->last_sense;
		}
		if (rc == PROBE_REFUSED && !pc->last_sense.deferred &&
			pc->last_sense.key != SENSE_ILLEGAL_REQUEST)
			note_error(pc);
	} else {
		began = medium_now_ns(pc->m);
		rc = medium_flush(pc->m);
		pc->last_ns = medium_since_ns(pc->m, began);
		rc = refusal(pc, rc);
		if (rc == PROBE_REFUSED)
			note_error(pc);
	}
	if (!rc && errors == pc->errors_reported)
		pc->this_window++;
	return rc;
}

void context_idle(struct probe_context *pc, uint64_t ns)
{
	if (pc->t->virtual_clock) {
		medium_idle_ns(pc->m, ns);
		return;
	}
	while (ns && !context_stopped(pc)) {
		uint64_t step = ns < idle_step_ns ? ns : idle_step_ns;

		medium_idle_ns(pc->m, step);
		ns -= step;
	}
}

int context_settle(struct probe_context *pc)
{
	int rc = context_sync(pc);

	if (rc < 0)
		return rc;
	context_idle(pc, pc->settle_ns);
	return 0;
}

/* Generations that the audit itself never comes to. A model is known by its seed alone, so that its runs can be repeated. */
static uint32_t odd_generation(const struct probe_context *pc, unsigned i)
{
	uint32_t g;

	if (pc->t->virtual_clock || getrandom(&g, sizeof g, GRND_NONBLOCK) != (ssize_t)sizeof g)
		g = (uint32_t)random_at(pc->plan->seed ^ medium_now_ns(pc->m), i);
	return g | UINT32_C(1) << 31;
}

int context_leave_marks(struct probe_context *pc)
{
	uint32_t next = pc->next_generation;
	int rc = 0;

	medium_mark(pc->m, true);
	for (unsigned i = 1; i <= MARKS && rc >= 0; i++) {
		pc->next_generation = odd_generation(pc, i);
		rc = context_write(
			pc, pc->plan->area_bytes - (uint64_t)i * pc->unit, pc->unit, PROBE_PLAIN);
	}
	pc->next_generation = next;
	if (rc >= 0)
		rc = context_settle(pc);
	medium_mark(pc->m, false);
	return rc;
}

int context_fill_buffer(struct probe_context *pc)
{
	int rc = 0;

	for (uint64_t n = pc->known.burst_bytes / pc->request; n && rc >= 0 && !context_stopped(pc);
		n--)
		rc = context_write_next(pc, pc->request, PROBE_PLAIN);
	return rc < 0 ? rc : 0;
}

int context_spill(struct probe_context *pc)
{
	uint64_t bytes = pc->known.knee ? (uint64_t)(2 * pc->known.buffer_high) : SPILL_DEFAULT;
	int rc = context_settle(pc);

	if (bytes > pc->quiet_base)
		bytes = pc->quiet_base;
	for (uint64_t done = 0; done < bytes && rc >= 0 && !context_stopped(pc); done += pc->bulk)
		rc = context_write_next(pc, pc->bulk, PROBE_PLAIN);
	return rc < 0 ? rc : context_settle(pc);
}

static void judge_unit(struct probe_context *pc, uint64_t offset, const unsigned char *data,
	bool readable, struct probe_check *c)
{
	uint64_t i = offset / pc->block;
	struct verdict v = { .class = DAMAGE_UNREADABLE };

	if (!pc->generation[i])
		return;
	if (readable)
		judge_block(pc->judge, data, pc->plan->area_start + offset, pc->generation[i], &v);
	c->judged++;
	c->by_class[v.class]++;
	c->unreadable += v.class == DAMAGE_UNREADABLE;
	if (v.class == DAMAGE_NONE)
		return;
	pc->wrong_blocks += v.class != DAMAGE_UNREADABLE;
	if (!c->wrong)
		c->first_wrong = pc->plan->area_start + offset;
	if (c->wrong < sizeof c->wrong_at / sizeof *c->wrong_at)
		c->wrong_at[c->wrong] = offset;
	c->wrong++;
	pc->generation[i] = 0; /* reported once, so that no later line is blamed for it */
}

static int check_request(
	struct probe_context *pc, uint64_t offset, uint32_t length, struct probe_check *c)
{
	uint64_t shorts = pc->short_reads, unready = pc->unready;
	int rc = context_read(pc, offset, length);

	if (rc < 0)
		return rc;
	if (pc->unready > unready)
		return 0; /* the line says so; the data may be right */
	if (rc && length > pc->unit) {
		for (uint32_t k = 0; k < length && rc >= 0; k += pc->unit)
			rc = check_request(pc, offset + k, pc->unit, c);
		return rc < 0 ? rc : 0;
	}
	if (rc && pc->host_failed)
		pc->host_errors++;
	if (pc->short_reads > shorts)
		return 0; /* told in its own line; the data may be right */
	for (uint32_t k = 0; k < length; k += pc->block)
		judge_unit(pc, offset + k, pc->buf + k, !rc, c);
	return 0;
}

int context_check(struct probe_context *pc, uint64_t offset, uint64_t length, struct probe_check *c)
{
	for (uint64_t done = 0; done < length && !context_stopped(pc);) {
		uint32_t n = (uint32_t)(length - done < pc->bulk ? length - done : pc->bulk);
		int rc = check_request(pc, offset + done, n, c);

		if (rc < 0)
			return rc;
		done += n;
	}
	return 0;
}

enum promise_verdict context_judge_order(const struct probe_check *c)
{
	if (c->wrong > c->unreadable)
		return PROMISE_BROKEN;
	return c->wrong ? PROMISE_NOT_SHOWN : PROMISE_KEPT;
}

const char *context_mend(const struct probe_check *c, const char *mend)
{
	return c->wrong && c->wrong == c->unreadable
		       ? "what was stored must be readable: look at how reads of the card are "
			 "retried, timed out and reported"
		       : mend;
}

uint64_t context_tested(const struct probe_check *c)
{
	return c->judged - c->unreadable;
}

const char *probe_check_format(char *out, size_t room, const struct probe_check *c)
{
	size_t n = (size_t)snprintf(out, room, "%llu of %llu blocks wrong",
		(unsigned long long)c->wrong, (unsigned long long)c->judged);
	const char *mark = ": ";

	for (int i = 1; i < DAMAGE_CLASSES && n < room; i++)
		if (c->by_class[i]) {
			n += (size_t)snprintf(out + n, room - n, "%s%llu %s", mark,
				(unsigned long long)c->by_class[i],
				damage_class_name((enum damage_class)i));
			mark = ", ";
		}
	if (c->wrong && n < room)
		snprintf(out + n, room - n, ", the first at byte %llu",
			(unsigned long long)c->first_wrong);
	return out;
}

/* How many errors and resets the kernel counted since it was asked last. */
static uint64_t new_errors(struct probe_context *pc)
{
	uint64_t before = pc->kernel_errors;
	struct medium_counts c;

	if (medium_counts(pc->m, &c) < 0 || !c.errors_known)
		return 0;
	pc->kernel_errors = c.errors;
	return c.errors > before ? c.errors - before : 0;
}

void context_pass_over_errors(struct probe_context *pc)
{
	new_errors(pc);
}

static void add_evidence(struct promise *f, const char *fmt, ...)
	__attribute__((format(printf, 2, 3)));
static void add_evidence(struct promise *f, const char *fmt, ...)
{
	size_t n = strlen(f->evidence);
	va_list ap;

	va_start(ap, fmt);
	vsnprintf(f->evidence + n, sizeof f->evidence - n, fmt, ap);
	va_end(ap);
}

static void make_not_shown(struct promise *f)
{
	f->verdict = PROMISE_NOT_SHOWN;
	f->mend[0] = 0;
}

/* What of it did not answer for itself while the line was found out. */
struct trouble {
	uint64_t kernel_errors, host_errors, unready;
};

static struct trouble take_trouble(struct probe_context *pc)
{
	struct trouble t = { new_errors(pc), pc->host_errors, pc->unready };

	pc->host_errors = pc->unready = 0;
	return t;
}

static void doubt_unready(const struct probe_context *pc, struct promise *f, uint64_t unready)
{
	char text[SCSI_SENSE_TEXT_MAX];

	add_evidence(f, "; %llu command%s met a drive that was not ready (%s)",
		(unsigned long long)unready, text_plural(unready),
		scsi_sense_format(text, &pc->unready_sense));
}

/* Whatever was seen while something else failed counts for nothing. */
static void doubt(const struct probe_context *pc, struct promise *f, const struct trouble *t)
{
	uint64_t kernel_errors = t->kernel_errors, host_errors = t->host_errors;

	if (f->verdict == PROMISE_NOT_ASKED || !(kernel_errors || host_errors || t->unready))
		return;
	make_not_shown(f);
	if (t->unready)
		doubt_unready(pc, f, t->unready);
	if (host_errors)
		add_evidence(f,
			"; %llu request%s failed on the way, with no answer from the device",
			(unsigned long long)host_errors, text_plural(host_errors));
	if (kernel_errors)
		add_evidence(f,
			"; the kernel counted %llu error%s or reset%s of the device meanwhile",
			(unsigned long long)kernel_errors, text_plural(kernel_errors),
			text_plural(kernel_errors));
	add_evidence(f, ", so this counts for nothing: %s, then run the audit again",
		advice_errors(pc->t->virtual_clock));
}

static bool is_wanted(const struct probe_context *pc, enum promise_id id)
{
	return !pc->plan->only || pc->plan->only & PROMISE_BIT(id);
}

/* What is known in passing of a line that --only leaves out is said, where it is bad. */
static void leave_out(struct promise *f)
{
	char seen[sizeof f->evidence];
	bool bad = f->verdict == PROMISE_BROKEN;

	text_copy(seen, sizeof seen, f->evidence);
	text_copy(f->evidence, sizeof f->evidence, PROMISE_LEFT_OUT);
	if (bad)
		add_evidence(f, "; seen on the way, and broken: %s", seen);
	f->verdict = PROMISE_NOT_ASKED;
	f->mend[0] = 0;
}

enum promise_verdict context_unasked(const struct probe_context *pc, enum promise_id id)
{
	return pc->plan->only & PROMISE_BIT(id) ? PROMISE_NOT_SHOWN : PROMISE_NOT_ASKED;
}

int context_report(struct probe_context *pc, enum promise_id id, enum promise_verdict verdict,
	uint64_t tested, const char *mend, const char *evidence, ...)
{
	struct promise *f;
	struct trouble trouble;
	va_list ap;

	if (pc->out->count == PROMISES_MAX)
		return -ENOSPC;
	f = &pc->out->list[pc->out->count++];
	*f = (struct promise){ .verdict = verdict, .tested_known = true, .tested = tested };
	text_copy(f->name, sizeof f->name, promise_row(id)->name);
	text_copy(f->claim, sizeof f->claim, promise_row(id)->claim);
	if (verdict == PROMISE_BROKEN)
		text_copy(f->mend, sizeof f->mend, mend);
	va_start(ap, evidence);
	vsnprintf(f->evidence, sizeof f->evidence, evidence, ap);
	va_end(ap);
	if (verdict == PROMISE_KEPT && !tested) {
		make_not_shown(f);
		add_evidence(f, "; nothing was tested");
	}
	trouble = take_trouble(pc);
	doubt(pc, f, &trouble);
	if (!is_wanted(pc, id))
		leave_out(f);
	return pc->hooks->promise && pc->hooks->promise(pc->hooks->context, f, pc->err) < 0
		       ? -ECANCELED
		       : 0;
}

int context_report_no_scsi(struct probe_context *pc, enum promise_id id)
{
	return context_report(pc, id, PROMISE_NOT_SHOWN, 0, "", PROMISE_NO_SCSI);
}

int context_report_no_medium(struct probe_context *pc, enum promise_id id)
{
	return context_report(pc, id, PROMISE_NOT_SHOWN, 0, "",
		"not asked: the medium has not come back since it was ejected");
}
