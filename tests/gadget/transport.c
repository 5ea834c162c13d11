/* Bulk-only transport on the bus. USB Mass Storage Class, Bulk-Only Transport 1.0. */
#include "gadget/transport.h"

#include <errno.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "gadget/bus.h"
#include "gadget/clock.h"
#include "gadget/line.h"
#include "gadget/order.h"

enum { CBW_BYTES = 31, CSW_BYTES = 13, PACKET_MAX = 512 };
static const uint32_t cbw_signature = 0x43425355, csw_signature = 0x53425355;

struct wrapper {
	uint32_t tag, length;
	bool in;
	uint8_t lun, cdb_length;
	uint8_t cdb[16];
};

struct transport {
	struct bus *bus;
	uint8_t packet[PACKET_MAX], csw[CSW_BYTES];
	unsigned char *data; /* of the command at hand */
	struct wrapper wrapper;
	struct line line;
	struct truth note;
	uint8_t interrupted
		[16]; /* the last command that was, which is served when it comes again */
	bool noted; /* there is a note to write */
	/* a command that the reset which ended it did not end for the gadget */
	bool stuck;
	struct model_bulk_command left;
};

static uint32_t little_endian(const uint8_t *p)
{
	return (uint32_t)p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16 | (uint32_t)p[3] << 24;
}

static void put_little_endian(uint8_t *p, uint32_t v)
{
	for (int i = 0; i < 4; i++, v >>= 8)
		p[i] = (uint8_t)v;
}

/* Valid and meaningful: 6.2.1, 6.2.2. */
static bool read_wrapper(struct wrapper *w, const uint8_t *p, size_t n, unsigned units)
{
	if (n != CBW_BYTES || little_endian(p) != cbw_signature)
		return false;
	*w = (struct wrapper){ .tag = little_endian(p + 4),
		.length = little_endian(p + 8),
		.in = p[12] & 0x80,
		.lun = p[13] & 0x0F,
		.cdb_length = p[14] & 0x1F };
	memcpy(w->cdb, p + 15, sizeof w->cdb);
	return w->lun < units && w->cdb_length >= 1 && w->cdb_length <= sizeof w->cdb;
}

/* 6.6.1: both endpoints are halted, and again when the host clears them, until a reset recovery. */
static int refuse_wrapper(struct bus *b)
{
	int rc = 0;

	while (!rc) {
		pipes_stall(&b->pipes, PIPE_IN);
		pipes_stall(&b->pipes, PIPE_OUT);
		rc = line_hang(b, clock_ns() + 1e6);
	}
	return rc;
}

/* The log is written while the next command is awaited: it costs time. */
static int await_wrapper(struct transport *t, size_t *got)
{
	struct bus *b = t->bus;
	int rc = pipes_start(&b->pipes, PIPE_OUT, t->packet, b->packet_bytes);

	if (t->noted) {
		t->note.next = clock_ns();
		truth_command(&b->truth, &t->note);
		t->noted = false;
	}
	b->idle = true;
	while (!rc && b->pipes.busy)
		rc = bus_pass(b, INFINITY);
	b->idle = false;
	pipes_cancel(&b->pipes);
	*got = b->pipes.result > 0 ? (size_t)b->pipes.result : 0;
	return rc < 0 ? rc : b->pipes.result < 0 ? (int)b->pipes.result : 0;
}

/* Whatever data the model did not have carried. */
static int finish_data(struct transport *t, const struct model_bulk_command *x)
{
	size_t got;
	int rc;

	if (!x->length)
		return 0;
	if (x->excess)
		memset(t->data + x->moved, 0, x->excess);
	rc = line_finish(&t->line, x->in ? x->moved + x->excess : x->length);
	if (!rc && x->in && !x->stalls && x->moved < x->length &&
		x->moved % t->bus->packet_bytes == 0)
		rc = bus_move(
			t->bus, PIPE_IN, t->data, 0, &got); /* ends what no short packet ended */
	return rc;
}

/* The stall stands for the data, or for the status where there is none. */
static int finish(struct transport *t, const struct model_bulk_command *x)
{
	int rc = finish_data(t, x);

	if (!rc && x->stalls)
		rc = bus_stall(t->bus, PIPE_IN);
	return rc;
}

static int send_status(struct transport *t, const struct model_bulk_command *x, double due)
{
	struct bus *b = t->bus;
	size_t got;
	int rc = line_wait(&t->line, due + b->extra.status);

	if (rc < 0)
		return rc;
	put_little_endian(t->csw, csw_signature);
	put_little_endian(t->csw + 4, t->wrapper.tag + x->wrong_tag);
	put_little_endian(t->csw + 8, x->residue);
	t->csw[12] = x->status;
	t->note.due = due + t->line.shift + b->extra.status;
	t->note.ready = clock_ns();
	rc = bus_move(b, PIPE_IN, t->csw, sizeof t->csw, &got);
	t->note.sent = clock_ns();
	return rc;
}

/* Both are stuck in the middle of their data. */
static bool gets_stuck(struct transport *t, const struct model_bulk_command *x, enum slip_kind slip)
{
	if (slip == SLIP_UNDONE) {
		t->stuck = true;
		t->left = *x;
		return true;
	}
	if (!t->bus->interrupts || !memcmp(t->interrupted, x->cdb, sizeof x->cdb))
		return false;
	memcpy(t->interrupted, x->cdb, sizeof x->cdb);
	return true;
}

static int run_command(
	struct transport *t, struct unit *u, struct model_bulk_command *x, enum slip_kind slip)
{
	struct model_gadget *g = &u->gadget;
	struct model_meaning m = model_scsi_meaning(&g->spec, x->cdb);
	double arrived = clock_ns() + t->bus->extra.data;
	int rc;

