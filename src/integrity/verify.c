/* The verify run: passes of writing and reading, with the worker generating and judging beside the I/O. */
#include "integrity/verify.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/advice.h"
#include "base/error.h"
#include "base/random.h"
#include "base/watch.h"
#include "integrity/judge.h"
#include "integrity/pipeline.h"
#include "medium/medium.h"

/* One run in hand. The worker uses plan, pass, order, judge, verdicts and result->damage; the caller the rest, and
 * result->damage only after pipeline_drain or pipeline_stop. */
struct verify {
	const struct verify_plan *plan;
	const struct verify_hooks *hooks;
	struct verify_result *result;
	struct medium **medium;
	struct pipeline pipeline;
	struct judge judge;
	struct verdict *verdicts;
	struct verify_pass pass;
	struct permutation order;
	struct transfer_patience patience;
	uint64_t bytes_done, bytes_total; /* for progress */
	uint64_t checkpoint_at_ns;
};

static uint32_t combinations(const struct verify_plan *p)
{
	return p->size_count * p->order_count;
}

uint32_t verify_generations(const struct verify_plan *p)
{
	return combinations(p) * p->rewrites;
}

uint32_t verify_pass_count(const struct verify_plan *p)
{
	return p->write ? verify_generations(p) : combinations(p);
}

void verify_pass_at(const struct verify_plan *p, uint32_t i, struct verify_pass *out)
{
	uint32_t size = p->sizes[i % p->size_count];

	*out = (struct verify_pass){
		.generation = p->write ? i + 1 : verify_generations(p),
		.request_bytes = size,
		.random = p->random[i / p->size_count % p->order_count],
		.requests = p->spots ? p->spot_count
				     : p->region_bytes / size + (p->region_bytes % size != 0),
	};
}

uint64_t verify_bytes_to_write(const struct verify_plan *p)
{
	uint64_t bytes = 0;

	for (uint32_t i = 0; p->write && i < verify_pass_count(p); i++) {
		struct verify_pass pass;

		verify_pass_at(p, i, &pass);
		bytes += p->spots ? pass.requests * pass.request_bytes : p->region_bytes;
	}
	return bytes;
}

int verify_result_init(struct verify_result *r, const struct verify_plan *p, struct error *err)
{
	*r = (struct verify_result){ .position.reading = !p->write };
	if (damage_init(&r->damage, p->region_start, p->region_bytes, p->block_bytes, p->ranges) <
		0)
		return error_set(err, ERROR_IO, "out of memory for the list of damage");
	return 0;
}

/* Where request `index` of the pass in hand lies. */
static void locate(const struct verify *v, uint64_t index, uint64_t *offset, uint32_t *length)
{
	const struct verify_plan *p = v->plan;
	uint64_t i = v->pass.random ? permutation_at(&v->order, index) : index;
	uint64_t at = i * v->pass.request_bytes;

	*length = v->pass.request_bytes;
	if (p->spots) {
		*offset = p->spots[i];
		return;
	}
	*offset = p->region_start + at;
	if (p->region_bytes - at < *length)
		*length = (uint32_t)(p->region_bytes - at);
}

static void make_slot(void *context, struct slot *s)
{
	struct verify *v = context;
	uint64_t offset;
	uint32_t length;

	locate(v, s->index, &offset, &length);
	stamp_fill_range(&v->judge.stamp, s->bytes, length, offset, v->pass.generation);
}

static enum damage_class judge_in_slot(
	struct verify *v, const struct slot *s, uint32_t i, uint64_t offset, struct verdict *out)
{
	if (s->refused.any && s->refused.blocks[i]) {
		*out = (struct verdict){ .class = DAMAGE_UNREADABLE,
			.read_errno = s->refused.blocks[i] > 0 ? s->refused.blocks[i] : 0 };
		return DAMAGE_UNREADABLE;
	}
	return judge_block(&v->judge, s->bytes + (size_t)i * v->plan->block_bytes, offset,
		v->pass.generation, out);
}

static void judge_slot(void *context, struct slot *s)
{
	struct verify *v = context;
	uint32_t n = v->plan->block_bytes, length, count, damaged = 0;
	uint64_t offset;

	locate(v, s->index, &offset, &length);
	count = length / n;
	for (uint32_t i = 0; i < count; i++)
		damaged += judge_in_slot(v, s, i, offset + (uint64_t)i * n, &v->verdicts[i]) !=
			   DAMAGE_NONE;
	if (!damaged) {
		damage_add_right(&v->result->damage, offset, count);
		return;
	}
	judge_request(v->verdicts, count);
	damage_add(&v->result->damage, offset, v->pass.generation, v->verdicts, count);
}

