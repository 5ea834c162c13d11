/* Links by their signalling rate: what analysis/usb knows, for links that are USB or are modelled as such. */
#include "findings/link.h"

#include <stddef.h>
#include <string.h>

#include "analysis/usb.h"

static const struct usb_link *usb_of(const char *transport, uint64_t bits_per_second)
{
	if (strcmp(transport, "usb") != 0 && strcmp(transport, "model") != 0)
		return NULL;
	return usb_link_at(bits_per_second);
}

double link_ceiling_bps(const char *transport, uint64_t bits_per_second)
{
	const struct usb_link *link = usb_of(transport, bits_per_second);

	return link ? link->ceiling : 0;
}

const char *link_ceiling_source(uint64_t bits_per_second)
{
	const struct usb_link *link = usb_link_at(bits_per_second);

	return link ? link->source : "";
}

const char *link_name(const char *transport, uint64_t bits_per_second)
{
	const struct usb_link *link = usb_of(transport, bits_per_second);

	return link ? link->name : "";
}
