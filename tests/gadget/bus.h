/* What the gadget's threads share, and how time passes for the one that does the work. */
#ifndef GADGET_BUS_H
#define GADGET_BUS_H

#include <pthread.h>
#include <stdbool.h>

#include "gadget/pipes.h"
#include "gadget/slip.h"
#include "gadget/truth.h"
#include "gadget/unit.h"

enum { BUS_UNITS_MAX = 4 };

/* Time added to the model's, ns: for tests of what is seen from outside. */
struct bus_extra {
	double data, piece, status, next;
};

struct order; /* gadget/order.h */

struct bus {
	/* of the working thread */
	struct pipes pipes;
	struct unit units[BUS_UNITS_MAX];
	unsigned unit_count;
	uint32_t packet_bytes;
	struct truth_log truth;
	struct bus_extra extra;
	double last_piece_ns; /* what the last, small piece of data takes from call to return, of late */
	bool powered, finished,
		idle; /* idle: between commands, so that orders may be carried out */
	unsigned silences; /* commands to come that get no answer, */
	int silent_opcode; /* only these; -1: any */
	struct slip slip; /* what goes wrong, and how often */
	bool interrupts; /* no answer from the middle of each read or write on, when it comes the first time */
	/* of all */
	pthread_mutex_t lock;
	pthread_cond_t changed;
	bool enabled, must_reset, ignore_reset;
	struct order *order;
};

/* Stores what the cards have finished by now. When to look again: clock_ns, or INFINITY. */
double bus_work_behind(struct bus *b);
/* Time passes until t (INFINITY: until it is given up), or until the transfer under way has ended; the cards take what is
 * in the buffers meanwhile. 0, or -ECANCELED when what is going on must be given up: reset, plug, power, the end. */
int bus_pass(struct bus *b, double t);
/* Moves n bytes, once; *got may be less. 0, -ECANCELED, or a negative errno of the endpoint. */
int bus_move(struct bus *b, enum pipe which, void *buf, size_t n, size_t *got);
/* Halts the endpoint once nothing waits in it. */
int bus_stall(struct bus *b, enum pipe which);

#endif
