/* Events of the kernel's USB monitor, kept to be looked at later. */
#include "platform/usbmon_log.h"

#include <errno.h>
#include <string.h>
#include <sys/mman.h>

int usbmon_log_init(struct usbmon_log *log, size_t events)
{
	void *at = mmap(NULL, events * USBMON_LOG_EVENT, PROT_READ | PROT_WRITE,
		MAP_PRIVATE | MAP_ANONYMOUS | MAP_POPULATE, -1, 0);

	*log = (struct usbmon_log){ .events = NULL };
	if (at == MAP_FAILED)
		return -errno;
	*log = (struct usbmon_log){ .events = at, .room = events };
	return 0;
}

void usbmon_log_release(struct usbmon_log *log)
{
	if (log->events)
		munmap(log->events, log->room * USBMON_LOG_EVENT);
	*log = (struct usbmon_log){ .events = NULL };
}

enum { WRAPPER_BYTES = 31, STATUS_BYTES = 13 };

/* Constant lengths are a few instructions each: these are wrappers and statuses, and longer data of which nobody needs more. */
static void copy_data(uint8_t *to, const uint8_t *from, size_t n)
{
	if (n >= USBMON_LOG_DATA)
		memcpy(to, from, USBMON_LOG_DATA);
	else if (n == WRAPPER_BYTES)
		memcpy(to, from, WRAPPER_BYTES);
	else if (n == STATUS_BYTES)
		memcpy(to, from, STATUS_BYTES);
	else if (n)
		memcpy(to, from, n);
}

bool usbmon_log_add(struct usbmon_log *log, const uint8_t *bytes, size_t length,
	const struct usbmon_filter *filter)
{
	size_t there = length - USBMON_HEADER_BYTES, captured;
	uint8_t *to;

	if (length < USBMON_HEADER_BYTES || !usbmon_event_is_of(filter, bytes))
		return true;
	if (log->count == log->room)
		return false;
	to = log->events + log->count++ * USBMON_LOG_EVENT;
	captured = usbmon_event_captured(bytes);
	memcpy(to, bytes, USBMON_HEADER_BYTES);
	copy_data(to + USBMON_HEADER_BYTES, bytes + USBMON_HEADER_BYTES,
		captured < there ? captured : there);
	return true;
}

void usbmon_log_hand_over(struct usbmon_log *log, const struct usbmon_filter *filter,
	void (*event)(void *context, const struct usbmon_event *e), void *context)
{
	for (size_t i = 0; i < log->count; i++) {
		const uint8_t *bytes = log->events + i * USBMON_LOG_EVENT;
		struct usbmon_event e;

		if (usbmon_event_parse(&e, bytes, USBMON_LOG_EVENT, filter))
			event(context, &e);
	}
	log->count = 0;
}
