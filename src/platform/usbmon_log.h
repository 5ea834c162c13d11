/* Events of one disk, taken out of the monitor's ring and not yet looked at: the least that can be done with an event while
 * what is watched goes on. */
#ifndef PLATFORM_USBMON_LOG_H
#define PLATFORM_USBMON_LOG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "platform/usbmon_event.h"

/* Of the data of an event as much as a wrapper has. */
enum { USBMON_LOG_DATA = 32, USBMON_LOG_EVENT = USBMON_HEADER_BYTES + USBMON_LOG_DATA };

struct usbmon_log {
	uint8_t *events; /* USBMON_LOG_EVENT bytes each */
	size_t count, room;
};

/* Memory for that many events, all of it there from the start. 0 or a negative errno. */
int usbmon_log_init(struct usbmon_log *log, size_t events);
void usbmon_log_release(struct usbmon_log *log);

/* Adds the event in bytes[length]. Does nothing if it is not of that disk: then nothing of it but the header was looked at.
 * False: there is no room. */
bool usbmon_log_add(struct usbmon_log *log, const uint8_t *bytes, size_t length,
	const struct usbmon_filter *filter);

/* Hands over all events in their order, and empties the log. They are valid during the call alone. */
void usbmon_log_hand_over(struct usbmon_log *log, const struct usbmon_filter *filter,
	void (*event)(void *context, const struct usbmon_event *e), void *context);

#endif
