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
	uint64_t
		begun_ns; /* when the host sent it; of one clock, which only serves for differences */
	/* By enum command_phase: from when the host offered the command, its data, its status, to when the drive had taken or
	 * given it. The host's is what lies between, back to the end of the command before. */
	uint64_t ns[COMMAND_PHASES];
	bool host_known; /* the host's is: there was a command before it */
	uint64_t before_ns; /* part of the host's: since the command before */
	bool failed; /* a stall, a status that is not good, or none */
};

/* Told of each command once it is over. */
struct command_watch {
	void *context;
	void (*command)(void *context, const struct command_times *c);
};

#endif
