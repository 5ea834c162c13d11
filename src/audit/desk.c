/* The workbench of all probes. */
#include "audit/desk.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include "base/buffer.h"
#include "base/error.h"
#include "base/random.h"
#include "base/text.h"
#include "base/watch.h"

enum { MARKS = 4, REISSUES = 12, REQUEST_DEFAULT = 32 * 1024, SPILL_DEFAULT = 1 << 20 };

static const uint64_t first_settle_ns = 300000000; /* until the drain rate is known */
static const uint64_t idle_step_ns = 50000000;

bool desk_stopped(const struct desk *d)
{
	/* Asked between commands, so this keeps the user's line alive too. */
	watch_step(d->hooks->watch, &(struct watch_step){ .phase = d->phase, .seconds_left = -1 });
	return watch_should_stop(d->hooks->watch);
}

static int probe_scsi(struct desk *d)
{
	struct scsi_exchange x;

	scsi_build_test_unit_ready(&x);
	d->scsi = medium_scsi(d->m, &x) == 0;
	return medium_lost(d->m) ? medium_explain(d->m, d->err) : 0;
}

static uint32_t choose_bulk(const struct desk *d)
{
	uint32_t n = REQUEST_DEFAULT;

	while (n > d->unit && ((d->t->request_limit_bytes && n > d->t->request_limit_bytes) ||
				      n > d->plan->area_bytes / 32))
		n /= 2;
	return n < d->unit ? d->unit : n;
}

int desk_init(struct desk *d, struct medium *m, const struct audit_plan *p,
	const struct audit_hooks *hooks, struct promises *out, struct error *err)
{
	*d = (struct desk){ .m = m,
		.t = medium_traits(m),
		.plan = p,
		.hooks = hooks,
		.out = out,
		.err = err,
		.next_generation = 1,
		.this_window = 1,
		.settle_ns = first_settle_ns };
	if (probe_scsi(d) < 0)
		return -1;
	d->block = stamp_block_bytes(d->t->logical_block_bytes);
	d->unit = d->t->offset_align_bytes > d->block ? d->t->offset_align_bytes : d->block;
	d->bulk = choose_bulk(d);
	d->request = d->bulk;
	d->blocks = p->area_bytes / d->block;
	d->quiet_base = p->area_bytes / 2 / d->bulk * d->bulk;
	d->buf = buffer_new(DESK_BUFFER_BYTES, d->t->memory_align_bytes);
	d->judge = malloc(sizeof *d->judge);
	d->generation = calloc((size_t)d->blocks, sizeof *d->generation);
	d->window = calloc((size_t)d->blocks, sizeof *d->window);
	if (!d->buf || !d->judge || !d->generation || !d->window) {
		desk_release(d);
		return error_set(err, ERROR_IO, "out of memory for the audit");
	}
	judge_init(d->judge, p->seed, d->block);
	desk_pass_over_errors(d);
	return 0;
}

void desk_release(struct desk *d)
{
	free(d->buf);
	free(d->judge);
	free(d->generation);
	free(d->window);
	d->buf = NULL;
	d->judge = NULL;
	d->generation = d->window = NULL;
}

/* After a failure what was written since the last clean flush need not be there. */
static void note_error(struct desk *d)
{
	if (d->host_failed) {
		d->host_errors++;
	} else if (scsi_sense_identity(&d->last_sense) == -ENOMEDIUM) {
		d->absent_reported++;
	} else {
		if (!d->errors_reported++)
			scsi_sense_format(d->first_error, &d->last_sense);
		d->deferred_reported += d->last_sense.deferred;
	}
	for (uint64_t i = 0; i < d->blocks; i++)
		if (d->generation[i] && d->window[i] + 1 >= d->this_window) {
			d->generation[i] = 0;
			d->blocks_excused++;
		}
}

bool desk_is_error_answer(int rc)
{
	return rc == -EIO || rc == -ENODATA || rc == -EREMOTEIO || rc == -EILSEQ;
}

