/* Links by their signalling rate. */
#include "report/link.h"

#include <stddef.h>
#include <string.h>

static const struct link_kind {
	uint64_t bits_per_second;
	double ceiling_bps;
	const char *name, *source;
} kinds[] = {
	{ 12000000, 1216000, "full speed", "USB 2.0 table 5-9" },
	{ 480000000, 53248000, "high speed", "USB 2.0 table 5-10" },
	{ 5000000000, 5e8 * 1024 / 1072, "SuperSpeed", "computed from USB 3 framing" },
};

static const struct link_kind *kind_of(uint64_t bits_per_second)
{
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
		if (kinds[i].bits_per_second == bits_per_second)
			return &kinds[i];
	return NULL;
}

double link_ceiling_bps(const char *transport, uint64_t bits_per_second)
{
	const struct link_kind *k = kind_of(bits_per_second);

	return k && (!strcmp(transport, "usb") || !strcmp(transport, "model")) ? k->ceiling_bps : 0;
}

const char *link_ceiling_source(uint64_t bits_per_second)
{
	const struct link_kind *k = kind_of(bits_per_second);

	return k ? k->source : "";
}

const char *link_name(const char *transport, uint64_t bits_per_second)
{
	const struct link_kind *k = kind_of(bits_per_second);

	return k && !strcmp(transport, "usb") ? k->name : "";
}
