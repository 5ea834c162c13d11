/* Events of the kernel's USB monitor. */
#include "platform/usbmon_event.h"

#include <string.h>

/* Offsets in the header. */
enum {
	AT_URB = 0,
	AT_NO_SETUP = 14, /* 0: there is one */
	AT_NO_DATA = 15, /* 0: there is data */
	AT_SECONDS = 16,
	AT_MICROSECONDS = 24,
	AT_STATUS = 28,
	AT_SETUP = 40,
};

static uint64_t read_u64(const uint8_t *at)
{
	uint64_t n;

	memcpy(&n, at, sizeof n);
	return n;
}

static uint32_t read_u32(const uint8_t *at)
{
	uint32_t n;

	memcpy(&n, at, sizeof n);
	return n;
}

static bool take_type(struct usbmon_event *e, uint8_t letter)
{
	e->type = letter == 'S'   ? USBMON_SUBMITTED
		  : letter == 'C' ? USBMON_COMPLETED
				  : USBMON_REFUSED;
	return letter == 'S' || letter == 'C' || letter == 'E';
}

static bool take_time(struct usbmon_event *e, const uint8_t *h)
{
	uint64_t seconds = read_u64(h + AT_SECONDS);
	uint32_t micros = read_u32(h + AT_MICROSECONDS);

	if (seconds >= UINT64_MAX / 1000000 - 1 || micros >= 1000000)
		return false;
	e->at_us = seconds * 1000000 + micros;
	return true;
}

static void take_data(struct usbmon_event *e, const uint8_t *bytes, size_t length)
{
	uint32_t captured = usbmon_event_captured(bytes);
	size_t there = length - USBMON_HEADER_BYTES;

	e->data = NULL;
	e->data_bytes = 0;
	if (e->transfer != USBMON_BULK || bytes[AT_NO_DATA])
		return;
	e->data = bytes + USBMON_HEADER_BYTES;
	e->data_bytes = captured < there ? captured : (uint32_t)there;
}

bool usbmon_event_parse(struct usbmon_event *out, const uint8_t *bytes, size_t length,
	const struct usbmon_filter *filter)
{
	if (length < USBMON_HEADER_BYTES || !usbmon_event_is_of(filter, bytes))
		return false;
	if (!take_type(out, bytes[USBMON_AT_TYPE]) || !take_time(out, bytes))
		return false;
	out->urb = read_u64(bytes + AT_URB);
	out->transfer = (enum usbmon_transfer)bytes[USBMON_AT_TRANSFER];
	out->endpoint = bytes[USBMON_AT_ENDPOINT];
	out->status = (int)read_u32(bytes + AT_STATUS);
	out->length = read_u32(bytes + USBMON_AT_LENGTH);
	out->has_setup = out->transfer == USBMON_CONTROL && out->type == USBMON_SUBMITTED &&
			 !bytes[AT_NO_SETUP];
	if (out->has_setup)
		memcpy(out->setup, bytes + AT_SETUP, sizeof out->setup);
	take_data(out, bytes, length);
	return true;
}