static void report_progress(const struct verify *v, const char *phase)
{
	struct watch_step step = {
		.phase = phase, .done = v->bytes_done, .total = v->bytes_total, .seconds_left = -1
	};

	watch_step(v->hooks->watch, &step);
}

static int fail(struct verify *v, struct error *err, int rc, const char *verb, uint64_t offset)
{
	const char *path = medium_traits(*v->medium)->path;

	v->result->outcome = VERIFY_FAILED;
	medium_check(*v->medium, MEDIUM_CHECK_FAILED);
	if (medium_lost(*v->medium)) {
		medium_explain(*v->medium, err);
		if (v->hooks->resumable)
			error_add(err, ", then go on with --resume");
		/* What the kernel said of it (no space, an I/O error) would only mislead. */
		error_add(err, " (it stopped at a %s at byte %llu)", verb,
			(unsigned long long)offset);
		return -1;
	}
	if (v->patience.silent) {
		transfer_explain_silence(*v->medium, &v->patience, err);
		if (v->hooks->resumable)
			error_add(err, ", then go on with --resume");
		error_add(err, " (it stopped at a %s at byte %llu)", verb,
			(unsigned long long)offset);
		return -1;
	}
	error_sys(err, ERROR_IO, -rc, "cannot %s '%s' at offset %llu", verb, path,
		(unsigned long long)offset);
	if (rc == -ENODEV || rc == -ENXIO || rc == -ENOMEDIUM)
		error_add(err, "; the target is gone: %s%s",
			advice_gone(medium_traits(*v->medium)->transport),
			v->hooks->resumable ? ", then go on with --resume" : "");
	else if (rc == -ENOSPC && medium_traits(*v->medium)->kind == MEDIUM_IMAGE)
		error_add(err, "; the filesystem that holds the image is full");
	return -1;
}

/* Between requests: is it time to stop? */
static bool should_stop(struct verify *v)
{
	struct verify_result *r = v->result;

	if (watch_should_stop(v->hooks->watch))
		r->outcome = VERIFY_INTERRUPTED;
	else if (v->plan->give_up_after &&
		 r->reads.requests + r->writes.requests >= v->plan->give_up_after)
		r->outcome = VERIFY_GAVE_UP;
	else
		return false;
	return true;
}

static int checkpoint(struct verify *v, struct error *err)
{
	damage_close_range(&v->result->damage);
	if (!v->hooks->checkpoint)
		return 0;
	return v->hooks->checkpoint(v->hooks->context, v->result, err);
}

static bool checkpoint_is_due(struct verify *v)
{
	uint64_t now;

	if (!v->plan->checkpoint_ns)
		return false;
	now = medium_now_ns(*v->medium);
	if (now < v->checkpoint_at_ns)
		return false;
	v->checkpoint_at_ns = now + v->plan->checkpoint_ns;
	return true;
}

/* A failed flush is the target's failure, not the end of the run: what it lost will be found by reading. It is no failure of who
 * serves nobody any more, but one of who does again: the kernel tells of it once. */
static int flush(struct verify *v, struct error *err)
{
	uint64_t start = medium_now_ns(*v->medium);
	int rc = medium_flush(*v->medium);

	v->result->flush_ns += medium_since_ns(*v->medium, start);
	if (rc < 0 && (medium_check(*v->medium, MEDIUM_CHECK_FAILED) < 0 || transfer_is_final(-rc)))
		return fail(v, err, rc, "flush", v->plan->region_start);
	if (rc < 0 && transfer_believe(*v->medium, &v->patience, 0,
			      medium_traits(*v->medium)->offset_align_bytes, true) < 0)
		return fail(v, err, rc, "flush", v->plan->region_start);
	if (rc < 0 && !v->result->flush_errno)
		v->result->flush_errno = -rc;
	return 0;
}

/* A request of the slot's data. Before a refusal counts it is asked whether the target serves at all. That it did not for a while
 * is said: the failed requests stay counted, and no block. */
static int move_believed(
	struct verify *v, struct slot *s, bool write, uint64_t offset, uint32_t length)
{
	struct medium *m = *v->medium;
	struct transfer_failures *f = write ? &v->result->writes : &v->result->reads;
	const struct transfer_failures before = *f;
	uint32_t unit = medium_traits(m)->offset_align_bytes;
	int rc = TRANSFER_AGAIN;

	for (int tries = 0; rc == TRANSFER_AGAIN; tries++) {
		f->blocks = before.blocks;
		rc = write ? transfer_write(m, offset, s->bytes, length, unit, f)
			   : transfer_read(m, offset, s->bytes, length, unit, &s->refused, f);
		if (rc == 0)
			rc = transfer_believe(
				m, &v->patience, offset, unit, f->blocks > before.blocks);
		if (tries == TRANSFER_AGAIN_MAX && rc == TRANSFER_AGAIN)
			rc = 0;
	}
	if (rc < 0)
		*f = before;
	return rc;
}