static bool worth_reissuing(struct desk *d, const struct scsi_exchange *x)
{
	const struct scsi_sense *s = &d->last_sense;

	/* Not to a medium that is not known to be the same. */
	if (medium_has_left(d->m) && x->cdb[0] != SCSI_TEST_UNIT_READY &&
		x->cdb[0] != SCSI_START_STOP_UNIT)
		return false;
	if (x->status == SCSI_BUSY ||
		(s->valid && s->key == SENSE_NOT_READY && s->code == 0x0401)) {
		medium_idle_ns(d->m, idle_step_ns);
		return true;
	}
	return s->valid && (s->deferred || s->key == SENSE_UNIT_ATTENTION);
}

int desk_exchange(struct desk *d, struct scsi_exchange *x)
{
	for (int i = 0; i < REISSUES; i++) {
		uint64_t began = medium_now_ns(d->m);
		int rc;

		x->status = 0;
		x->sense_length = 0;
		x->residual = 0;
		d->host_failed = false;
		rc = medium_scsi(d->m, x);
		if (rc < 0)
			return rc;
		d->last_ns = medium_now_ns(d->m) - began;
		if (scsi_succeeded(x))
			return 0;
		/* The host's own trouble with the command: is there anybody? */
		if (x->host_status) {
			rc = medium_check(d->m, MEDIUM_CHECK_FAILED);
			if (rc < 0)
				return rc;
		}
		scsi_sense_decode(&d->last_sense, x->sense, x->sense_length);
		if (scsi_completed(x))
			return 0;
		d->host_failed = x->host_status && !d->last_sense.valid;
		/* A deferred recovered error tells of an earlier command that went well in the end. */
		if (d->last_sense.deferred && d->last_sense.key != SENSE_RECOVERED_ERROR)
			note_error(d);
		if (!worth_reissuing(d, x))
			return DESK_REFUSED;
	}
	return DESK_REFUSED;
}

/* Through the kernel, an answer of the device is an errno without sense; so may be the answer of one that is gone. */
static int refusal(struct desk *d, int rc)
{
	int lost;

	if (rc >= 0 || (!desk_is_error_answer(rc) && rc != -ENOSPC))
		return rc;
	lost = medium_check(d->m, MEDIUM_CHECK_FAILED);
	if (lost < 0 || !desk_is_error_answer(rc))
		return lost < 0 ? lost : rc;
	d->last_sense = (struct scsi_sense){ 0 };
	return DESK_REFUSED;
}

static uint64_t lba_of(const struct desk *d, uint64_t offset)
{
	return (d->plan->area_start + offset) / d->t->logical_block_bytes;
}

/* Answered GOOD: with all that was asked for? */
static bool is_whole(struct desk *d, bool write, uint64_t offset, uint32_t wanted, size_t got)
{
	d->transfers++;
	if (got >= wanted)
		return true;
	if (!d->short_reads && !d->short_writes)
		snprintf(d->first_short, sizeof d->first_short,
			"a %s of %u bytes at byte %llu moved %zu", write ? "write" : "read", wanted,
			(unsigned long long)(d->plan->area_start + offset), got);
	if (write)
		d->short_writes++;
	else
		d->short_reads++;
	return false;
}

static int kernel_write(
	struct desk *d, uint64_t offset, uint32_t length, enum desk_way way, bool *whole)
{
	uint64_t at = d->plan->area_start + offset, began = medium_now_ns(d->m);
	size_t got;
	int rc = way == DESK_FUA ? medium_write_through(d->m, at, d->buf, length, &got)
				 : medium_write(d->m, at, d->buf, length, &got);

	d->last_ns = medium_now_ns(d->m) - began;
	*whole = rc || is_whole(d, true, offset, length, got);
	return refusal(d, rc);
}

/* *whole: false where it was answered GOOD with less than all. */
static int send_write(
	struct desk *d, uint64_t offset, uint32_t length, enum desk_way way, bool *whole)
{
	struct scsi_exchange x;
	int rc;

