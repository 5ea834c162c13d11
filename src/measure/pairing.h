/* From events of a USB bus to commands of a bulk-only drive: wrappers and statuses are paired by tag, submissions and
 * completions by URB (USB Mass Storage Class, Bulk-Only Transport 1.0, sections 5 and 6). */
#ifndef MEASURE_PAIRING_H
#define MEASURE_PAIRING_H

#include <stdbool.h>
#include <stdint.h>

#include "medium/command_times.h"

struct usbmon_event;

enum {
	PAIRING_DATA_MAX = 512
}; /* pieces of data on their way at once; a command with more is given up */

enum pairing_stage { PAIRING_IDLE, PAIRING_COMMAND, PAIRING_DATA, PAIRING_STATUS };

/* Starts zeroed. */
struct pairing {
	enum pairing_stage stage;
	struct command_times now;
	uint32_t tag, expected_bytes;
	uint64_t urb; /* of the command, or of the status that is asked for; 0: none */
	uint64_t data_urbs[PAIRING_DATA_MAX];
	unsigned data_open;
	bool data_seen;
	uint64_t sent_us, taken_us, data_us, moved_us,
		asked_us; /* moments of the command at hand */
	bool ended; /* there was a command before, and it ended at end_us */
	uint64_t end_us;
	uint64_t broken; /* commands that came to no status of their own */
	uint64_t
		backwards; /* commands whose moments do not follow one another: the clock was set */
	uint64_t resets; /* of the class, seen on endpoint 0 */
};

/* True when this event ends a command, which is then in *out. */
bool pairing_take(struct pairing *p, const struct usbmon_event *e, struct command_times *out);

/* Events were lost: what was going on is given up. */
void pairing_lose(struct pairing *p);

#endif
