/* The odd gadget. */
#include "support/odd_gadget.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "measure/offsets.h"
#include "medium/medium.h"
#include "medium/scsi.h"

enum { SIZE = 64 << 20, LIMIT = 120 * 1024, PIECE = 4096 };

struct waiting {
	double card_s, come_s;
};

struct odd {
	struct medium medium;
	struct odd_spec s;
	struct random random;
	struct waiting *queue; /* a ring of `room`, oldest first; that one may be at the card */
	size_t room, first, count;
	bool at_card, draining;
	double card_free, now, busy; /* s; busy: when the last command was over */
	double fresh_bytes; /* written since it rested */
	uint64_t commands, given, stored; /* given, stored: bytes */
	double link_x, card_x; /* of this command */
	double place_times, place_s; /* of this block's place */
	uint64_t last_stretch;
	bool written[SIZE / PIECE];
	struct medium_counts counts;
};

static struct odd *odd_of(struct medium *m)
{
	return (struct odd *)m;
}

/* ---- the card ---- */

static struct waiting *oldest(struct odd *g)
{
	return &g->queue[g->first];
}

static void begin_store(struct odd *g, double t, double times)
{
	g->card_free = fmax(t, g->card_free) + oldest(g)->card_s * times;
	g->at_card = true;
}

static void end_store(struct odd *g)
{
	g->at_card = false;
	g->first = (g->first + 1) % g->room;
	g->count--;
	g->stored += ODD_BLOCK;
	if (g->count <= g->room / 4)
		g->draining = false;
}

/* When the card begins with the oldest by the gadget's own rule, if no command comes before. */
static double own_start(const struct odd *g, bool in_command)
{
	double t = fmax(g->card_free, g->queue[g->first].come_s);
	double left_alone = in_command ? INFINITY : fmax(t, g->busy + g->s.idle_s);

	switch (g->s.drain) {
	case ODD_AT_ONCE:
	case ODD_TWO_SPEEDS:
		return t;
	case ODD_AFTER_IDLE:
		return left_alone;
	case ODD_HIGH_WATER:
		return g->draining ? t : left_alone;
	case ODD_ON_FLUSH:
		break;
	}
	return INFINITY;
}

/* What the card does by itself until t. */
static void advance(struct odd *g, double t, bool in_command)
{
	while (g->count) {
		double start, times = 1;

		if (g->at_card && g->card_free > t)
			return;
		if (g->at_card) {
			end_store(g);
			continue;
		}
		start = own_start(g, in_command);
		if (start >= t)
			return;
		if (g->s.drain == ODD_TWO_SPEEDS && (in_command || start < g->busy + g->s.idle_s))
			times = 1 / g->s.slow;
		begin_store(g, start, times);
	}
}

/* It must: until no more than `left` wait. When that is. */
static double force(struct odd *g, double t, size_t left)
{
	double times = g->s.drain == ODD_TWO_SPEEDS && left ? 1 / g->s.slow : 1;

	while (g->count > left) {
		if (!g->at_card)
			begin_store(g, t, times);
		t = fmax(t, g->card_free);
		end_store(g);
	}
	return t;
}

/* ---- commands ---- */

static double normal(struct random *r)
{
	double u = 1 - random_unit(r), v = random_unit(r);

	return sqrt(-2 * log(u)) * cos(6.283185307179586 * v);
}

static double begin(struct odd *g)
{
	double t = fmax(g->now, g->busy);

	advance(g, t, false);
	if (t - g->busy > g->s.rest_s)
		g->fresh_bytes = 0;
	if (g->s.asleep_s > 0 && t - g->busy > g->s.asleep_s)
		t += g->s.wake_s;
	g->link_x = fmax(0.2, 1 + g->s.jitter * normal(&g->random));
	g->card_x = fmax(0.2, 1 + g->s.jitter * normal(&g->random));
	g->commands++;
	t += g->s.link_s * g->link_x;
	advance(g, t, true);
	return t;
}

static void end(struct odd *g, double t)
{
	g->now = g->busy = t;
}

