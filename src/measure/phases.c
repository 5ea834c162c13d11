/* Where the time of requests goes, phase by phase. */
#include "measure/phases.h"

#include <errno.h>
#include <math.h>
#include <pthread.h>
#include <sched.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/error.h"
#include "measure/pairing.h"
#include "medium/medium.h"
#include "medium/scsi.h"
#include "platform/clock.h"
#include "platform/usbmon.h"

/* How long the thread leaves what comes in the ring: each look costs, and may make a request that is on its way miss its turn on the
 * bus; what is still there when a pass ends costs it nothing. So long that the ring is half full then, if all goes as fast as it did
 * at its fastest; at first, as if all of it were filled at once by the fastest bus that bulk-only drives are on (5 Gb/s). */
static const uint64_t look_any_ns = 2000000, look_most_ns = 400000000, look_growth = 16;
static const double enough = 0.5, full = 0.7; /* of the ring */
static const double bus_bytes_per_ns = 0.6;
static const unsigned wait_ms = 100;
/* Of the pass's own bytes: what others on the bus may move without being in the way (ours). */
static const double sharing_most = 0.05;
/* Of the time on the bus: with more of it spent on other commands its phases are not all of a pass's time; with more than the second
 * its rate is not its own either, which one look for a medium in a short pass need not spoil (ours). */
static const double others_most = 0.02, others_slow = 0.05;

struct phases {
	struct medium *model; /* NULL: the monitor */
	struct usbmon *monitor;
	pthread_t thread;
	pthread_mutex_t lock; /* of all below */
	bool stop;
	pthread_cond_t begun; /* something is noted from now on */
	bool noting;
	bool any; /* whatever is sent, which may be fast at any moment, or nothing for hours */
	bool silent; /* nothing was there at the last look */
	uint64_t look_ns; /* until the next look */
	uint64_t looked_ns; /* when the last one was */
	double fastest; /* the ring filled, so many times in a ns */
	struct pairing pairing;
	struct phase_times *into; /* NULL: nothing is noted */
	struct phases_tally *tally; /* the same */
	uint8_t lun;
	bool write;
	bool fresh; /* no command of this pass yet */
	bool strangers; /* reads among writes, or writes among reads */
	uint64_t others_moved; /* by other devices, when the pass began */
	uint64_t own_ns, others_ns; /* of the pass's own commands, and of all others */
	bool unreadable; /* the monitor itself failed */
	bool urgent; /* the ring was found too full once: the thread goes before others from then on */
	bool goes_first; /* it does */
	enum command_deed summed; /* what goes into the sum */
	struct command_sum sum;
	uint64_t heard; /* commands of the device, ever */
	uint64_t heard_from; /* when the stretch before this one began */
	uint64_t heard_at; /* when this one began */
	uint64_t wall_ns, raw_ns; /* both clocks when the pass began */
};

static uint64_t wall_now_ns(void)
{
	struct timespec t;

	clock_gettime(CLOCK_REALTIME, &t);
	return (uint64_t)t.tv_sec * 1000000000 + (uint64_t)t.tv_nsec;
}

/* ---- one command ---- */

static enum command_deed deed_of(uint8_t opcode)
{
	switch (opcode) {
	case 0x08: /* READ and WRITE (6): SBC-3, sections 5.10 and 5.31 */
	case SCSI_READ_10:
	case 0xa8: /* (12) */
	case SCSI_READ_16:
		return DEED_READ;
	case 0x0a:
	case SCSI_WRITE_10:
	case 0xaa:
	case SCSI_WRITE_16:
		return DEED_WRITE;
	case SCSI_SYNCHRONIZE_CACHE_10:
	case SCSI_SYNCHRONIZE_CACHE_16:
		return DEED_FLUSH;
	default:
		return DEED_OTHER;
	}
}

/* What the host did before the first one is no part of the pass. */
static void add(struct phase_times *t, const struct command_times *c, bool first)
{
	t->commands++;
	t->bytes += c->data_bytes;
	for (int i = 0; i < COMMAND_PHASES; i++)
		if (i != PHASE_HOST || (c->host_known && !first))
			histogram_add(&t->ns[i], c->ns[i]);
}

static unsigned size_class(uint32_t bytes)
{
	unsigned at = 0;

	while (at + 1 < PHASES_SIZES && bytes > UINT64_C(512) << at)
		at++;
	return at;
}

