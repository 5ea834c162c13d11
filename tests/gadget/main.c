/* A USB mass-storage gadget that does what model files say, in real time: for the rig, on an emulated bus alone.
 *
 *   bus_gadget check MODEL                 prints the link's speed (full, high), or why a bus cannot carry it
 *   bus_gadget run [OPTION...] MODEL...    one logical unit each; stays until told to quit
 *       -c FILE    what the card of the next MODEL holds (made where it is missing); default: a new card
 *       -e         the next MODEL has no card in it
 *       -s         the faults of the next MODEL sleep until they are told to strike
 *       -t FILE    the truth log
 *       -u         not plugged in yet
 *   bus_gadget tell ORDER...               see scripts/rig/README.md
 *   bus_gadget ask TARGET <LIST            the host's side: sends what the list has, shows what comes back (see ask.h)
 *   bus_gadget bare DISK                   the host's side: bulk-only transport by hand (see bare.h)
 *   bus_gadget reset DISK                  the host's side: resets the port that the disk is on, at once
 *
 * Exit status: 0; 1 an order was refused; 2 usage, or a model that a bus cannot carry; 3 the machine failed. */
#include <errno.h>
#include <pthread.h>
#include <sched.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <unistd.h>

#include "base/error.h"
#include "gadget/ask.h"
#include "gadget/bare.h"
#include "gadget/bus.h"
#include "gadget/clock.h"
#include "gadget/composite.h"
#include "gadget/control.h"
#include "gadget/ep0.h"
#include "gadget/limits.h"
#include "gadget/port.h"
#include "gadget/transport.h"

static struct bus bus = { .lock = PTHREAD_MUTEX_INITIALIZER, .changed = PTHREAD_COND_INITIALIZER };
static struct composite composite;
static struct ep0 ep0;

static int usage(void)
{
	fputs("usage: bus_gadget check MODEL | run [-u] [-t FILE] {[-c FILE] [-e] [-s] MODEL}... | "
	      "tell "
	      "ORDER... | ask TARGET | bare DISK | reset DISK\n",
		stderr);
	return 2;
}

static int complain(const struct error *err)
{
	fprintf(stderr, "bus_gadget: %s\n", err->text);
	return error_exit_status(err);
}

static int load(struct model_spec *s, const char *path, struct error *err)
{
	if (model_spec_load(s, path, err) < 0 || limits_check(s, path, err) < 0)
		return -1;
	limits_adapt(s);
	return 0;
}

static int check(const char *path)
{
	struct model_spec s;
	struct error err = { 0 };

	if (load(&s, path, &err) < 0)
		return complain(&err);
	puts(s.link.speed == MODEL_SPEED_HIGH ? "high" : "full");
	return 0;
}

/* The host has configured the gadget, or has reset it, which begins with its leaving. */
static void on_enabled(void *context, bool on)
{
	struct bus *b = context;

	pthread_mutex_lock(&b->lock);
	b->enabled = on;
	b->must_reset = true;
	pthread_mutex_unlock(&b->lock);
	pipes_wake(&b->pipes);
}

/* Acknowledged when it is done (Bulk-Only Transport 1.0, 3.1), or at once when it is ignored. */
static void on_reset(void *context)
{
	struct bus *b = context;

	bool ignored = b->ignore_reset;

	for (unsigned i = 0; i < b->unit_count; i++)
		ignored |= b->units[i].gadget.spec.faults.ignore_reset;
	pthread_mutex_lock(&b->lock);
	if (!ignored) {
		b->must_reset = true;
		pipes_wake(&b->pipes);
		while (b->must_reset && b->enabled)
			pthread_cond_wait(&b->changed, &b->lock);
	}
	pthread_mutex_unlock(&b->lock);
}

/* What the host's side does with one target. */
static int on_target(int (*run)(const char *target, struct error *err), const char *target)
{
	struct error err = { 0 };

	return run(target, &err) < 0 ? complain(&err) : 0;
}

struct options {
	const char *truth, *card;
	bool empty, asleep, unplugged;
};