static double card_seconds(struct odd *g, bool first)
{
	const struct odd_spec *s = &g->s;
	double t =
		ODD_BLOCK / s->card_bps * g->place_times + s->block_s + (first ? s->command_s : 0);
	uint64_t before = g->given;

	g->given += ODD_BLOCK;
	g->fresh_bytes += ODD_BLOCK;
	if (s->tires_after_bytes && g->fresh_bytes > (double)s->tires_after_bytes)
		t /= s->tired;
	t = t * g->card_x + g->place_s;
	if (first && s->tail_in && random_below(&g->random, s->tail_in) == 0)
		t += s->tail_s;
	if (s->stall_every_bytes &&
		g->given / s->stall_every_bytes != before / s->stall_every_bytes)
		t += s->stall_s;
	return t;
}

static double make_room(struct odd *g, double t)
{
	if (g->s.full == ODD_ALL)
		return force(g, t, 0);
	return force(g, t, g->s.full == ODD_HALF ? g->room / 2 : g->room - 1);
}

static double take_block(struct odd *g, double t, bool first)
{
	advance(g, t, true);
	if (g->count == g->room)
		t = make_room(g, t);
	t += ODD_BLOCK / g->s.link_bps * g->link_x;
	g->queue[(g->first + g->count++) % g->room] = (struct waiting){ card_seconds(g, first), t };
	if (g->count >= g->room - g->room / 4)
		g->draining = true;
	return t;
}

/* Is that a place with another rate? 0: not at all, 1: wholly. */
static double other_place(struct odd *g, uint64_t at)
{
	uint64_t stretch = g->s.place_bytes ? at / g->s.place_bytes : 0;
	bool again = g->written[at / PIECE];

	switch (g->s.places) {
	case ODD_STRIPES:
		return (double)(stretch % 2);
	case ODD_START:
		return stretch == 0;
	case ODD_SLOPE:
		return fmin(1, (double)at / (double)g->s.place_bytes);
	case ODD_FRESH:
		return !again;
	case ODD_AGAIN:
		return again;
	case ODD_ERASES:
		g->place_s = stretch == g->last_stretch ? 0 : g->s.place_s;
		g->last_stretch = stretch;
		break;
	case ODD_ALIKE:
		break;
	}
	return 0;
}

static void go_to(struct odd *g, uint64_t at)
{
	g->place_times = 1 + other_place(g, at) * (1 / g->s.place_slow - 1);
	if ((at + ODD_BLOCK) % PIECE == 0)
		g->written[at / PIECE] = true;
}

static void write_command(struct odd *g, uint64_t at, size_t len)
{
	double t = begin(g);

	for (size_t i = 0; i < len; i += ODD_BLOCK) {
		go_to(g, at + i);
		if (g->room)
			t = take_block(g, t, i == 0);
		else
			t += ODD_BLOCK / g->s.link_bps * g->link_x + card_seconds(g, i == 0);
	}
	if (!g->room)
		g->stored += len;
	end(g, t + g->s.ack_s);
}

static void read_command(struct odd *g, size_t len)
{
	double t = begin(g), took = (double)len / g->s.card_read_bps * g->card_x + g->s.command_s;

	if (g->s.reads == ODD_READS_CACHED) {
		end(g, t + took + (double)len / g->s.link_bps * g->link_x);
		return;
	}
	if (g->s.reads == ODD_READS_WAIT)
		t = force(g, t, 0);
	else if (g->at_card)
		t = fmax(t, g->card_free);
	if (g->count && g->at_card)
		end_store(g);
	g->card_free = fmax(g->card_free, t + took);
	end(g, t + took + (double)len / g->s.link_bps * g->link_x);
}

static void flush_command(struct odd *g)
{
	double t = begin(g);

	if (g->s.sync == ODD_TRUE)
		t = force(g, t, 0);
	else if (g->s.sync == ODD_LEAVES)
		t = force(g, t, (size_t)(g->s.leaves_bytes / ODD_BLOCK));
	else if (g->s.sync == ODD_HALVES)
		t = force(g, t, g->count / 2);
	else if (g->s.sync == ODD_LIES_LATE)
		t += g->s.late_s * g->card_x;
	end(g, t);
}

/* ---- as a medium ---- */

static int odd_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	(void)at;
	for (size_t done = 0; done < len; done += LIMIT)
		read_command(odd_of(m), len - done < LIMIT ? len - done : LIMIT);
	memset(buf, 0, len);
	odd_of(m)->counts.read_bytes += len;
	*got = len;
	return 0;
}

