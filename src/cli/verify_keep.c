/* Results of `verify` and their record. */
#include "cli/verify_keep.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "record/file.h"

const char *verify_keep_outcome(enum verify_outcome o)
{
	static const char *const names[] = { "complete", "interrupted", "gave up", "failed" };

	return names[o];
}

static struct verify_record_failures failures_of(const struct transfer_failures *f)
{
	return (struct verify_record_failures){ f->requests, f->retries, f->blocks, f->first_offset,
		(uint64_t)f->first_errno };
}

static struct transfer_failures failures_from(const struct verify_record_failures *f)
{
	return (struct transfer_failures){ f->requests, f->retries, f->blocks, f->first_offset,
		(int)f->first_errno };
}

static void state_of(struct verify_record_state *s, const struct verify_plan *p,
	const struct verify_result *r, const char *outcome)
{
	*s = (struct verify_record_state){ .pass = r->position.pass,
		.next = r->position.next,
		.reading = r->position.reading,
		.passes = verify_pass_count(p),
		.reads = failures_of(&r->reads),
		.writes = failures_of(&r->writes),
		.flush_errno = (uint64_t)r->flush_errno,
		.written_bytes = r->written_bytes,
		.read_bytes = r->read_bytes,
		.write_ns = r->write_ns,
		.flush_ns = r->flush_ns,
		.read_ns = r->read_ns,
		.device_errors = r->device_errors,
		.places_tried = r->same_place.tried,
		.places_same = r->same_place.same,
		.places_apart = r->same_place.apart,
		.range_count = r->damage.range_count,
		.totals = r->damage.totals };
	text_copy(s->outcome, sizeof s->outcome, outcome);
}

int verify_keep(struct verify_keeper *k, const struct verify_result *r, const char *outcome,
	struct error *err)
{
	struct verify_record_state s;

	for (; k->ranges_written < r->damage.range_count; k->ranges_written++)
		if (verify_write_range(k->writer, &r->damage.ranges[k->ranges_written], err) < 0)
			return -1;
	state_of(&s, k->plan, r, outcome);
	return verify_write_state(k->writer, &s, err);
}

void verify_keep_resume(struct verify_result *r, const struct verify_record *v)
{
	const struct verify_record_state *s = &v->state;
	struct damage *d = &r->damage;

	if (!v->stated)
		return;
	d->totals = s->totals;
	d->range_count = v->range_count < d->range_room ? v->range_count : d->range_room;
	if (d->range_count)
		memcpy(d->ranges, v->ranges, d->range_count * sizeof *d->ranges);
	r->position = (struct verify_position){ (uint32_t)s->pass, s->reading, s->next };
	r->reads = failures_from(&s->reads);
	r->writes = failures_from(&s->writes);
	r->flush_errno = (int)s->flush_errno;
	r->written_bytes = s->written_bytes;
	r->read_bytes = s->read_bytes;
	r->write_ns = s->write_ns;
	r->flush_ns = s->flush_ns;
	r->read_ns = s->read_ns;
	r->device_errors = s->device_errors;
	r->same_place = (struct same_place){ s->places_tried, s->places_same, s->places_apart };
}

int verify_keep_show(struct verify_record *v, const struct verify_plan *p,
	const struct verify_result *r, struct error *err)
{
	size_t count = r->damage.range_count;
	struct damage_range *copy = calloc(count ? count : 1, sizeof *copy);

	if (!copy)
		return error_set(err, ERROR_IO, "out of memory for the list of damage");
	if (count)
		memcpy(copy, r->damage.ranges, count * sizeof *copy);
	free(v->ranges);
	v->ranges = copy;
	v->range_count = count;
	state_of(&v->state, p, r, verify_keep_outcome(r->outcome));
	v->stated = true;
	return 0;
}