	line_begin(&t->line, t->bus, &t->note, x, m.exact ? (size_t)m.bytes : 0, &g->spec.link);
	if (m.exact && gets_stuck(t, x, slip))
		t->line.stop_at = (size_t)(m.bytes + 1) / 2;
	g->now_ns = g->busy_until_ns = arrived;
	g->line = &t->line.base;
	rc = model_bulk_run(&u->bulk, x);
	g->line = NULL;
	slip_status(slip, x);
	if (!rc && (!x->silent || x->stalls))
		rc = finish(t, x);
	x->silent |= slip == SLIP_LOST;
	if (rc < 0 || x->silent)
		return rc;
	return send_status(t, x, g->now_ns);
}

static bool takes_silence(struct bus *b, uint8_t opcode)
{
	if (!b->silences || (b->silent_opcode >= 0 && b->silent_opcode != opcode))
		return false;
	b->silences--;
	return true;
}

static int serve(struct transport *t)
{
	struct bus *b = t->bus;
	const struct wrapper *w = &t->wrapper;
	struct model_bulk_command x = { .length = w->length, .in = w->in, .data = t->data };
	enum slip_kind slip;
	int rc;

	memcpy(x.cdb, w->cdb, sizeof x.cdb);
	slip = slip_next(&b->slip, x.cdb);
	slip_shorten(slip, x.cdb);
	t->note = (struct truth){ .lun = w->lun, .received = clock_ns(), .end = "given-up" };
	t->noted = true;
	if (takes_silence(b, x.cdb[0])) {
		t->note.command = x;
		t->note.end = "silent";
		return line_hang(b, INFINITY);
	}
	rc = run_command(t, &b->units[w->lun], &x, slip);
	t->note.command = x;
	if (rc < 0)
		return rc;
	t->stuck = false;
	t->note.end = x.silent ? "silent" : "status";
	if (x.silent)
		return line_hang(b, INFINITY);
	/* Its model stores before it takes the next one. */
	if (b->units[w->lun].gadget.busy_until_ns + t->line.shift > clock_ns())
		rc = bus_pass(b, b->units[w->lun].gadget.busy_until_ns + t->line.shift);
	if (rc < 0)
		return rc;
	if (b->extra.next > 0) {
		double before = clock_ns();

		rc = bus_pass(b, before + b->extra.next);
		t->note.wait_next = clock_ns() - before;
	}
	return rc;
}

/* The reset that ended a command was acknowledged and not done: the gadget still moves that command's data, whatever the
 * host sends now, and then its status. The next reset ends it. */
static int go_on(struct transport *t)
{
	struct bus *b = t->bus;
	struct model_bulk_command *x = &t->left;
	size_t at = t->line.base.carried, got;
	int rc = 0;

	for (; !rc && at < x->length; at += got) {
		size_t n = x->length - at;

		if (!x->in)
			n = (size_t)number_round_up(n, b->packet_bytes);
		rc = bus_move(b, x->in ? PIPE_IN : PIPE_OUT, t->data + at, n, &got);
		if (!rc && !got)
			rc = -ECANCELED;
	}
	if (!rc)
		rc = model_bulk_run(&b->units[t->wrapper.lun].bulk, x);
	return rc < 0 ? rc : send_status(t, x, clock_ns());
}

/* What gave the last command up, or nothing; true: the host is there and may send. */
static bool attend(struct transport *t)
{
	struct bus *b = t->bus;
	bool reset, enabled;

	pthread_mutex_lock(&b->lock);
	reset = b->must_reset;
	b->must_reset = false;
	enabled = b->enabled;
	pthread_cond_broadcast(&b->changed);
	pthread_mutex_unlock(&b->lock);
	for (unsigned i = 0; reset && !t->stuck && i < b->unit_count; i++)
		model_bulk_reset(&b->units[i].bulk);
	if (reset)
		truth_event(&b->truth, clock_ns(), "reset");
	order_serve(b);
	return enabled && b->powered && !b->finished;
}

static void serve_next(struct transport *t)
{
	size_t got;
	int rc;

	if (t->stuck) {
		t->stuck = false;
		go_on(t);
		return;
	}
	rc = await_wrapper(t, &got);
	if (!rc)
		rc = read_wrapper(&t->wrapper, t->packet, got, t->bus->unit_count)
			     ? serve(t)
			     : refuse_wrapper(t->bus);
	/* The endpoint went before endpoint 0 could say so: it will in a moment. */
	if (rc < 0 && rc != -ECANCELED)
		bus_pass(t->bus, clock_ns() + 1e6);
}

int transport_run(struct bus *b, struct error *err)
{
	struct transport *t = calloc(1, sizeof *t);
	size_t room = LINE_SPARE_BYTES + PACKET_MAX;

	for (unsigned i = 0; i < b->unit_count; i++)
		if (b->units[i].gadget.spec.link.request_limit_bytes + PACKET_MAX > room)
			room = (size_t)b->units[i].gadget.spec.link.request_limit_bytes +
			       PACKET_MAX;
	if (t)
		t->data = malloc(room);
	if (!t || !t->data) {
		free(t);
		return error_set(err, ERROR_IO, "out of memory");
	}
	t->bus = b;
	while (!b->finished) {
		if (attend(t))
			serve_next(t);
		else if (!b->finished)
			pipes_wait(&b->pipes, bus_work_behind(b));
	}
	if (t->noted)
		truth_command(&b->truth, &t->note);
	free(t->data);
	free(t);
	return 0;
}