static int add_unit(const char *path, struct options *o, struct error *err)
{
	struct model_spec s;
	struct unit *u = &bus.units[bus.unit_count];

	if (bus.unit_count == BUS_UNITS_MAX)
		return error_set(err, ERROR_USAGE, "more than %d logical units", BUS_UNITS_MAX);
	if (load(&s, path, err) < 0)
		return -1;
	if (bus.unit_count && s.link.speed != bus.units[0].gadget.spec.link.speed)
		return error_set(err, ERROR_USAGE,
			"'%s' has another link speed than the first unit, and they share the link",
			path);
	if (unit_open(u, &s, o->card, err) < 0)
		return -1;
	u->card_out = o->empty;
	bus.unit_count++;
	if (o->asleep)
		unit_set_faults(u, false);
	o->card = NULL;
	o->empty = o->asleep = false;
	return 0;
}

/* "-" stops at each operand, so that options stand before the model they are about. */
static int read_options(int argc, char **argv, struct options *o, struct error *err)
{
	int c;

	while ((c = getopt(argc, argv, "-c:est:u")) != -1)
		switch (c) {
		case 1:
			if (add_unit(optarg, o, err) < 0)
				return -1;
			break;
		case 'c':
			o->card = optarg;
			break;
		case 'e':
			o->empty = true;
			break;
		case 's':
			o->asleep = true;
			break;
		case 't':
			o->truth = optarg;
			break;
		case 'u':
			o->unplugged = true;
			break;
		default:
			return error_set(err, ERROR_USAGE, "no such option");
		}
	return bus.unit_count ? 0 : error_set(err, ERROR_USAGE, "no model is named");
}

/* What sleeps must wake on time, whatever else the machine does. Where that is not allowed it is as good as it is. */
static void hurry(void)
{
	struct sched_param p = { .sched_priority = 10 };

	prctl(PR_SET_TIMERSLACK, 1UL, 0UL, 0UL, 0UL);
	pthread_setschedparam(pthread_self(), SCHED_FIFO, &p);
}

static int set_up(const struct options *o, struct error *err)
{
	const struct model_spec *first = &bus.units[0].gadget.spec;
	struct ep0_hooks hooks = { on_enabled, on_reset, &bus };
	int rc = o->truth ? truth_open(&bus.truth, o->truth) : 0;

	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot make the truth log '%s'", o->truth);
	bus.packet_bytes = first->link.speed == MODEL_SPEED_HIGH ? 512 : 64;
	if (composite_make(&composite, &first->device, first->link.speed, err) < 0 ||
		ep0_open(&ep0, composite.folder, err) < 0 ||
		pipes_open(&bus.pipes, composite.folder, err) < 0)
		return -1;
	if (ep0_start(&ep0, (uint8_t)(bus.unit_count - 1), &hooks, err) < 0)
		return -1;
	for (unsigned i = 0; i < bus.unit_count; i++)
		unit_start(&bus.units[i], clock_ns());
	bus.powered = true;
	if (control_start(&bus, &composite, err) < 0)
		return -1;
	return o->unplugged ? 0 : composite_plug(&composite, err);
}

static int run(int argc, char **argv)
{
	struct options o = { 0 };
	struct error err = { 0 };
	int rc = read_options(argc, argv, &o, &err);

	signal(SIGPIPE, SIG_IGN);
	if (!rc)
		rc = set_up(&o, &err);
	if (!rc) {
		hurry();
		rc = transport_run(&bus, &err);
	}
	/* Unbinding waits for endpoint 0, so that its thread goes after it. */
	composite_unplug(&composite, NULL);
	if (ep0.running || ep0.fd > 0)
		ep0_close(&ep0);
	if (bus.pipes.context)
		pipes_close(&bus.pipes);
	if (*composite.folder)
		composite_remove(&composite);
	for (unsigned i = 0; i < bus.unit_count; i++)
		unit_close(&bus.units[i]);
	truth_close(&bus.truth);
	return rc < 0 ? complain(&err) : 0;
}

int main(int argc, char **argv)
{
	if (argc == 3 && !strcmp(argv[1], "check"))
		return check(argv[2]);
	if (argc == 3 && !strcmp(argv[1], "ask"))
		return on_target(ask_all, argv[2]);
	if (argc == 3 && !strcmp(argv[1], "bare"))
		return on_target(bare_run, argv[2]);
	if (argc == 3 && !strcmp(argv[1], "reset"))
		return on_target(port_reset, argv[2]);
	if (argc > 2 && !strcmp(argv[1], "run"))
		return run(argc - 1, argv + 1);
	if (argc > 2 && !strcmp(argv[1], "tell"))
		return control_tell(argc - 2, argv + 2);
	return usage();
}
