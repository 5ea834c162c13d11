/* A modelled gadget at work. */
#include "medium/model_gadget.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"

/* until a host knows the device again: an order of magnitude, from memory */
static const double replug_ns = 1e9;

int model_gadget_init(
	struct model_gadget *g, const struct model_spec *spec, bool writable, struct error *err)
{
	*g = (struct model_gadget){ .spec = *spec, .sequence = 1 };
	model_pace_init(&g->pace, &g->spec);
	if (model_memory_open(&g->memory, &g->spec, writable, err) < 0)
		return -1;
	g->scratch = malloc((size_t)spec->link.request_limit_bytes);
	if (g->scratch && model_pending_init(&g->pending, (size_t)spec->firmware.write_behind_bytes,
				  (size_t)spec->device.block_bytes) == 0)
		return 0;
	model_gadget_release(g);
	return error_set(err, ERROR_IO, "out of memory for the gadget model");
}

void model_gadget_release(struct model_gadget *g)
{
	free(g->scratch);
	g->scratch = NULL;
	model_pending_release(&g->pending);
	model_memory_close(&g->memory);
}

/* What a firmware that drains when idle has begun by t, if no command came since the last one. */
static void drain_while_idle(struct model_gadget *g, double t)
{
	double from = g->busy_until_ns + g->spec.firmware.idle_ns;

	if (g->spec.firmware.drain != MODEL_DRAIN_AFTER_IDLE || from >= t)
		return;
	model_pending_schedule(&g->pending, g->pending.count, from);
	model_pending_hold(&g->pending, t);
}

/* A command arrives: after the host's own gap, which a waiting request hides, and when the last one is done. */
static double begin(struct model_gadget *g)
{
	double t;

	model_pace_draw(&g->pace);
	g->pace.data_end = 0;
	g->sent_ns = g->now_ns + g->spec.link.host_gap_ns;
	t = fmax(g->sent_ns, g->busy_until_ns);
	drain_while_idle(g, t);
	t = model_pace_link_begin(&g->pace, t);
	g->taken_ns = t - g->spec.firmware.request_cost_ns;
	return t;
}

static void end(struct model_gadget *g, double t)
{
	g->now_ns = round(model_pace_link_end(&g->pace, t));
	g->busy_until_ns = g->now_ns;
}

/* The oldest pending block reaches the card, or does not. */
static int store_oldest(struct model_gadget *g)
{
	const struct model_pending_block *b = model_pending_block(&g->pending, 0);
	const unsigned char *data = model_pending_data(&g->pending, 0);
	int rc = 0;

	if (b->lost) {
		; /* acknowledged, never stored */
	} else if (model_fault_is_bad(&g->spec, b->at)) {
		g->background_failed = true;
		g->background_failed_at = b->at;
	} else if (b->lost_at_cut) {
		rc = model_memory_put_volatile(&g->memory, b->at, data);
	} else {
		rc = model_memory_put(&g->memory, b->at, data, g->pending.block_bytes);
	}
	model_pending_pop(&g->pending);
	return rc;
}

/* Stores what the card has finished by t. */
static int settle(struct model_gadget *g, double t)
{
	int rc = 0;

	while (!rc && g->pending.count && model_pending_block(&g->pending, 0)->finish_ns <= t)
		rc = store_oldest(g);
	return rc;
}

/* What waited in the buffer is dropped: it was not meant for this card. */
static int swap_card(struct model_gadget *g)
{
	enum model_swap_told told = (enum model_swap_told)g->spec.events.swap_told;
	int rc = settle(g, g->now_ns);

	model_pending_drop(&g->pending);
	g->background_failed = false;
	g->attention = told == MODEL_SWAP_ATTENTION;
	g->was_reset = told == MODEL_SWAP_RESET;
	g->sequence += told == MODEL_SWAP_SEQUENCE;
	return rc < 0 ? rc : model_memory_swap(&g->memory);
}

int model_gadget_arrive(struct model_gadget *g)
{
	const struct model_events *e = &g->spec.events;
	int rc = 0;

	g->commands++;
	if (g->commands == e->unplug_at)
		g->unplugged = true;
	if (g->commands == e->reset_at)
		g->was_reset = true;
	if (g->commands == e->swap_at)
		rc = swap_card(g);
	return g->unplugged ? -ENODEV : rc;
}