static void tally(struct phases_tally *t, enum command_deed deed, const struct command_times *c)
{
	struct phases_sum *s = &t->sums[deed][size_class(c->data_bytes)];
	uint64_t all = 0;

	for (int i = 0; i < COMMAND_PHASES; i++) {
		uint64_t ns = i == PHASE_HOST ? c->ns[i] - c->before_ns : c->ns[i];

		s->ns[i] += ns;
		all += ns;
	}
	s->commands++;
	s->bytes += c->data_bytes;
	if (all > s->longest_ns)
		s->longest_ns = all;
}

static void sum_up(struct command_sum *s, const struct command_times *c)
{
	uint64_t ns = c->ns[PHASE_COMMAND] + c->ns[PHASE_DATA] + c->ns[PHASE_STATUS];

	for (int i = 0; i < COMMAND_PHASES; i++) {
		s->ns[i] += c->ns[i];
		if (!s->commands)
			s->first_ns[i] = c->ns[i];
	}
	s->commands++;
	if (c->to_host && c->passed && c->data_bytes < c->asked_bytes) {
		s->shorts++;
		s->stalled_shorts += c->stalled;
	}
	if (ns > s->longest_ns)
		s->longest_ns = ns;
}

/* Back to the command before it, so that a pass is all of them. */
static uint64_t whole_ns(const struct command_times *c, bool first)
{
	uint64_t ns = first ? 0 : c->ns[PHASE_HOST];

	for (int i = 0; i < COMMAND_PHASES; i++)
		ns += i == PHASE_HOST ? 0 : c->ns[i];
	return ns;
}

static void add_other(struct phases *p, const struct command_times *c)
{
	p->into->others++;
	p->others_ns += whole_ns(c, p->fresh);
	p->fresh = false;
}

static void take_command(void *context, const struct command_times *c)
{
	struct phases *p = context;
	enum command_deed deed = deed_of(c->opcode);

	p->heard++;
	/* Another disk of the same device: not ours to look at, but it takes its time. */
	if (c->lun != p->lun) {
		if (p->into)
			add_other(p, c);
		return;
	}
	if (deed == p->summed)
		sum_up(&p->sum, c);
	if (p->tally)
		tally(p->tally, deed, c);
	if (!p->into)
		return;
	p->strangers |= deed == (p->write ? DEED_READ : DEED_WRITE);
	if (deed != (p->write ? DEED_WRITE : DEED_READ)) {
		add_other(p, c);
		return;
	}
	add(p->into, c, p->fresh);
	p->own_ns += whole_ns(c, p->fresh);
	p->fresh = false;
}

/* ---- the monitor ---- */

static void take_event(void *context, const struct usbmon_event *e)
{
	struct phases *p = context;
	struct command_times c;

	if (pairing_take(&p->pairing, e, &c))
		take_command(p, &c);
}

/* Looks into events at once only where there is no room for more: that can wait, and costs whoever shares the processor. */
static void collect(struct phases *p)
{
	int rc;

	if (!p->monitor)
		return;
	while ((rc = usbmon_collect(p->monitor)) == -ENOBUFS)
		usbmon_hand_over(p->monitor, take_event, p);
	p->unreadable |= rc < 0;
}

static void look(struct phases *p)
{
	collect(p);
	if (p->monitor)
		usbmon_hand_over(p->monitor, take_event, p);
}

/* Called with the lock, which is free meanwhile. */
static void doze(struct phases *p)
{
	struct timespec until;

	if (!p->noting) {
		pthread_cond_wait(&p->begun, &p->lock);
		return;
	}
	if (p->silent) {
		pthread_mutex_unlock(&p->lock);
		usbmon_wait(p->monitor, wait_ms);
		pthread_mutex_lock(&p->lock);
		if (!p->noting || p->stop)
			return;
	}
	clock_gettime(CLOCK_MONOTONIC, &until);
	until.tv_nsec += (long)p->look_ns;
	until.tv_sec += until.tv_nsec / 1000000000;
	until.tv_nsec %= 1000000000;
	pthread_cond_timedwait(&p->begun, &p->lock, &until);
}

static uint64_t first_look_ns(const struct phases *p)
{
	return p->monitor ? (uint64_t)((double)usbmon_ring_bytes(p->monitor) / bus_bytes_per_ns)
			  : 0;
}

/* Within a pass all requests are alike, so that it may go on as fast as ever again. A bus that was silent says nothing of that. */
static void choose_pause(struct phases *p, double fill)
{
	uint64_t now = clock_now_ns();
	uint64_t longest = p->any ? look_any_ns : look_most_ns;
	double pace = fill / (double)(clock_span_ns(p->looked_ns, now) + 1), most;

	p->looked_ns = now;
	p->silent = !(fill > 0);
	p->fastest = pace > p->fastest ? pace : p->fastest;
	if (p->silent)
		return;
	most = fmin(enough / p->fastest, (double)longest);
	p->look_ns = (uint64_t)fmax(
		(double)first_look_ns(p), fmin(most, (double)(p->look_ns * look_growth)));
}