static int write_one(struct verify *v, struct slot *s, struct error *err)
{
	struct verify_result *r = v->result;
	uint64_t offset, failed = r->writes.blocks;
	uint32_t length, unit = medium_traits(*v->medium)->offset_align_bytes;
	int rc;

	locate(v, s->index, &offset, &length);
	rc = move_believed(v, s, true, offset, length);
	if (rc < 0)
		return fail(v, err, rc, "write", offset);
	r->written_bytes += length - (r->writes.blocks - failed) * unit;
	r->position.next = s->index + 1;
	v->bytes_done += length;
	return 0;
}

static int write_requests(struct verify *v, struct error *err)
{
	struct verify_position *at = &v->result->position;

	while (at->next < v->pass.requests) {
		if (should_stop(v))
			return 0;
		if (write_one(v, pipeline_next(&v->pipeline), err) < 0)
			return -1;
		pipeline_done(&v->pipeline);
		report_progress(v, "writing");
		/* Resuming goes on behind a checkpoint, so what lies before one must be stored. */
		if (checkpoint_is_due(v) && (flush(v, err) < 0 || checkpoint(v, err) < 0))
			return -1;
	}
	return 0;
}

/* A clock that was put back gives 0. */
static uint64_t beyond(uint64_t all_ns, uint64_t part_ns)
{
	return all_ns > part_ns ? all_ns - part_ns : 0;
}

static int write_phase(struct verify *v, struct error *err)
{
	struct verify_result *r = v->result;
	uint64_t start = medium_now_ns(*v->medium), flushed = r->flush_ns,
		 waited = v->patience.waited_ns;
	int rc = pipeline_start(
		&v->pipeline, PIPELINE_MAKES, make_slot, v, r->position.next, v->pass.requests);

	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot start a thread");
	rc = write_requests(v, err);
	pipeline_stop(&v->pipeline);
	r->write_ns += beyond(medium_since_ns(*v->medium, start),
		r->flush_ns - flushed + v->patience.waited_ns - waited);
	if (r->outcome != VERIFY_FAILED && flush(v, err) < 0)
		rc = -1;
	return rc;
}

static int read_one(struct verify *v, struct slot *s, struct error *err)
{
	struct verify_result *r = v->result;
	uint64_t offset, failed = r->reads.blocks;
	uint32_t length, unit = medium_traits(*v->medium)->offset_align_bytes;
	int rc;

	s->index = r->position.next;
	locate(v, s->index, &offset, &length);
	s->refused.block_bytes = v->plan->block_bytes;
	rc = move_believed(v, s, false, offset, length);
	if (rc < 0)
		return fail(v, err, rc, "read", offset);
	r->read_bytes += length - (r->reads.blocks - failed) * unit;
	r->position.next++;
	v->bytes_done += length;
	return 0;
}

static int read_requests(struct verify *v, struct error *err)
{
	struct verify_position *at = &v->result->position;

	while (at->next < v->pass.requests) {
		if (should_stop(v))
			return 0;
		if (read_one(v, pipeline_next(&v->pipeline), err) < 0)
			return -1;
		pipeline_done(&v->pipeline);
		report_progress(v, v->plan->write ? "reading back" : "reading");
		if (checkpoint_is_due(v)) {
			pipeline_drain(&v->pipeline);
			if (checkpoint(v, err) < 0)
				return -1;
		}
	}
	return 0;
}

static int read_phase(struct verify *v, struct error *err)
{
	uint64_t start = medium_now_ns(*v->medium), waited = v->patience.waited_ns;
	int rc = pipeline_start(&v->pipeline, PIPELINE_TAKES, judge_slot, v, 0, 0);

	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot start a thread");
	rc = read_requests(v, err);
	pipeline_stop(&v->pipeline);
	v->result->read_ns +=
		beyond(medium_since_ns(*v->medium, start), v->patience.waited_ns - waited);
	return rc;
}

/* Nothing the host kept may answer the reads. */
static int leave_cache(struct verify *v, struct error *err)
{
	int rc = medium_drop_cache(*v->medium);

	if (rc < 0)
		return fail(v, err, rc, "drop the host's cache of", v->plan->region_start);
	if (!v->hooks->reopen)
		return 0;
	if (v->hooks->reopen(v->hooks->context, v->medium, err) < 0) {
		v->result->outcome = VERIFY_FAILED;
		return -1;
	}
	return 0;
}