	if (!d->scsi)
		return kernel_write(d, offset, length, way, whole);
	scsi_build_write(&x, lba_of(d, offset), length / d->t->logical_block_bytes,
		d->t->logical_block_bytes, d->buf, way == DESK_FUA ? SCSI_IO_FUA : 0);
	rc = desk_exchange(d, &x);
	*whole = rc || is_whole(d, true, offset, length, scsi_transferred(&x));
	return rc;
}

int desk_write(struct desk *d, uint64_t offset, uint32_t length, enum desk_way way)
{
	uint32_t generation = d->next_generation++;
	bool whole;
	int rc;

	stamp_fill_range(
		&d->judge->stamp, d->buf, length, d->plan->area_start + offset, generation);
	rc = send_write(d, offset, length, way, &whole);
	if (rc < 0)
		return rc;
	for (uint64_t i = offset / d->block; i < (offset + length) / d->block; i++) {
		if (d->window[i] == DESK_BAD_PLACE)
			continue;
		d->generation[i] = rc || !whole ? 0 : generation;
		d->window[i] = d->this_window;
	}
	if (rc && !d->last_sense.deferred)
		note_error(d);
	d->write_commands++;
	d->written_bytes += length;
	return rc;
}

int desk_write_next(struct desk *d, uint32_t length, enum desk_way way)
{
	if (d->cursor + length > d->quiet_base)
		d->cursor = 0;
	d->cursor += length;
	return desk_write(d, d->cursor - length, length, way);
}

int desk_read(struct desk *d, uint64_t offset, uint32_t length)
{
	struct scsi_exchange x;
	uint64_t began;
	size_t got;
	int rc;

	if (d->scsi) {
		scsi_build_read(&x, lba_of(d, offset), length / d->t->logical_block_bytes,
			d->t->logical_block_bytes, d->buf, 0);
		rc = desk_exchange(d, &x);
		return !rc && !is_whole(d, false, offset, length, scsi_transferred(&x))
			       ? DESK_REFUSED
			       : rc;
	}
	began = medium_now_ns(d->m);
	rc = medium_read(d->m, d->plan->area_start + offset, d->buf, length, &got);
	d->last_ns = medium_now_ns(d->m) - began;
	if (!rc && !is_whole(d, false, offset, length, got))
		return DESK_REFUSED;
	return refusal(d, rc);
}

int desk_sync(struct desk *d)
{
	struct scsi_exchange x;
	uint64_t began, errors = d->errors_reported;
	int rc;

	if (d->scsi) {
		scsi_build_synchronize_cache(&x, 0, 0, false);
		rc = desk_exchange(d, &x);
		if (rc == DESK_REFUSED && d->last_sense.key == SENSE_ILLEGAL_REQUEST &&
			!d->known.sync_refused) {
			d->known.sync_refused = true;
			d->known.sync_sense = d->last_sense;
		}
		if (rc == DESK_REFUSED && !d->last_sense.deferred &&
			d->last_sense.key != SENSE_ILLEGAL_REQUEST)
			note_error(d);
	} else {
		began = medium_now_ns(d->m);
		rc = medium_flush(d->m);
		d->last_ns = medium_now_ns(d->m) - began;
		rc = refusal(d, rc);
		if (rc == DESK_REFUSED)
			note_error(d);
	}
	if (!rc && errors == d->errors_reported)
		d->this_window++;
	return rc;
}

void desk_idle(struct desk *d, uint64_t ns)
{
	if (d->t->virtual_clock) {
		medium_idle_ns(d->m, ns);
		return;
	}
	while (ns && !desk_stopped(d)) {
		uint64_t step = ns < idle_step_ns ? ns : idle_step_ns;

		medium_idle_ns(d->m, step);
		ns -= step;
	}
}

int desk_settle(struct desk *d)
{
	int rc = desk_sync(d);

	if (rc < 0)
		return rc;
	desk_idle(d, d->settle_ns);
	return 0;
}

