/* Events of the kernel's USB monitor, made up: a wrapper, data, a status, as usbmon hands them over. */
#ifndef SUPPORT_BUS_EVENTS_H
#define SUPPORT_BUS_EVENTS_H

#include <stddef.h>
#include <stdint.h>

struct bus_event {
	char type; /* 'S', 'C', 'E' */
	uint8_t transfer; /* enum usbmon_transfer */
	uint8_t endpoint, device;
	uint16_t bus;
	uint64_t urb, at_us;
	int status;
	uint32_t length;
	const uint8_t *setup; /* 8 bytes; NULL: none */
	const void *data; /* NULL: none */
	uint32_t data_bytes;
};

enum { BUS_EVENT_MAX = 64 + 512 };

/* Its length; at most 512 bytes of data. */
size_t bus_event_make(uint8_t out[BUS_EVENT_MAX], const struct bus_event *e);

/* The 31 bytes of a command wrapper: READ(10) or WRITE(10), or whatever the opcode is. */
void bus_wrapper(uint8_t out[31], uint32_t tag, uint8_t opcode, uint32_t bytes);
void bus_status(uint8_t out[13], uint32_t tag, uint8_t status);

#endif