static int odd_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	struct odd *g = odd_of(m);

	(void)buf;
	for (size_t done = 0; done < len; done += LIMIT)
		write_command(g, at + done, len - done < LIMIT ? len - done : LIMIT);
	odd_of(m)->counts.written_bytes += len;
	*got = len;
	return 0;
}

static int odd_flush(struct medium *m)
{
	if (odd_of(m)->s.write_back)
		flush_command(odd_of(m));
	return 0;
}

static int odd_scsi(struct medium *m, struct scsi_exchange *x)
{
	struct odd *g = odd_of(m);

	x->status = SCSI_GOOD;
	x->sense_length = 0;
	x->host_status = x->driver_status = 0;
	x->residual = 0;
	if (x->cdb[0] == SCSI_SYNCHRONIZE_CACHE_10 && g->s.sync != ODD_REFUSED) {
		flush_command(g);
		return 0;
	}
	end(g, begin(g));
	x->status = SCSI_CHECK_CONDITION;
	x->sense_length = 18;
	memset(x->sense, 0, 18);
	x->sense[0] = 0x70;
	x->sense[2] = 5; /* illegal request */
	x->sense[7] = 10;
	x->sense[12] = 0x20; /* invalid command operation code */
	return 0;
}

static int odd_counts(struct medium *m, struct medium_counts *counts)
{
	*counts = odd_of(m)->counts;
	return 0;
}

static uint64_t odd_now_ns(struct medium *m)
{
	return (uint64_t)(odd_of(m)->now * 1e9);
}

static void odd_idle_ns(struct medium *m, uint64_t ns)
{
	odd_of(m)->now += (double)ns / 1e9;
}

static void odd_close(struct medium *m)
{
	free(odd_of(m)->queue);
	free(m);
}

static const struct medium_ops odd_ops = {
	.read = odd_read,
	.write = odd_write,
	.flush = odd_flush,
	.scsi = odd_scsi,
	.counts = odd_counts,
	.now_ns = odd_now_ns,
	.idle_ns = odd_idle_ns,
	.close = odd_close,
};

struct medium *odd_new(const struct odd_spec *s)
{
	struct odd *g = calloc(1, sizeof *g);

	if (!g)
		return NULL;
	g->s = *s;
	if (!(g->s.place_slow > 0))
		g->s.place_slow = 1;
	g->random.state = s->seed;
	g->room = (size_t)(s->behind_bytes / ODD_BLOCK);
	g->queue = calloc(g->room + 1, sizeof *g->queue);
	if (!g->queue) {
		free(g);
		return NULL;
	}
	g->medium.ops = &odd_ops;
	g->medium.traits = (struct medium_traits){ .kind = MEDIUM_MODEL,
		.path = "odd",
		.name = "odd",
		.transport = "model",
		.size_bytes = SIZE,
		.logical_block_bytes = ODD_BLOCK,
		.physical_block_bytes = ODD_BLOCK,
		.memory_align_bytes = 512,
		.offset_align_bytes = ODD_BLOCK,
		.request_limit_bytes = LIMIT,
		.cache = s->write_back ? MEDIUM_CACHE_WRITE_BACK : MEDIUM_CACHE_WRITE_THROUGH,
		.virtual_clock = true };
	return &g->medium;
}

/* ---- what is so ---- */

bool odd_by_itself(const struct odd_spec *s)
{
	return !s->behind_bytes || s->drain == ODD_AT_ONCE || s->drain == ODD_TWO_SPEEDS;
}

double odd_stored_rate(const struct odd_spec *s, uint64_t request_bytes)
{
	struct odd_spec other = *s;
	uint64_t most = 200 * s->behind_bytes + 400 * request_bytes + 100 * s->stall_every_bytes;
	struct odd *g;
	double from = 0, rate;
	uint64_t stored = 0, lead;

	other.seed = random_mix(s->seed + 1);
	g = odd_of(odd_new(&other));
	if (!g)
		return 0;
	if (s->tail_in && most < 2000 * (uint64_t)s->tail_in * request_bytes / 4)
		most = 2000 * (uint64_t)s->tail_in * request_bytes / 4;
	most += 2 * s->tires_after_bytes;
	lead = most / 10 + 2 * s->tires_after_bytes;
	for (uint64_t done = 0; done < lead + most; done += request_bytes) {
		uint64_t slot = done / request_bytes % (SIZE / request_bytes);

		if (!stored && done >= lead) {
			from = g->now;
			stored = g->stored;
		}
		odd_write(&g->medium, slot * request_bytes, NULL, (size_t)request_bytes,
			&(size_t){ 0 });
	}
	rate = (double)(g->stored - stored) / (g->now - from);
	odd_close(&g->medium);
	return rate;
}