/* Generations that the audit itself never comes to. A model is known by its seed alone, so that its runs can be repeated. */
static uint32_t odd_generation(const struct desk *d, unsigned i)
{
	uint32_t g;

	if (d->t->virtual_clock || getrandom(&g, sizeof g, GRND_NONBLOCK) != (ssize_t)sizeof g)
		g = (uint32_t)random_at(d->plan->seed ^ medium_now_ns(d->m), i);
	return g | UINT32_C(1) << 31;
}

int desk_leave_marks(struct desk *d)
{
	uint32_t next = d->next_generation;
	int rc = 0;

	medium_mark(d->m, true);
	for (unsigned i = 1; i <= MARKS && rc >= 0; i++) {
		d->next_generation = odd_generation(d, i);
		rc = desk_write(
			d, d->plan->area_bytes - (uint64_t)i * d->unit, d->unit, DESK_PLAIN);
	}
	d->next_generation = next;
	if (rc >= 0)
		rc = desk_settle(d);
	medium_mark(d->m, false);
	return rc;
}

int desk_fill_buffer(struct desk *d)
{
	int rc = 0;

	for (uint64_t n = d->known.burst_bytes / d->request; n && rc >= 0 && !desk_stopped(d); n--)
		rc = desk_write_next(d, d->request, DESK_PLAIN);
	return rc < 0 ? rc : 0;
}

int desk_spill(struct desk *d)
{
	uint64_t bytes = d->known.knee ? (uint64_t)(2 * d->known.buffer_high) : SPILL_DEFAULT;
	int rc = desk_settle(d);

	if (bytes > d->quiet_base)
		bytes = d->quiet_base;
	for (uint64_t done = 0; done < bytes && rc >= 0 && !desk_stopped(d); done += d->bulk)
		rc = desk_write_next(d, d->bulk, DESK_PLAIN);
	return rc < 0 ? rc : desk_settle(d);
}

static void judge_unit(struct desk *d, uint64_t offset, const unsigned char *data, bool readable,
	struct desk_check *c)
{
	uint64_t i = offset / d->block;
	struct verdict v = { .class = DAMAGE_UNREADABLE };

	if (!d->generation[i])
		return;
	if (readable)
		judge_block(d->judge, data, d->plan->area_start + offset, d->generation[i], &v);
	c->judged++;
	c->by_class[v.class]++;
	c->unreadable += v.class == DAMAGE_UNREADABLE;
	if (v.class == DAMAGE_NONE)
		return;
	d->wrong_blocks += v.class != DAMAGE_UNREADABLE;
	if (!c->wrong)
		c->first_wrong = d->plan->area_start + offset;
	if (c->wrong < sizeof c->wrong_at / sizeof *c->wrong_at)
		c->wrong_at[c->wrong] = offset;
	c->wrong++;
	d->generation[i] = 0; /* reported once, so that no later line is blamed for it */
}

static int check_request(struct desk *d, uint64_t offset, uint32_t length, struct desk_check *c)
{
	uint64_t shorts = d->short_reads;
	int rc = desk_read(d, offset, length);

	if (rc < 0)
		return rc;
	if (rc && length > d->unit) {
		for (uint32_t k = 0; k < length && rc >= 0; k += d->unit)
			rc = check_request(d, offset + k, d->unit, c);
		return rc < 0 ? rc : 0;
	}
	if (rc && d->host_failed)
		d->host_errors++;
	if (d->short_reads > shorts)
		return 0; /* told in its own line; the data may be right */
	for (uint32_t k = 0; k < length; k += d->block)
		judge_unit(d, offset + k, d->buf + k, !rc, c);
	return 0;
}

int desk_check(struct desk *d, uint64_t offset, uint64_t length, struct desk_check *c)
{
	for (uint64_t done = 0; done < length && !desk_stopped(d);) {
		uint32_t n = (uint32_t)(length - done < d->bulk ? length - done : d->bulk);
		int rc = check_request(d, offset + done, n, c);

		if (rc < 0)
			return rc;
		done += n;
	}
	return 0;
}