int model_gadget_settle(struct model_gadget *g)
{
	drain_while_idle(g, g->now_ns);
	return settle(g, g->now_ns);
}

/* Time goes on to t, and the card with it. */
static int pass(struct model_gadget *g, double t)
{
	int rc = model_line_wait(g->line, t);

	return rc < 0 ? rc : settle(g, t);
}

/* Until only `left` blocks wait. */
static int settle_to(struct model_gadget *g, double *t, size_t left)
{
	struct model_pending *q = &g->pending;

	model_pending_schedule(q, q->count, *t);
	if (q->count > left)
		*t = fmax(*t, model_pending_block(q, q->count - left - 1)->finish_ns);
	return pass(g, *t);
}

static int settle_all(struct model_gadget *g, double *t)
{
	return settle_to(g, t, 0);
}

/* The buffer is full: wait for the card to take a block, or all. */
static int make_room(struct model_gadget *g, double *t)
{
	struct model_pending *q = &g->pending;

	if (g->spec.firmware.when_full == MODEL_FULL_ALL)
		return settle_all(g, t);
	if (!q->scheduled)
		model_pending_schedule(q, 1, *t);
	*t = fmax(*t, model_pending_block(q, 0)->finish_ns);
	return pass(g, *t);
}

/* Overlapping writes in the wrong order: the newer data goes first, the older last. */
static void reorder(struct model_gadget *g, struct model_pending_block *b, unsigned char *data)
{
	ptrdiff_t older = model_pending_find(&g->pending, b->at);
	unsigned char *theirs;

	if (older < 0)
		return;
	theirs = model_pending_data(&g->pending, (size_t)older);
	for (size_t i = 0; i < g->pending.block_bytes; i++) {
		unsigned char swap = theirs[i];

		theirs[i] = data[i];
		data[i] = swap;
	}
}

/* A write command's data: as it comes, and what happens to it. */
struct intake {
	const struct model_command *c;
	const struct model_harm *h;
	const unsigned char *data;
};

/* What the card is to hold of [offset, offset+n), in scratch. */
static void spoil(struct model_gadget *g, const struct intake *in, size_t offset, size_t n)
{
	model_fault_spoil(&g->spec, in->h, in->data, in->c->len, offset, g->scratch + offset, n);
}

/* One block comes in over the link and queues for the card. *t: when it is in the buffer. */
static int take_block(struct model_gadget *g, const struct intake *in, size_t offset, double *t)
{
	const struct model_command *c = in->c;
	const struct model_harm *h = in->h;
	struct model_pending *q = &g->pending;
	size_t block = q->block_bytes;
	struct model_pending_block b = { .at = c->at + offset + h->shift_bytes,
		.lost = h->lost || (h->drops_last && offset + block == c->len),
		.lost_at_cut = h->lost_at_cut };
	double come;
	int rc = settle(g, *t);

	if (!rc && q->count == q->room)
		rc = make_room(g, t);
	come = *t + model_pace_link_data(&g->pace, offset + block) -
	       model_pace_link_data(&g->pace, offset);
	if (!rc)
		rc = model_line_carry(g->line, model_pace_upto(c, offset + block), *t, come);
	if (rc < 0)
		return rc;
	*t = g->pace.data_end = come;
	spoil(g, in, offset, block);
	b.card_ns = model_pace_card(&g->pace, c, offset, block);
	if (g->spec.faults.reorder_overlaps)
		reorder(g, &b, g->scratch + offset);
	model_pending_push(q, &b, g->scratch + offset);
	if (g->spec.firmware.drain == MODEL_DRAIN_AT_ONCE)
		model_pending_schedule(q, 1, *t);
	return 0;
}

/* With FUA a failure of this very write is its own error, not a deferred one. */
static int own_failure(struct model_gadget *g, const struct model_command *c)
{
	if (!g->background_failed || g->background_failed_at - c->at >= c->len ||
		g->spec.faults.bad_report == MODEL_REPORT_NEVER)
		return 0;
	g->background_failed = false;
	return -EIO;
}