static double whole_laps(
	const struct odd_spec *s, uint64_t request, uint64_t start, uint64_t slots, bool random)
{
	struct odd_spec other = *s;
	uint64_t laps = 3 + (2 * s->behind_bytes + (4 << 20)) / (slots * request), stored = 0;
	struct offsets o;
	struct odd *g;
	double from = 0, rate;

	other.seed = random_mix(s->seed + 1);
	g = odd_of(odd_new(&other));
	if (!g)
		return 0;
	memset(g->written, 1, sizeof g->written);
	offsets_init(&o, random, start, slots * request, request, s->seed);
	for (uint64_t i = 0; i < laps * slots; i++) {
		/* Half of them to fill what it has. */
		if (i == laps / 2 * slots) {
			from = g->now;
			stored = g->stored;
		}
		odd_write(&g->medium, offsets_at(&o, i), NULL, (size_t)request, &(size_t){ 0 });
	}
	rate = (double)(g->stored - stored) / (g->now - from);
	odd_close(&g->medium);
	return rate;
}

double odd_stored_rate_in(
	const struct odd_spec *s, uint64_t request_bytes, uint64_t region_bytes, bool random)
{
	return whole_laps(s, request_bytes, 0, region_bytes / request_bytes, random);
}

double odd_stored_rate_at(
	const struct odd_spec *s, uint64_t request_bytes, uint64_t start, uint64_t bytes)
{
	return whole_laps(s, request_bytes, start, bytes / request_bytes, false);
}

/* ---- drawn at random ---- */

static double between(struct random *r, double low, double high) /* evenly by ratio */
{
	return low * pow(high / low, random_unit(r));
}

#define PICK(r, list) ((list)[random_below((r), sizeof(list) / sizeof *(list))])

static void draw_card(struct odd_spec *s, struct random *r)
{
	static const double links[] = { 1.0e6, 1.2e6, 5e6, 20e6, 35e6 },
			    costs[] = { 0, 1e-4, 5e-4 }, acks[] = { 0, 0, 1e-4, 2e-3 },
			    commands[] = { 0, 0, 2e-4, 1e-3 }, jitters[] = { 0, 0.01, 0.02, 0.03 };

	s->link_bps = PICK(r, links);
	s->link_s = PICK(r, costs);
	s->ack_s = PICK(r, acks);
	s->card_bps = between(r, 0.3e6, 10e6);
	s->card_read_bps = s->card_bps * between(r, 1, 4);
	s->command_s = PICK(r, commands);
	s->block_s = random_below(r, 4) ? 0 : between(r, 1e-5, 3e-4);
	s->jitter = PICK(r, jitters);
	s->seed = random_next(r);
}

static void draw_moods(struct odd_spec *s, struct random *r)
{
	if (random_below(r, 5) == 0) {
		s->stall_every_bytes =
			(uint64_t)between(r, 64 << 10, 8 << 20) / ODD_BLOCK * ODD_BLOCK;
		s->stall_s = between(r, 0.01, 1);
	}
	if (random_below(r, 5) == 0) {
		s->tail_in = (unsigned)between(r, 20, 1000);
		s->tail_s = between(r, 0.005, 0.3);
	}
	s->tired = 1;
	if (random_below(r, 10) == 0) {
		s->tires_after_bytes = (uint64_t)between(r, 1 << 20, 48 << 20);
		s->tired = between(r, 0.2, 0.8);
	}
	s->rest_s = between(r, 0.1, 10);
}