enum promise_verdict desk_judge_order(const struct desk_check *c)
{
	if (c->wrong > c->unreadable)
		return PROMISE_BROKEN;
	return c->wrong ? PROMISE_NOT_SHOWN : PROMISE_KEPT;
}

const char *desk_mend(const struct desk_check *c, const char *mend)
{
	return c->wrong && c->wrong == c->unreadable
		       ? "what was stored must be readable: look at how reads of the card are "
			 "retried, timed out and reported"
		       : mend;
}

uint64_t desk_tested(const struct desk_check *c)
{
	return c->judged - c->unreadable;
}

const char *desk_check_format(char *out, size_t room, const struct desk_check *c)
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
static uint64_t new_errors(struct desk *d)
{
	uint64_t before = d->kernel_errors;
	struct medium_counts c;

	if (medium_counts(d->m, &c) < 0 || !c.errors_known)
		return 0;
	d->kernel_errors = c.errors;
	return c.errors > before ? c.errors - before : 0;
}

void desk_pass_over_errors(struct desk *d)
{
	new_errors(d);
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

static const char *plural(uint64_t n)
{
	return n == 1 ? "" : "s";
}

/* Whatever was seen while something else failed counts for nothing. */
static void doubt(struct promise *f, uint64_t kernel_errors, uint64_t host_errors)
{
	if (f->verdict == PROMISE_NOT_ASKED || !(kernel_errors || host_errors))
		return;
	make_not_shown(f);
	if (host_errors)
		add_evidence(f,
			"; %llu request%s failed on the way, with no answer from the device",
			(unsigned long long)host_errors, plural(host_errors));
	if (kernel_errors)
		add_evidence(f,
			"; the kernel counted %llu error%s or reset%s of the device meanwhile",
			(unsigned long long)kernel_errors, plural(kernel_errors),
			plural(kernel_errors));
	add_evidence(f,
		", so this counts for nothing: see the kernel log (dmesg) and run the audit "
		"again");
}

static bool is_wanted(const struct desk *d, enum promise_id id)
{
	return !d->plan->only || d->plan->only & PROMISE_BIT(id);
}

/* What is known in passing of a line that --only leaves out is said, where it is bad. */
static void leave_out(struct promise *f)
{
	char seen[sizeof f->evidence];
	bool bad = f->verdict == PROMISE_BROKEN;

	text_copy(seen, sizeof seen, f->evidence);
	text_copy(f->evidence, sizeof f->evidence, PROMISE_LEFT_OUT);
	if (bad)
		add_evidence(f, "; seen in passing, and broken: %s", seen);
	f->verdict = PROMISE_NOT_ASKED;
	f->mend[0] = 0;
}

enum promise_verdict desk_unasked(const struct desk *d, enum promise_id id)
{
	return d->plan->only & PROMISE_BIT(id) ? PROMISE_NOT_SHOWN : PROMISE_NOT_ASKED;
}

int desk_report(struct desk *d, enum promise_id id, enum promise_verdict verdict, uint64_t tested,
	const char *mend, const char *evidence, ...)
{
	struct promise *f;
	uint64_t host_errors = d->host_errors;
	va_list ap;

	if (d->out->count == PROMISES_MAX)
		return -ENOSPC;
	f = &d->out->list[d->out->count++];
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
	d->host_errors = 0;
	doubt(f, new_errors(d), host_errors);
	if (!is_wanted(d, id))
		leave_out(f);
	return d->hooks->promise && d->hooks->promise(d->hooks->context, f, d->err) < 0 ? -ECANCELED
											: 0;
}

int desk_report_no_scsi(struct desk *d, enum promise_id id)
{
	return desk_report(d, id, PROMISE_NOT_SHOWN, 0, "", "no SCSI command path to this target");
}