/* A firmware that does one thing at a time: it has answered, stores, and takes the next command only then. */
static void store_before_next(struct model_gadget *g)
{
	struct model_pending *q = &g->pending;

	if (g->spec.firmware.drain != MODEL_DRAIN_BEFORE_NEXT || !q->count)
		return;
	model_pending_schedule(q, q->count, g->now_ns);
	g->busy_until_ns = model_pending_block(q, q->count - 1)->finish_ns;
}

static int write_behind(struct model_gadget *g, const struct intake *in, double t)
{
	const struct model_command *c = in->c;
	int rc = pass(g, t);

	for (size_t at = 0; !rc && at < c->len; at += g->pending.block_bytes)
		rc = take_block(g, in, at, &t);
	if (!rc && c->fua && !g->spec.faults.ignore_fua) {
		rc = settle_all(g, &t);
		if (!rc)
			rc = own_failure(g, c);
	}
	end(g, t);
	store_before_next(g);
	return rc;
}

/* Up to the first bad block; *len is how much of the command was good. */
static int refuse_bad(const struct model_gadget *g, const struct model_command *c, size_t *len)
{
	size_t block = (size_t)g->spec.device.block_bytes;

	for (*len = 0; *len < c->len; *len += block)
		if (model_fault_is_bad(&g->spec, c->at + *len))
			return -EIO;
	return 0;
}

/* How much of a write that would have taken the card from start to end it had finished when it was given up. */
static size_t finished(const struct model_gadget *g, size_t len, double start, double end)
{
	double at = g->line->given_up, block = (double)g->spec.device.block_bytes;
	double done = at > start ? floor((at - start) / (end - start) * (double)len / block) : 0;
	size_t bytes = (size_t)(fmin(done * block, (double)len)), carried = g->line->carried;

	return bytes < carried ? bytes : carried / (size_t)block * (size_t)block;
}

static int write_now(struct model_gadget *g, const struct intake *in, double t)
{
	const struct model_command *c = in->c;
	double start = model_pace_card_start(&g->pace, c, t);
	size_t good, done;
	int failed = refuse_bad(g, c, &good), rc = 0;
	int given_up = model_pace_through(&g->pace, c, &t, g->line);

	end(g, t);
	if (in->h->drops_last && good == c->len)
		good -= (size_t)g->spec.device.block_bytes;
	if (given_up && (done = finished(g, c->len, start, t)) < good)
		good = done;
	spoil(g, in, 0, good);
	if (!in->h->lost && good)
		rc = model_memory_put(&g->memory, c->at + in->h->shift_bytes, g->scratch, good);
	return given_up < 0 ? given_up : rc < 0 ? rc : failed;
}

int model_gadget_write(struct model_gadget *g, uint64_t at, const void *buf, size_t len, bool fua)
{
	struct model_command c = { .write = true, .fua = fua, .at = at, .len = len };
	double t = model_pace_link_data_start(&g->pace, begin(g));
	struct model_harm h = model_fault_count(&g->fault_counts, &g->spec, &c);
	struct intake in = { .c = &c, .h = &h, .data = buf };

	c.ahead = model_fault_ahead(&g->spec, &h);
	return g->pending.room ? write_behind(g, &in, t) : write_now(g, &in, t);
}

/* Newer data of pending writes over what the card has. Tells how many blocks came from the buffer. */
static size_t overlay(const struct model_gadget *g, uint64_t at, unsigned char *buf, size_t len)
{
	size_t block = g->pending.block_bytes, found = 0;

	for (size_t i = 0; i < len; i += block) {
		ptrdiff_t newest = model_pending_find(&g->pending, at + i);

		if (newest < 0)
			continue;
		memcpy(buf + i, model_pending_data(&g->pending, (size_t)newest), block);
		found++;
	}
	return found;
}

/* A read while writes are pending, without waiting for them. */
static int read_beside_pending(
	struct model_gadget *g, const struct model_command *c, void *buf, double t)
{
	bool all_in_buffer = false;
	double done = t;
	int rc = model_memory_get(&g->memory, c->at, buf, c->len);

