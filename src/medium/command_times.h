/* One command of a bulk-only drive, as it passed over the bus (USB Mass Storage Class, Bulk-Only Transport 1.0, section 5):
 * the command, its data, its status, and the host in between. Seen by the kernel's USB monitor, or modelled. */
#ifndef MEDIUM_COMMAND_TIMES_H
#define MEDIUM_COMMAND_TIMES_H

#include <stdbool.h>
#include <stdint.h>

enum command_phase { PHASE_COMMAND, PHASE_DATA, PHASE_STATUS, PHASE_HOST };

enum { COMMAND_PHASES = 4 };

struct command_times {
	uint8_t opcode;
	uint8_t lun; /* logical unit that it is for */
	bool to_host; /* its data */
	uint32_t data_bytes; /* moved */
	uint32_t asked_bytes; /* what the host would move */
	/* There was a stall behind its data: a piece of them ended in one, or, after a short packet, the first request for its
	 * status did. */
	bool stalled;
	bool passed; /* its status is that it was done */
	uint64_t
		begun_ns; /* when the host sent it; of one clock, which only serves for differences */
	/* By enum command_phase: from when the host offered the command, its data, its status, to when the drive had taken or
	 * given it. The host's is what lies between, back to the end of the command before. */
	uint64_t ns[COMMAND_PHASES];
	bool host_known; /* the host's is: there was a command before it */
	uint64_t before_ns; /* part of the host's: since the command before */
	bool failed; /* a stall, a status that is not good, or none */
};

enum command_deed { DEED_READ, DEED_WRITE, DEED_FLUSH, DEED_OTHER };

enum { COMMAND_DEEDS = 4 };

/* What the commands of one kind took on the bus in some stretch of time. */
struct command_sum {
	bool seen; /* somebody watched, and nothing was lost; else the rest means nothing */
	uint64_t commands;
	/* By enum command_phase, of all of them together; and of the first one. */
	uint64_t ns[COMMAND_PHASES], first_ns[COMMAND_PHASES];
	uint64_t longest_ns; /* of one, without the host's */
	/* Answers to the host that were shorter than it had room for; those that ended in a stall. */
	uint64_t shorts, stalled_shorts;
};

/* How long the drive let the host wait: for taking commands, moving data, giving statuses. */
static inline uint64_t command_sum_wait_ns(const struct command_sum *s)
{
	return s->ns[PHASE_COMMAND] + s->ns[PHASE_DATA] + s->ns[PHASE_STATUS];
}

/* Somebody who watches the bus, for one stretch after the other. */
struct command_watcher {
	void *context;
	void (*begin)(void *context, enum command_deed deed); /* what is to be summed up */
	void (*end)(void *context, struct command_sum *out);
};

/* Told of each command once it is over. */
struct command_watch {
	void *context;
	void (*command)(void *context, const struct command_times *c);
};

#endif
