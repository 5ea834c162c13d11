/* Checked number parsing. */
#include "base/number.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool is_digit(char c)
{
	return c >= '0' && c <= '9';
}

int number_parse_u64(const char *text, uint64_t *out)
{
	uint64_t n = 0;

	if (!*text)
		return -EINVAL;
	for (; *text; text++) {
		if (!is_digit(*text))
			return -EINVAL;
		if (!number_multiply_u64(n, 10, &n) ||
			!number_add_u64(n, (uint64_t)(*text - '0'), &n))
			return -ERANGE;
	}
	*out = n;
	return 0;
}

int number_parse_decimal(const char *text, double *out)
{
	double value = 0, scale = 1;
	size_t digits = 0;

	/* By hand because strtod takes "inf", "0x1p3" and the locale's comma. */
	for (; is_digit(*text); text++, digits++)
		value = value * 10 + (*text - '0');
	if (*text == '.') {
		text++;
		for (; is_digit(*text); text++, digits++) {
			scale /= 10;
			value += (*text - '0') * scale;
		}
	}
	if (*text || !digits)
		return -EINVAL;
	if (!isfinite(value))
		return -ERANGE;
	*out = value;
	return 0;
}
