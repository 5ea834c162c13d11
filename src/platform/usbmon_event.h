/* Events of the kernel's USB monitor: a header of 64 bytes, in the byte order of the machine, and what was captured of the
 * data behind it (Linux Documentation/usb/usbmon.rst; struct mon_bin_hdr in drivers/usb/mon/mon_bin.c, which no header for
 * programs declares). */
#ifndef PLATFORM_USBMON_EVENT_H
#define PLATFORM_USBMON_EVENT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

enum { USBMON_HEADER_BYTES = 64, USBMON_SETUP_BYTES = 8 };

/* Offsets in the header that are looked at first. */
enum {
	USBMON_AT_TYPE = 8,
	USBMON_AT_TRANSFER = 9,
	USBMON_AT_ENDPOINT = 10,
	USBMON_AT_DEVICE = 11,
	USBMON_AT_BUS = 12,
	USBMON_AT_LENGTH = 32,
	USBMON_AT_CAPTURED = 36,
};

enum usbmon_type { USBMON_SUBMITTED, USBMON_COMPLETED, USBMON_REFUSED };
enum usbmon_transfer { USBMON_ISOCHRONOUS, USBMON_INTERRUPT, USBMON_CONTROL, USBMON_BULK };

/* One disk on one bus, and its endpoints. All that others do there is left alone. */
struct usbmon_filter {
	uint16_t bus;
	uint8_t device;
	uint8_t in, out; /* numbers of its bulk endpoints; bit 7 set for `in` */
	uint8_t lun; /* which of the disks behind them; not told by events, but by the commands they carry */
};

struct usbmon_event {
	uint64_t urb; /* the same when it is submitted and when it completes */
	enum usbmon_type type;
	enum usbmon_transfer transfer;
	uint8_t endpoint; /* bit 7: to the host */
	uint64_t at_us; /* wall clock */
	int status; /* completed: 0 or a negative errno; -EPIPE is a stall */
	uint32_t length; /* submitted: asked for; completed: moved */
	bool has_setup;
	uint8_t setup[USBMON_SETUP_BYTES]; /* has_setup: of a control transfer, when submitted */
	const uint8_t *data; /* of bulk transfers alone */
	uint32_t data_bytes;
};

/* The event in bytes[length]. False, with *out undefined, when it is none, or not of that disk: then nothing of it but
 * the header was looked at. Of control transfers only those of endpoint 0 are handed out, without data. */
bool usbmon_event_parse(struct usbmon_event *out, const uint8_t *bytes, size_t length,
	const struct usbmon_filter *filter);

/* The rest is asked of every event on the bus, while what is measured goes on. */

/* How much of an event's data was captured, by its header: USBMON_HEADER_BYTES must be there. */
static inline uint32_t usbmon_event_captured(const uint8_t *bytes)
{
	uint32_t n;

	memcpy(&n, bytes + USBMON_AT_CAPTURED, sizeof n);
	return n;
}

/* How many bytes it takes. */
static inline size_t usbmon_event_bytes(const uint8_t *bytes)
{
	return USBMON_HEADER_BYTES + (size_t)usbmon_event_captured(bytes);
}

/* Whether it is of that disk. */
static inline bool usbmon_event_is_of(const struct usbmon_filter *f, const uint8_t *bytes)
{
	uint8_t endpoint = bytes[USBMON_AT_ENDPOINT];
	uint16_t bus;

	memcpy(&bus, bytes + USBMON_AT_BUS, sizeof bus);
	if (bytes[USBMON_AT_DEVICE] != f->device || bus != f->bus)
		return false;
	if (bytes[USBMON_AT_TRANSFER] == USBMON_BULK)
		return endpoint == f->in || endpoint == f->out;
	return bytes[USBMON_AT_TRANSFER] == USBMON_CONTROL && !(endpoint & 0x7f);
}

/* What an event says was moved in bulk or isochronously, for which devices share a bus: of those that are not of that disk that is
 * all that is looked at, and of which device is not. */
static inline uint32_t usbmon_event_moved(const uint8_t *bytes)
{
	uint8_t transfer = bytes[USBMON_AT_TRANSFER];
	uint32_t n;

	memcpy(&n, bytes + USBMON_AT_LENGTH, sizeof n);
	return bytes[USBMON_AT_TYPE] == 'C' &&
			       (transfer == USBMON_BULK || transfer == USBMON_ISOCHRONOUS)
		       ? n
		       : 0;
}

#endif
