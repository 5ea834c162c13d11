/* What a USB link can carry, and what bulk-only transport makes of it. All in bytes of payload and seconds. */
#ifndef ANALYSIS_USB_H
#define ANALYSIS_USB_H

#include <stdbool.h>
#include <stdint.h>

struct usb_link {
	uint64_t bits_per_second; /* as the kernel reports it */
	const char *name; /* "full speed", ... */
	double ceiling; /* B/s of bulk payload */
	const char *source; /* where the ceiling comes from */
	/* Full and high speed only; packet_bytes 0 otherwise. */
	uint32_t packet_bytes, packets_per_frame;
	double frame_s;
};

/* NULL when no USB link signals at that rate. */
const struct usb_link *usb_link_at(uint64_t bits_per_second);

/* Packets of `payload` bytes that fit into one (micro)frame, regenerating USB 2.0 tables 5-9 and 5-10: full speed 13
 * bytes of overhead in 1500, high speed 55 in 7500. 0 for other links. */
unsigned usb_packets_in_frame(const struct usb_link *link, unsigned payload);

/* One command of bulk-only transport (USB-IF 1999) moving n bytes: one packet of command, the data, one of status.
 * Packed: packets back to back at the table's rate: the best a link can do.
 * Phased: command, data and status each begin in a new frame: a host that serves one completion a frame.
 * Links without frames: n / ceiling for both. */
double usb_command_packed_s(const struct usb_link *link, uint64_t n);
double usb_command_phased_s(const struct usb_link *link, uint64_t n);

#endif
