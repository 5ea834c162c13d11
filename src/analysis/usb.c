/* USB links. */
#include "analysis/usb.h"

#include <stddef.h>

/* SuperSpeed: 1024 bytes of payload in 1056 symbols and 16 more for the acknowledgement's link commands (computed;
 * framing sizes from memory), of 500 MB/s behind 8b/10b or 1212 MB/s behind 128b/132b. */
#define SUPER(line) ((line) * (1024.0 / 1072))

static const struct usb_link links[] = {
	{ 12000000, "full speed", 19 * 64 * 1000.0, "USB 2.0 table 5-9", 64, 19, 1e-3 },
	{ 480000000, "high speed", 13 * 512 * 8000.0, "USB 2.0 table 5-10", 512, 13, 125e-6 },
	{ 5000000000, "SuperSpeed", SUPER(500e6), "computed from the framing", 0, 0, 0 },
	{ 10000000000, "SuperSpeed+ 10 Gb/s", SUPER(1e10 / 8 * 128 / 132),
		"computed from the framing", 0, 0, 0 },
	{ 20000000000, "SuperSpeed+ 20 Gb/s", SUPER(2e10 / 8 * 128 / 132),
		"computed from the framing", 0, 0, 0 },
};

const struct usb_link *usb_link_at(uint64_t bits_per_second)
{
	for (size_t i = 0; i < sizeof links / sizeof *links; i++)
		if (links[i].bits_per_second == bits_per_second)
			return &links[i];
	return NULL;
}

unsigned usb_packets_in_frame(const struct usb_link *link, unsigned payload)
{
	if (!link->packet_bytes)
		return 0;
	return link->packet_bytes == 64 ? 1500 / (13 + payload) : 7500 / (55 + payload);
}

static uint64_t divide_up(uint64_t n, uint64_t by)
{
	return n / by + (n % by != 0);
}

double usb_command_packed_s(const struct usb_link *link, uint64_t n)
{
	if (!link->packet_bytes)
		return (double)n / link->ceiling;
	return (2 + (double)divide_up(n, link->packet_bytes)) * link->frame_s /
	       link->packets_per_frame;
}

double usb_command_phased_s(const struct usb_link *link, uint64_t n)
{
	uint64_t packets;

	if (!link->packet_bytes)
		return (double)n / link->ceiling;
	packets = divide_up(n, link->packet_bytes);
	return (2 + (double)divide_up(packets, link->packets_per_frame)) * link->frame_s;
}