/* There is room in the ring for what comes until the processor is free: whoever is awake between two phases of a request would
 * only be held up. On a busy machine that may be too late, and what is not looked at in time is lost. Whoever may watch a bus may ask
 * for this. */
static void hurry(struct phases *p)
{
	const struct sched_param soon = { .sched_priority = 1 };

	if (!p->urgent || p->goes_first)
		return;
	(void)pthread_setschedparam(pthread_self(), SCHED_FIFO, &soon);
	p->goes_first = true;
}

static void look_once(struct phases *p)
{
	double fill;

	collect(p);
	fill = usbmon_fill(p->monitor);
	choose_pause(p, fill);
	p->urgent |= fill > full;
	hurry(p);
}

static void *watch_bus(void *context)
{
	struct phases *p = context;
	const struct sched_param whenever = { .sched_priority = 0 };

	(void)pthread_setschedparam(pthread_self(), SCHED_BATCH, &whenever);
	pthread_mutex_lock(&p->lock);
	while (!p->stop) {
		bool noting = p->noting;

		doze(p);
		/* What just began has nothing to look at yet. */
		if (noting && p->noting && !p->stop)
			look_once(p);
	}
	pthread_mutex_unlock(&p->lock);
	return NULL;
}

/* ---- from outside ---- */

static int watch_model(struct phases *p, struct medium *m, struct error *err)
{
	struct command_watch w = { p, take_command };
	int rc = medium_watch_commands(m, &w);

	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot watch '%s'", medium_traits(m)->path);
	p->model = m;
	return 0;
}

static int start_watching(struct phases *p, const struct usbmon_filter *filter, struct error *err)
{
	int rc;

	if (usbmon_open(&p->monitor, filter, err) < 0)
		return -1;
	rc = pthread_create(&p->thread, NULL, watch_bus, p);
	if (!rc)
		return 0;
	usbmon_close(p->monitor);
	return error_sys(err, ERROR_IO, rc, "cannot start a thread to watch the bus");
}

static void init_lock(struct phases *p)
{
	pthread_condattr_t steady;

	pthread_mutex_init(&p->lock, NULL);
	pthread_condattr_init(&steady);
	pthread_condattr_setclock(&steady, CLOCK_MONOTONIC);
	pthread_cond_init(&p->begun, &steady);
	pthread_condattr_destroy(&steady);
}

static void release_lock(struct phases *p)
{
	pthread_cond_destroy(&p->begun);
	pthread_mutex_destroy(&p->lock);
}

int phases_open(struct phases **out, struct medium *m, const struct usbmon_filter *filter,
	struct error *err)
{
	struct phases *p = calloc(1, sizeof *p);
	int rc;

	*out = NULL;
	if (!p)
		return error_set(err, ERROR_IO, "out of memory");
	p->lun = filter ? filter->lun : 0;
	init_lock(p);
	rc = filter ? start_watching(p, filter, err) : watch_model(p, m, err);
	if (rc < 0) {
		release_lock(p);
		free(p);
		return -1;
	}
	*out = p;
	return 0;
}

void phases_close(struct phases *p)
{
	if (!p)
		return;
	if (p->model) {
		(void)medium_watch_commands(p->model, NULL);
	} else {
		pthread_mutex_lock(&p->lock);
		p->stop = true;
		pthread_cond_signal(&p->begun);
		pthread_mutex_unlock(&p->lock);
		pthread_join(p->thread, NULL);
		usbmon_close(p->monitor);
	}
	release_lock(p);
	free(p);
}

static void clear(struct phase_times *t)
{
	*t = (struct phase_times){ .state = PHASES_NOT_WATCHED };
	for (int i = 0; i < COMMAND_PHASES; i++)
		histogram_init(&t->ns[i]);
}

/* What is in the ring is looked at first: that somebody was heard counts. */
static void expect(struct phases *p, uint64_t request_bytes)
{
	look(p);
	if (p->monitor)
		(void)usbmon_expect(p->monitor, request_bytes);
}

