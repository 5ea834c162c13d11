/* The write-behind audit: what a device claims, how it behaves, and whether the one fits the other.
 *
 * Acknowledging a write before the card has it is allowed when the device says so and stores everything on a flush
 * (SBC-3 4.15, SPC-4 4.5.7). Every probe writes stamped blocks (integrity/stamp.h) inside one working area, times what
 * it does by the medium's own clock, and ends in one line with its evidence. A verdict of "broken" needs evidence that
 * noise cannot give; weaker evidence is "not shown". */
#ifndef AUDIT_AUDIT_H
#define AUDIT_AUDIT_H

#include <stdbool.h>
#include <stdint.h>

#include "base/promise.h"

struct command_watcher;
struct error;
struct medium;
struct watch;

struct audit_plan {
	uint64_t area_start, area_bytes; /* may be overwritten; multiples of offset_align_bytes */
	bool cuts_power; /* of a model */
	bool whole_target; /* the consent covers every block, the last one too */
	uint64_t seed;
	unsigned repeats; /* of each timed probe; at least 5 */
	uint64_t burst_limit_bytes; /* of the longest burst */
	uint64_t burst_limit_ns; /* no longer burst after one took this long */
	unsigned many_writes; /* of the search for lost writes */
	uint64_t many_limit_ns; /* and its time */
	uint32_t only; /* the promises that matter, a set of PROMISE_BIT(); 0: all */
	bool with_eject; /* START STOP UNIT is sent, only then */
	bool data_waits; /* kept data goes back afterwards: what may hang the drive is asked where `only` names it */
	bool provoke; /* wait for the user to make the card fail */
	uint64_t provoke_ns; /* how long */
};

enum { AUDIT_AREA_MIN = 256 * 1024, AUDIT_AREA_DEFAULT = 16 * 1024 * 1024 };

/* Fills in everything but area, whole_target and the flags. */
void audit_plan_defaults(struct audit_plan *p, const struct medium *m);

/* The most it may write, but for what goes on while it waits for the user to make the card fail. */
double audit_bytes_to_write(const struct audit_plan *p);

enum audit_outcome { AUDIT_COMPLETE, AUDIT_INTERRUPTED };

struct audit_hooks {
	void *context;
	/* A line is done. 0, or -1 with *err to stop. */
	int (*promise)(void *context, const struct promise *f, struct error *err);
	void (*ask)(void *context, const char *what); /* the user is to do something now */
	const struct command_watcher *bus; /* NULL: nobody watches it */
	const struct watch *watch;
};

/* 0 with *outcome, or -1 with *err when the target is gone or the machine failed; the lines up to then are in *out. */
int audit_run(struct medium *m, const struct audit_plan *p, const struct audit_hooks *hooks,
	struct promises *out, enum audit_outcome *outcome, struct error *err);

#endif
