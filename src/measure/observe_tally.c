/* Trace events added up. */
#include <string.h>

#include "measure/observe.h"
#include "platform/trace.h"

void observe_tally_init(struct observe_tally *t, uint64_t begun_ns)
{
	memset(t, 0, sizeof *t);
	t->begun_ns = begun_ns;
	t->next_sector[0] = t->next_sector[1] = UINT64_MAX;
	histogram_init(&t->times[0].ns);
	histogram_init(&t->times[1].ns);
	histogram_init(&t->flush_times.ns);
}

static void add_time(struct observe_times *t, uint64_t ns, uint64_t sent_ns, uint64_t bytes)
{
	histogram_add(&t->ns, ns);
	if (ns < t->slowest_ns)
		return;
	t->slowest_ns = ns;
	t->slowest_at_ns = sent_ns;
	t->slowest_bytes = bytes;
}

static uint64_t since_begin(const struct observe_tally *t, uint64_t at_ns)
{
	return at_ns > t->begun_ns ? at_ns - t->begun_ns : 0;
}

static void open_request(struct observe_tally *t, const struct trace_event *e)
{
	unsigned i = 0;

	while (i < t->open_top && t->open[i].used)
		i++;
	if (i == OBSERVE_IN_FLIGHT)
		return; /* its size is counted, its time is not */
	t->open[i] = (struct observe_open){ .sector = e->sector,
		.left = e->sectors,
		.sectors = e->sectors,
		.at_ns = e->at_ns,
		.used = true,
		.write = e->write };
	if (i == t->open_top)
		t->open_top++;
}

static size_t size_index(uint64_t sectors)
{
	return sectors < OBSERVE_SIZES ? (size_t)sectors : OBSERVE_SIZES;
}

static void close_request(struct observe_tally *t, struct observe_open *o, uint64_t at_ns)
{
	uint64_t ns = at_ns > o->at_ns ? at_ns - o->at_ns : 0;

	add_time(&t->times[o->write], ns, since_begin(t, o->at_ns), o->sectors * 512);
	t->service_ns[o->write][size_index(o->sectors)] += ns;
	o->used = false;
	while (t->open_top && !t->open[t->open_top - 1].used)
		t->open_top--;
}

/* A request may be answered in parts, from its start on. */
static void answer_request(struct observe_tally *t, const struct trace_event *e)
{
	for (unsigned i = 0; i < t->open_top; i++) {
		struct observe_open *o = &t->open[i];

		if (!o->used || o->write != e->write || e->sector != o->sector)
			continue;
		if (e->sectors < o->left) {
			o->sector += e->sectors;
			o->left -= e->sectors;
		} else {
			close_request(t, o, e->at_ns);
		}
		return;
	}
}

static void send_flush(struct observe_tally *t, const struct trace_event *e)
{
	t->flushes++;
	if (t->flush_count < sizeof t->flush_sent_ns / sizeof *t->flush_sent_ns)
		t->flush_sent_ns[t->flush_count++] = e->at_ns;
}

static void answer_flush(struct observe_tally *t, const struct trace_event *e)
{
	uint64_t sent = t->flush_sent_ns[0];

	if (!t->flush_count)
		return;
	memmove(t->flush_sent_ns, t->flush_sent_ns + 1,
		--t->flush_count * sizeof *t->flush_sent_ns);
	add_time(&t->flush_times, e->at_ns > sent ? e->at_ns - sent : 0, since_begin(t, sent), 0);
}

static void send_data(struct observe_tally *t, const struct trace_event *e)
{
	bool w = e->write;

	t->requests[w]++;
	t->bytes[w] += e->sectors * 512;
	t->count[w][size_index(e->sectors)]++;
	t->fua += e->fua;
	if (e->sector == t->next_sector[w]) {
		t->sequential[w]++;
		t->sequential_bytes[w] += e->sectors * 512;
	}
	t->next_sector[w] = e->sector + e->sectors;
	open_request(t, e);
}

void observe_tally_add(struct observe_tally *t, const struct trace_event *e)
{
	bool data = (e->read || e->write) && e->sectors, sent = e->kind == TRACE_ISSUE;

	if (e->kind == TRACE_LOST) {
		t->lost += e->lost;
		return;
	}
	t->errors += !sent && e->error;
	if (data && sent)
		send_data(t, e);
	else if (data)
		answer_request(t, e);
	else if (e->flush && sent)
		send_flush(t, e);
	else if (e->flush && !e->read && !e->write)
		answer_flush(t, e);
	else if (sent && e->discard)
		t->discards++;
	else if (sent)
		t->others++;
}