/* What came before is forgotten. */
static void start_afresh(struct phases *p)
{
	uint64_t before;

	look(p);
	if (p->monitor)
		(void)usbmon_dropped(p->monitor, &before);
	p->pairing = (struct pairing){ .stage = PAIRING_IDLE };
	p->strangers = p->unreadable = false;
	p->own_ns = p->others_ns = 0;
	p->others_moved = p->monitor ? usbmon_others_moved(p->monitor) : 0;
	p->fresh = true;
	p->noting = true;
	p->any = p->silent = false;
	p->look_ns = first_look_ns(p);
	p->fastest = 0;
	p->looked_ns = clock_now_ns();
	pthread_cond_signal(&p->begun);
	p->wall_ns = wall_now_ns();
	p->raw_ns = clock_now_ns();
}

void phases_begin(struct phases *p, bool write, uint64_t request_bytes, struct phase_times *into)
{
	pthread_mutex_lock(&p->lock);
	expect(p, request_bytes);
	start_afresh(p);
	p->write = write;
	p->into = into;
	clear(into);
	pthread_mutex_unlock(&p->lock);
}

void phases_begin_all(struct phases *p, struct phases_tally *into)
{
	pthread_mutex_lock(&p->lock);
	expect(p, 0);
	start_afresh(p);
	p->any = true;
	p->tally = into;
	memset(into, 0, sizeof *into);
	pthread_mutex_unlock(&p->lock);
}

/* Slewing makes up to 0.05 % (clock_adjtime(2)); reading both clocks is a matter of microseconds on an idle machine. */
static bool clock_was_set(const struct phases *p)
{
	uint64_t raw = clock_now_ns() - p->raw_ns, wall = wall_now_ns() - p->wall_ns;
	uint64_t off = wall > raw ? wall - raw : raw - wall;

	return off > raw / 1000 + 1000000;
}

/* DROPPED, CLOCK, or SEEN. */
static enum phases_state judge_monitor(struct phases *p, uint64_t *dropped)
{
	if (!p->monitor)
		return PHASES_SEEN;
	if (p->unreadable || usbmon_dropped(p->monitor, dropped) < 0 || *dropped) {
		p->urgent = true;
		return PHASES_DROPPED;
	}
	return p->pairing.backwards || clock_was_set(p) ? PHASES_CLOCK : PHASES_SEEN;
}

/* What others are sent meanwhile is in no phase, and yet makes the pass longer. */
static double others_share(const struct phases *p)
{
	uint64_t all = p->own_ns + p->others_ns;

	return all ? (double)p->others_ns / (double)all : 0;
}

static enum phases_state judge(struct phases *p, uint64_t bytes)
{
	struct phase_times *t = p->into;
	enum phases_state state = judge_monitor(p, &t->dropped);

	if (state != PHASES_SEEN)
		return state;
	if (p->pairing.broken || p->pairing.resets)
		return PHASES_BROKEN;
	t->others_slow = others_share(p) > others_slow;
	return p->strangers || others_share(p) > others_most || t->bytes != bytes || !t->commands
		       ? PHASES_OTHERS
		       : PHASES_SEEN;
}

void phases_end(struct phases *p, uint64_t bytes)
{
	pthread_mutex_lock(&p->lock);
	look(p);
	p->into->state = judge(p, bytes);
	p->into->bus_shared =
		p->monitor && (double)(usbmon_others_moved(p->monitor) - p->others_moved) >
				      sharing_most * (double)bytes;
	p->into = NULL;
	p->noting = false;
	pthread_mutex_unlock(&p->lock);
}

void phases_end_all(struct phases *p)
{
	pthread_mutex_lock(&p->lock);
	look(p);
	p->tally->state = judge_monitor(p, &p->tally->dropped);
	p->tally->broken = p->pairing.broken;
	p->tally = NULL;
	p->noting = false;
	pthread_mutex_unlock(&p->lock);
}

void phases_begin_stretch(struct phases *p, enum command_deed deed)
{
	if (!p)
		return;
	pthread_mutex_lock(&p->lock);
	start_afresh(p);
	p->summed = deed;
	p->sum = (struct command_sum){ .seen = false };
	p->heard_from = p->heard_at;
	p->heard_at = p->heard;
	pthread_mutex_unlock(&p->lock);
}

void phases_end_stretch(struct phases *p, struct command_sum *out)
{
	uint64_t dropped = 0;

	*out = (struct command_sum){ .seen = false };
	if (!p)
		return;
	pthread_mutex_lock(&p->lock);
	look(p);
	p->noting = false;
	*out = p->sum;
	/* That nothing passed is something only to who heard what came before. */
	out->seen = p->heard > p->heard_from && judge_monitor(p, &dropped) == PHASES_SEEN &&
		    !p->pairing.broken && !p->pairing.resets;
	pthread_mutex_unlock(&p->lock);
}