static void enter_pass(struct verify *v, uint32_t pass)
{
	verify_pass_at(v->plan, pass, &v->pass);
	permutation_init(
		&v->order, v->pass.requests, random_at(v->plan->seed, UINT64_C(1000) + pass));
}

static void next_phase(struct verify *v)
{
	struct verify_position *at = &v->result->position;

	at->next = 0;
	if (!at->reading && v->plan->read) {
		at->reading = true;
		return;
	}
	at->pass++;
	at->reading = !v->plan->write;
}

static uint64_t failures_so_far(const struct verify_result *r)
{
	return r->reads.requests + r->writes.requests + (r->flush_errno != 0);
}

/* A request that failed is told as such; the kernel counts it as well. */
static int watch_errors(
	struct verify *v, int (*phase)(struct verify *v, struct error *err), struct error *err)
{
	struct verify_result *r = v->result;
	struct medium_counts before, after;
	uint64_t failed = failures_so_far(r);
	bool known = medium_counts(*v->medium, &before) == 0 && before.errors_known;
	int rc = phase(v, err);

	if (known && rc == 0 && failures_so_far(r) == failed &&
		medium_counts(*v->medium, &after) == 0 && after.errors > before.errors)
		r->device_errors += after.errors - before.errors;
	return rc;
}

static int run_phase(struct verify *v, struct error *err)
{
	struct verify_position *at = &v->result->position;
	int rc;

	enter_pass(v, at->pass);
	rc = medium_check(*v->medium, MEDIUM_CHECK_BATCH);
	if (rc < 0)
		return fail(v, err, rc, "use", v->plan->region_start);
	if (!at->reading)
		rc = watch_errors(v, write_phase, err);
	else if (leave_cache(v, err) < 0)
		return -1;
	else
		rc = watch_errors(v, read_phase, err);
	if (rc < 0 || v->result->outcome != VERIFY_COMPLETE)
		return rc;
	next_phase(v);
	return checkpoint(v, err);
}

static void count_bytes(struct verify *v)
{
	const struct verify_position *at = &v->result->position;

	for (uint32_t i = 0; i < verify_pass_count(v->plan); i++) {
		struct verify_pass pass;
		uint64_t bytes;

		verify_pass_at(v->plan, i, &pass);
		bytes = v->plan->spots ? pass.requests * pass.request_bytes : v->plan->region_bytes;
		v->bytes_total += bytes * (v->plan->write + v->plan->read);
		if (i < at->pass)
			v->bytes_done += bytes * (v->plan->write + v->plan->read);
		else if (i == at->pass)
			v->bytes_done += (at->reading && v->plan->write ? bytes : 0) +
					 at->next * pass.request_bytes;
	}
}

static int prepare(struct verify *v, struct error *err)
{
	const struct verify_plan *p = v->plan;
	const struct medium_traits *t = medium_traits(*v->medium);
	uint32_t largest = p->block_bytes;

	for (uint32_t i = 0; i < p->size_count; i++)
		largest = p->sizes[i] > largest ? p->sizes[i] : largest;
	judge_init(&v->judge, p->seed, p->block_bytes);
	v->verdicts = calloc(largest / p->block_bytes, sizeof *v->verdicts);
	if (!v->verdicts || pipeline_init(&v->pipeline, largest, t->memory_align_bytes,
				    largest / p->block_bytes, !t->virtual_clock) < 0)
		return error_set(err, ERROR_IO, "out of memory for requests of %u bytes", largest);
	count_bytes(v);
	v->checkpoint_at_ns = medium_now_ns(*v->medium) + p->checkpoint_ns;
	return 0;
}

int verify_run(struct medium **m, const struct verify_plan *p, const struct verify_hooks *hooks,
	struct verify_result *r, struct error *err)
{
	struct verify *v = aligned_alloc(64, (sizeof *v + 63) / 64 * 64);
	int rc;

	r->outcome = VERIFY_FAILED;
	if (!v)
		return error_set(err, ERROR_IO, "out of memory");
	r->outcome = VERIFY_COMPLETE;
	memset(v, 0, sizeof *v);
	v->plan = p;
	v->hooks = hooks;
	v->result = r;
	v->medium = m;
	rc = prepare(v, err);
	while (rc == 0 && r->outcome == VERIFY_COMPLETE && r->position.pass < verify_pass_count(p))
		rc = run_phase(v, err);
	damage_close_range(&r->damage);
	if (rc < 0)
		r->outcome = VERIFY_FAILED;
	else if (r->outcome == VERIFY_COMPLETE && p->write && p->read)
		same_place_look(&r->same_place, *m, &v->judge, &r->damage, verify_generations(p));
	pipeline_release(&v->pipeline);
	free(v->verdicts);
	free(v);
	return rc;
}
