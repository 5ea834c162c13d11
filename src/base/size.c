/* Sizes, rates and durations as text. */
#include "base/size.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"
#include "base/text.h"

static const struct unit {
	const char *name;
	uint64_t bytes;
} units[] = {
	{ "Ki", UINT64_C(1) << 10 },
	{ "Mi", UINT64_C(1) << 20 },
	{ "Gi", UINT64_C(1) << 30 },
	{ "Ti", UINT64_C(1) << 40 },
	{ "k", UINT64_C(1000) },
	{ "M", UINT64_C(1000000) },
	{ "G", UINT64_C(1000000000) },
	{ "T", UINT64_C(1000000000000) },
};

static int unit_parse(const char *text, uint64_t *bytes)
{
	size_t len = strlen(text);

	if (len && text[len - 1] == 'B')
		len--;
	if (!len) {
		*bytes = 1;
		return 0;
	}
	for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
		if (strlen(units[i].name) == len && !memcmp(units[i].name, text, len)) {
			*bytes = units[i].bytes;
			return 0;
		}
	}
	return -EINVAL;
}

int size_parse(const char *text, uint64_t *bytes)
{
	size_t digits = strspn(text, "0123456789");
	char number[24];
	uint64_t count, unit;
	int rc;

	if (!digits)
		return -EINVAL;
	if (unit_parse(text + digits, &unit) < 0)
		return -EINVAL;
	if (digits >= sizeof number)
		return -ERANGE;
	memcpy(number, text, digits);
	number[digits] = 0;
	rc = number_parse_u64(number, &count);
	if (rc < 0)
		return rc;
	return number_multiply_u64(count, unit, bytes) ? 0 : -ERANGE;
}

int rate_parse(const char *text, double *bytes_per_second)
{
	size_t digits = strspn(text, "0123456789."), length = strlen(text);
	char number[32], name[8];
	uint64_t unit;
	int rc;

	if (length >= 2 && !strcmp(text + length - 2, "/s"))
		length -= 2;
	if (digits >= length || digits >= sizeof number || length - digits >= sizeof name)
		return -EINVAL;
	memcpy(number, text, digits);
	number[digits] = 0;
	memcpy(name, text + digits, length - digits);
	name[length - digits] = 0;
	if (unit_parse(name, &unit) < 0)
		return -EINVAL;
	rc = number_parse_decimal(number, bytes_per_second);
	if (rc < 0)
		return rc;
	*bytes_per_second *= (double)unit;
	return 0;
}

const char *size_format(char buf[SIZE_TEXT_MAX], uint64_t bytes)
{
	static const char *const names[] = { "B", "KiB", "MiB", "GiB", "TiB" };
	size_t i = 0;

	while (i < 4 && bytes && bytes % 1024 == 0) {
		bytes /= 1024;
		i++;
	}
	snprintf(buf, SIZE_TEXT_MAX, "%llu %s", (unsigned long long)bytes, names[i]);
	return buf;
}

/* Three significant digits of value in the largest unit of base 1000 that keeps it >= 1. */
static const char *scaled(
	char buf[SIZE_TEXT_MAX], double value, const char *const names[], size_t count)
{
	size_t i = 0;

	/* 999.5 would print as 1000, so step up just before. */
	while (i + 1 < count && fabs(value) >= 999.5) {
		value /= 1000;
		i++;
	}
	snprintf(buf, SIZE_TEXT_MAX, "%.*f %s",
		fabs(value) < 9.995   ? 2
		: fabs(value) < 99.95 ? 1
				      : 0,
		value, names[i]);
	return buf;
}

const char *size_format_decimal(char buf[SIZE_TEXT_MAX], double bytes)
{
	static const char *const names[] = { "B", "kB", "MB", "GB", "TB", "PB" };

	if (bytes < 1000) {
		snprintf(buf, SIZE_TEXT_MAX, "%.0f B", bytes);
		return buf;
	}
	return scaled(buf, bytes, names, 6);
}

const char *rate_format(char buf[SIZE_TEXT_MAX], double bytes_per_second)
{
	static const char *const names[] = { "B/s", "kB/s", "MB/s", "GB/s", "TB/s" };

	return scaled(buf, bytes_per_second, names, 5);
}

const char *duration_format(char buf[SIZE_TEXT_MAX], double seconds)
{
	static const char *const names[] = { "us", "ms" };

	if (seconds < 5e-9) { /* else nothing but zeros are shown */
		text_copy(buf, SIZE_TEXT_MAX, "0 s");
		return buf;
	}
	if (seconds < 0.9995)
		return scaled(buf, seconds * 1e6, names, 2);
	if (seconds < 99.95) {
		snprintf(buf, SIZE_TEXT_MAX, "%.*f s", seconds < 9.995 ? 2 : 1, seconds);
		return buf;
	}
	uint64_t whole = seconds > 1e15 ? (uint64_t)1e15 : (uint64_t)llround(seconds);
	unsigned long long hours = whole / 3600, minutes = whole / 60 % 60, rest = whole % 60;

	if (hours)
		snprintf(buf, SIZE_TEXT_MAX, "%llu h %llu min", hours, minutes);
	else
		snprintf(buf, SIZE_TEXT_MAX, "%llu min %llu s", minutes, rest);
	return buf;
}
