/* Card buses. */
#include "analysis/card_bus.h"

#include <stddef.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"

static const struct kind {
	const char *name;
	unsigned width; /* data lines; 0: SPI */
	unsigned edges; /* bits a clock on each */
} kinds[] = {
	{ "spi", 0, 1 },
	{ "sd1", 1, 1 },
	{ "sd4", 4, 1 },
	{ "sd4ddr", 4, 2 },
	{ "mmc8", 8, 1 },
	{ "mmc8ddr", 8, 2 },
};

static const struct kind *kind_find(const char *text, size_t length)
{
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
		if (strlen(kinds[i].name) == length && !memcmp(kinds[i].name, text, length))
			return &kinds[i];
	return NULL;
}

/* "20MHz", "400kHz", "208MHz". */
static int clock_parse(const char *text, double *hertz)
{
	size_t digits = strspn(text, "0123456789.");
	const char *unit = text + digits;
	char number[24];
	double scale = !strcmp(unit, "MHz") ? 1e6 : !strcmp(unit, "kHz") ? 1e3 : 0;

	if (digits >= sizeof number || scale == 0)
		return -1;
	memcpy(number, text, digits);
	number[digits] = 0;
	if (number_parse_decimal(number, hertz) < 0 || *hertz <= 0)
		return -1;
	*hertz *= scale;
	return 0;
}

int card_bus_parse(struct card_bus *bus, const char *text, struct error *err)
{
	size_t length = strcspn(text, ":");
	const struct kind *k = kind_find(text, length);
	double hertz, clocks;

	if (!k || !text[length] || clock_parse(text + length + 1, &hertz) < 0)
		return error_set(err, ERROR_USAGE,
			"'%s' is no card bus; write it like spi:20MHz, sd1:25MHz, sd4:50MHz, "
			"sd4ddr:50MHz or mmc8:52MHz",
			text);
	if (!k->width) {
		bus->read = hertz / 8 * 512 / 515;
		bus->write = hertz / 8 * 512 / 516;
		return 0;
	}
	clocks = 1 + 4096.0 / (k->width * k->edges) + 16 + 1;
	bus->read = bus->write = hertz * 512 / clocks;
	return 0;
}