	if (!g->spec.faults.stale_reads)
		all_in_buffer = overlay(g, c->at, buf, c->len) == c->len / g->pending.block_bytes;
	if (all_in_buffer) {
		t = model_pace_link_data_start(&g->pace, t);
		done = g->pace.data_end = t + model_pace_link_data(&g->pace, c->len);
		if (!rc)
			rc = model_line_carry(g->line, c->len, t, done);
	} else {
		model_pace_through(&g->pace, c, &done, NULL);
		model_pending_delay(&g->pending, t, done - t);
		if (!rc && g->line)
			rc = model_pace_through(&g->pace, c, &t, g->line);
	}
	end(g, done);
	return rc;
}

static int read_from_card(
	struct model_gadget *g, const struct model_command *c, void *buf, double t)
{
	int rc = settle_all(g, &t);

	if (!rc)
		rc = model_memory_get(&g->memory, c->at, buf, c->len);
	if (!rc)
		rc = model_pace_through(&g->pace, c, &t, g->line);
	end(g, t);
	return rc;
}

int model_gadget_read(struct model_gadget *g, uint64_t at, void *buf, size_t len)
{
	struct model_command c = { .at = at, .len = model_fault_readable(&g->spec, at, len) };
	double t = begin(g);
	int rc = pass(g, t);

	if (rc < 0)
		return rc;
	if (g->pending.count &&
		(g->spec.faults.stale_reads || g->spec.firmware.reads == MODEL_READ_FROM_BUFFER))
		rc = read_beside_pending(g, &c, buf, t);
	else
		rc = read_from_card(g, &c, buf, t);
	return !rc && c.len < len ? -ENODATA : rc;
}

int model_gadget_nothing(struct model_gadget *g)
{
	double t = begin(g);
	int rc = pass(g, t);

	end(g, t);
	return rc;
}

static int drain(struct model_gadget *g, size_t left)
{
	double t = begin(g);
	int rc = settle_to(g, &t, left);

	end(g, t);
	return rc;
}

int model_gadget_synchronize(struct model_gadget *g)
{
	size_t left = (size_t)(g->spec.faults.flush_leaves_bytes / g->spec.device.block_bytes);
	int rc = g->spec.faults.ignore_flush ? model_gadget_nothing(g) : drain(g, left);

	if (rc < 0 || !g->background_failed || g->spec.faults.bad_report != MODEL_REPORT_FLUSH)
		return rc;
	g->background_failed = false;
	return -EIO;
}

int model_gadget_eject(struct model_gadget *g)
{
	int rc = g->spec.faults.eject_without_drain ? model_gadget_nothing(g) : drain(g, 0);

	if (!rc)
		g->ejected = !g->spec.faults.stays_after_eject;
	return rc;
}

/* The block the card was at when power went: old up to here, new from there; a fault tears it. */
static int tear(struct model_gadget *g)
{
	const struct model_pending_block *b = model_pending_block(&g->pending, 0);
	size_t block = g->pending.block_bytes, n;
	unsigned char *mixed = g->scratch;
	int rc;

	if (!g->spec.faults.torn_sectors || b->lost || b->start_ns >= g->now_ns)
		return 0;
	rc = model_memory_get(&g->memory, b->at, mixed, block);
	if (rc < 0)
		return rc;
	n = 1 + (size_t)(random_at(g->spec.device.seed, g->fault_counts.writes) % (block - 1));
	memcpy(mixed, model_pending_data(&g->pending, 0), n);
	return model_memory_put(&g->memory, b->at, mixed, block);
}

static int cut_power(struct model_gadget *g)
{
	int rc = settle(g, g->now_ns);

	if (!rc && g->pending.count)
		rc = tear(g);
	model_pending_drop(&g->pending);
	g->background_failed = false;
	if (!rc)
		rc = model_memory_cut_power(&g->memory);
	return rc;
}

int model_gadget_replug(struct model_gadget *g, bool power_lost)
{
	double t = g->now_ns;
	int rc = power_lost ? cut_power(g) : settle_all(g, &t);

	g->now_ns = round(t) + replug_ns;
	g->busy_until_ns = g->now_ns;
	g->ejected = g->attention = g->was_reset = g->unplugged = false;
	g->removal_prevented = false;
	g->sequence++;
	return rc;
}