void odd_draw(struct odd_spec *s, uint64_t seed)
{
	static const enum odd_drain drains[] = { ODD_AT_ONCE, ODD_AT_ONCE, ODD_AFTER_IDLE,
		ODD_ON_FLUSH, ODD_HIGH_WATER, ODD_TWO_SPEEDS };
	static const double idles[] = { 0.001, 0.002, 0.005, 0.01, 0.05, 0.1, 0.5, 2 };
	static const enum odd_full fulls[] = { ODD_ONE, ODD_ONE, ODD_HALF, ODD_ALL };
	static const enum odd_sync syncs[] = { ODD_TRUE, ODD_TRUE, ODD_LIES, ODD_LIES_LATE,
		ODD_LEAVES, ODD_REFUSED };
	struct random r = { random_mix(seed) };

	*s = (struct odd_spec){ .behind_bytes = (uint64_t)between(&r, 4096, 16 << 20) / ODD_BLOCK *
						ODD_BLOCK,
		.drain = PICK(&r, drains),
		.idle_s = PICK(&r, idles),
		.slow = between(&r, 0.2, 0.9),
		.full = PICK(&r, fulls),
		.reads = random_below(&r, 2) ? ODD_READS_WAIT : ODD_READS_PASS,
		.sync = PICK(&r, syncs),
		.late_s = between(&r, 0.002, 0.5),
		.write_back = random_below(&r, 2) };
	s->leaves_bytes = s->behind_bytes / 512 / (2 + random_below(&r, 6)) * 512;
	if (random_below(&r, 12) == 0)
		s->behind_bytes = 0;
	draw_card(s, &r);
	draw_moods(s, &r);
}

void odd_draw_places(struct odd_spec *s, uint64_t seed, uint64_t region_bytes)
{
	struct random r = { random_mix(seed + 1000000) };

	odd_draw(s, seed);
	if (s->drain == ODD_HIGH_WATER || s->drain == ODD_TWO_SPEEDS)
		s->drain = ODD_AT_ONCE;
	s->stall_every_bytes = s->tires_after_bytes = s->tail_in = 0;
	s->places = (enum odd_places)(1 + random_below(&r, ODD_ERASES));
	s->place_slow = between(&r, 0.2, 0.9);
	if (random_below(&r, 2) && s->places != ODD_SLOPE)
		s->place_slow = 1 / s->place_slow;
	s->place_bytes = (uint64_t)between(&r, 1 << 18, (double)(region_bytes / 2)) / PIECE * PIECE;
	if (s->places == ODD_SLOPE)
		s->place_bytes = region_bytes;
	if (s->places == ODD_ERASES) {
		s->place_bytes = UINT64_C(65536) << random_below(&r, 7);
		s->place_s = (double)s->place_bytes / s->card_bps * between(&r, 0.05, 1);
	}
}

void odd_print(FILE *out, const struct odd_spec *s)
{
	static const char *const drains[] = { "at-once", "after-idle", "on-flush", "high-water",
		"two-speeds" };
	static const char *const fulls[] = { "one", "half", "all" };
	static const char *const syncs[] = { "true", "lies", "lies-late", "leaves", "refused",
		"halves" };
	static const char *const reads[] = { "wait", "pass", "cached" };
	static const char *const places[] = { "alike", "stripes", "start", "slope", "fresh",
		"again", "erases" };

	fprintf(out,
		"link %.3g B/s + %g s, ack %g s, card %.4g B/s + %g s + %.3g s/block, read %.3g, "
		"behind "
		"%llu, drain %s idle %g slow %.2f, full %s, reads %s, sync %s (%.3g s, %llu), %s, "
		"stall "
		"%llu %.3g s, tail 1/%u %.3g s, tires %llu %.2f rest %.2g s, jitter %g, asleep %g "
		"wakes %g s, %s %llu %.2f %.3g s\n",
		s->link_bps, s->link_s, s->ack_s, s->card_bps, s->command_s, s->block_s,
		s->card_read_bps, (unsigned long long)s->behind_bytes, drains[s->drain], s->idle_s,
		s->slow, fulls[s->full], reads[s->reads], syncs[s->sync], s->late_s,
		(unsigned long long)s->leaves_bytes, s->write_back ? "back" : "through",
		(unsigned long long)s->stall_every_bytes, s->stall_s, s->tail_in, s->tail_s,
		(unsigned long long)s->tires_after_bytes, s->tired, s->rest_s, s->jitter,
		s->asleep_s, s->wake_s, places[s->places], (unsigned long long)s->place_bytes,
		s->place_slow, s->place_s);
}
