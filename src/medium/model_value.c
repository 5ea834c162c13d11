/* Values of a model file with their units. */
#include "medium/model_value.h"

#include <errno.h>
#include <math.h>
#include <string.h>

#include "base/number.h"
#include "base/size.h"

struct scale {
	const char *unit;
	double factor;
};

/* A decimal number, blanks if any, and one of the units. */
static int scaled(const char *text, const struct scale *scales, double *out)
{
	size_t digits = strspn(text, "0123456789.");
	const char *unit = text + digits;
	char number[32];

	if (digits >= sizeof number)
		return -EINVAL;
	memcpy(number, text, digits);
	number[digits] = 0;
	unit += strspn(unit, " \t");
	if (number_parse_decimal(number, out) < 0)
		return -EINVAL;
	for (; scales->unit; scales++) {
		if (!strcmp(scales->unit, unit)) {
			*out *= scales->factor;
			return 0;
		}
	}
	return -EINVAL;
}

int model_value_rate(const char *text, double *bytes_per_second)
{
	static const struct scale scales[] = { { "B/s", 1 }, { "kB/s", 1e3 }, { "MB/s", 1e6 },
		{ "GB/s", 1e9 }, { NULL, 0 } };

	if (!strcmp(text, "unlimited")) {
		*bytes_per_second = HUGE_VAL;
		return 0;
	}

	return scaled(text, scales, bytes_per_second);
}

int model_value_time(const char *text, double *ns)
{
	static const struct scale scales[] = { { "ns", 1 }, { "us", 1e3 }, { "ms", 1e6 },
		{ "s", 1e9 }, { NULL, 0 } };

	return scaled(text, scales, ns);
}

int model_value_percent(const char *text, double *fraction)
{
	static const struct scale scales[] = { { "%", 0.01 }, { NULL, 0 } };

	return scaled(text, scales, fraction);
}

int model_value_one_in(const char *text, uint64_t *n)
{
	static const char head[] = "1 in ";
	int rc;

	if (strncmp(text, head, sizeof head - 1) != 0)
		return -EINVAL;
	rc = number_parse_u64(text + sizeof head - 1, n);
	if (rc < 0)
		return rc;
	return *n ? 0 : -ERANGE;
}

int model_value_range(const char *text, struct model_range *range)
{
	const char *plus = strchr(text, '+');
	char start[32];
	uint64_t end;

	if (!plus || (size_t)(plus - text) >= sizeof start)
		return -EINVAL;
	memcpy(start, text, (size_t)(plus - text));
	start[plus - text] = 0;
	if (size_parse(start, &range->start) < 0 || size_parse(plus + 1, &range->bytes) < 0)
		return -EINVAL;
	if (!range->bytes || !number_add_u64(range->start, range->bytes, &end))
		return -ERANGE;
	return 0;
}

static int hex_digit(char c)
{
	static const char digits[] = "0123456789ABCDEF";
	const char *at = c ? strchr(digits, c >= 'a' && c <= 'f' ? c - 'a' + 'A' : c) : NULL;

	return at ? (int)(at - digits) : -1;
}

int model_value_byte(const char *text, uint64_t *byte)
{
	int high, low;

	if (strlen(text) != 3 || text[2] != 'h')
		return -EINVAL;
	high = hex_digit(text[0]);
	low = hex_digit(text[1]);
	if (high < 0 || low < 0)
		return -EINVAL;
	*byte = (uint64_t)high * 16 + (uint64_t)low;
	return 0;
}
