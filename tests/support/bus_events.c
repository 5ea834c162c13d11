/* Events of the kernel's USB monitor, made up. */
#include "support/bus_events.h"

#include <string.h>

/* struct mon_bin_hdr, Linux drivers/usb/mon/mon_bin.c; offsets as in Documentation/usb/usbmon.rst. */
size_t bus_event_make(uint8_t out[BUS_EVENT_MAX], const struct bus_event *e)
{
	int64_t seconds = (int64_t)(e->at_us / 1000000);
	int32_t micros = (int32_t)(e->at_us % 1000000);
	uint32_t captured = e->data ? e->data_bytes : 0;

	memset(out, 0, BUS_EVENT_MAX);
	memcpy(out, &e->urb, 8);
	out[8] = (uint8_t)e->type;
	out[9] = e->transfer;
	out[10] = e->endpoint;
	out[11] = e->device;
	memcpy(out + 12, &e->bus, 2);
	out[14] = e->setup ? 0 : '-';
	out[15] = e->data ? 0 : '<';
	memcpy(out + 16, &seconds, 8);
	memcpy(out + 24, &micros, 4);
	memcpy(out + 28, &e->status, 4);
	memcpy(out + 32, &e->length, 4);
	memcpy(out + 36, &captured, 4);
	if (e->setup)
		memcpy(out + 40, e->setup, 8);
	if (e->data)
		memcpy(out + 64, e->data, captured);
	return 64 + captured;
}

static void put(uint8_t *at, uint32_t n)
{
	for (int i = 0; i < 4; i++)
		at[i] = (uint8_t)(n >> 8 * i);
}

/* Bulk-Only Transport 1.0, table 5.1. */
void bus_wrapper(uint8_t out[31], uint32_t tag, uint8_t opcode, uint32_t bytes)
{
	memset(out, 0, 31);
	memcpy(out, "USBC", 4);
	put(out + 4, tag);
	put(out + 8, bytes);
	out[12] = opcode == 0x28 ? 0x80 : 0;
	out[14] = 10;
	out[15] = opcode;
}

/* Table 5.2. */
void bus_status(uint8_t out[13], uint32_t tag, uint8_t status)
{
	memset(out, 0, 13);
	memcpy(out, "USBS", 4);
	put(out + 4, tag);
	out[12] = status;
}
