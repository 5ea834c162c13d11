/* Values: making and showing them. */
#include "findings/value.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>

#include "analysis/summary.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/numbers.h"

/* ---- making ---- */

struct value value_unknown(void)
{
	return (struct value){ .unit = UNIT_WORD };
}

struct value value_if(bool known, struct value v)
{
	v.known = v.known && known;
	return v;
}

static struct value whole(enum unit unit, uint64_t n)
{
	return (struct value){ .unit = unit, .known = true, .whole = n };
}

static struct value number(enum unit unit, double n)
{
	bool finite = isfinite(n);

	return (struct value){ .unit = unit, .known = finite, .number = finite ? n : 0 };
}

static struct value words(enum unit unit, const char *text)
{
	return (struct value){ .unit = unit, .known = text != NULL, .text = text };
}

struct value value_count(uint64_t n)
{
	return whole(UNIT_COUNT, n);
}

struct value value_bytes(uint64_t n)
{
	return whole(UNIT_BYTES, n);
}

struct value value_bytes_decimal(uint64_t n)
{
	return whole(UNIT_BYTES_DECIMAL, n);
}

struct value value_bytes_mean(double n)
{
	return number(UNIT_BYTES_MEAN, n);
}

struct value value_rate(double bytes_per_second)
{
	return number(UNIT_BYTES_PER_SECOND, bytes_per_second);
}

struct value value_seconds(double seconds)
{
	return number(UNIT_SECONDS, seconds);
}

struct value value_ns(uint64_t ns)
{
	return whole(UNIT_NANOSECONDS, ns);
}

struct value value_share(double share)
{
	return number(UNIT_SHARE, share);
}

struct value value_share_counted(uint64_t part, uint64_t all)
{
	return number(UNIT_SHARE_COUNTED, all ? (double)part / (double)all : 0);
}

struct value value_number(double n)
{
	return number(UNIT_NUMBER, n);
}

struct value value_change(double ratio)
{
	return number(UNIT_CHANGE, ratio);
}

struct value value_change_range(double low, double high)
{
	return (struct value){ .unit = UNIT_CHANGE_RANGE, .known = true, .low = low, .high = high };
}

struct value value_rate_range(const struct rate_summary *s)
{
	return (struct value){ .unit = UNIT_RATE_RANGE,
		.known = s->interval_known,
		.number = s->median,
		.low = s->low,
		.high = s->high };
}

struct value value_flag(bool flag)
{
	return whole(UNIT_FLAG, flag);
}

struct value value_word(const char *word)
{
	return words(UNIT_WORD, word);
}

struct value value_code(const char *code)
{
	return words(UNIT_CODE, code);
}

struct value value_words(const char *list)
{
	return words(UNIT_WORDS, list ? list : "");
}

struct value value_text(const char *text)
{
	return words(UNIT_TEXT, text && *text ? text : NULL);
}

bool value_is_text(struct value v)
{
	return v.unit == UNIT_CODE || v.unit == UNIT_WORD || v.unit == UNIT_WORDS ||
	       v.unit == UNIT_TEXT;
}

bool value_is_for_people(struct value v)
{
	return v.unit == UNIT_CHANGE || v.unit == UNIT_CHANGE_RANGE || v.unit == UNIT_RATE_RANGE;
}

/* ---- for people ---- */

static void add_mean(struct text *t, double bytes)
{
	if (bytes < 1024)
		text_addf(t, "%.0f B", bytes);
	else
		text_addf(t, "%.1f KiB", bytes / 1024);
}

static void add_duration(struct text *t, double seconds)
{
	char buf[SIZE_TEXT_MAX];

	text_adds(t, seconds == 0 ? "0 s" : duration_format(buf, seconds));
}

static void add_code(struct text *t, const char *code)
{
	for (const char *c = code; *c; c++)
		text_add(t, *c == '-' ? " " : c, 1);
}

static void add_words(struct text *t, const char *list)
{
	if (!*list)
		text_adds(t, "-");
	for (const char *c = list; *c; c++)
		if (*c == '+')
			text_adds(t, ", ");
		else
			text_add(t, c, 1);
}

/* "+32.3", "-0.41": in percent, three digits. */
static void add_change(struct text *t, double ratio)
{
	double change = (ratio - 1) * 100;
	int decimals = fabs(change) < 9.995 ? 2 : fabs(change) < 99.95 ? 1 : 0;

	if (change >= 999.5) /* beyond any use but to say so */
		text_adds(t, "over +999");
	else
		text_addf(t, "%+.*f", decimals, change);
}

static void add_change_range(struct text *t, struct value v)
{
	add_change(t, v.low);
	text_adds(t, "..");
	add_change(t, v.high);
}

static void add_range(struct text *t, struct value v)
{
	struct rate_summary s = {
		.median = v.number, .low = v.low, .high = v.high, .interval_known = true
	};

	number_add_interval(t, &s);
}

static void add_known(struct text *t, struct value v)
{
	char buf[SIZE_TEXT_MAX];

	switch (v.unit) {
	case UNIT_COUNT:
		text_addf(t, "%llu", (unsigned long long)v.whole);
		break;
	case UNIT_BYTES:
		text_adds(t, size_format(buf, v.whole));
		break;
	case UNIT_BYTES_MEAN:
		add_mean(t, v.number);
		break;
	case UNIT_BYTES_DECIMAL:
		text_adds(t, size_format_decimal(buf, (double)v.whole));
		break;
	case UNIT_BYTES_PER_SECOND:
		text_adds(t, rate_format(buf, v.number));
		break;
	case UNIT_SECONDS:
		add_duration(t, v.number);
		break;
	case UNIT_NANOSECONDS:
		add_duration(t, (double)v.whole / 1e9);
		break;
	case UNIT_SHARE:
		if (v.number >= 9.995) /* beyond any use but to say so */
			text_adds(t, "over 999 %");
		else
			number_add_percent(t, v.number);
		break;
	case UNIT_SHARE_COUNTED:
		text_addf(t, "%.1f %%", v.number * 100);
		break;
	case UNIT_NUMBER:
		number_add(t, v.number);
		break;
	case UNIT_CHANGE:
		add_change(t, v.number);
		text_adds(t, " %");
		break;
	case UNIT_CHANGE_RANGE:
		add_change_range(t, v);
		break;
	case UNIT_RATE_RANGE:
		add_range(t, v);
		break;
	case UNIT_FLAG:
		text_adds(t, v.whole ? "yes" : "no");
		break;
	case UNIT_CODE:
		add_code(t, v.text);
		break;
	case UNIT_WORDS:
		add_words(t, v.text);
		break;
	case UNIT_WORD:
	case UNIT_TEXT:
		text_adds(t, v.text);
		break;
	}
}

void value_add(struct text *t, struct value v)
{
	if (v.known)
		add_known(t, v);
	else
		text_adds(t, "-");
}

/* ---- for programs ---- */

/* "0.0015": no more digits than it takes. */
static void add_exact_seconds(struct text *t, uint64_t ns)
{
	uint64_t rest = ns % 1000000000;
	int digits = 9;

	text_addf(t, "%llu", (unsigned long long)(ns / 1000000000));
	if (!rest)
		return;
	for (; rest % 10 == 0; digits--)
		rest /= 10;
	text_addf(t, ".%0*llu", digits, (unsigned long long)rest);
}

void value_add_plain(struct text *t, struct value v)
{
	if (!v.known)
		return;
	switch (v.unit) {
	case UNIT_COUNT:
	case UNIT_BYTES:
	case UNIT_BYTES_DECIMAL:
		text_addf(t, "%llu", (unsigned long long)v.whole);
		break;
	case UNIT_FLAG:
		text_adds(t, v.whole ? "true" : "false");
		break;
	case UNIT_NANOSECONDS:
		add_exact_seconds(t, v.whole);
		break;
	case UNIT_SECONDS:
	case UNIT_BYTES_MEAN:
	case UNIT_BYTES_PER_SECOND:
	case UNIT_SHARE:
	case UNIT_SHARE_COUNTED:
	case UNIT_NUMBER:
		text_addf(t, "%.9g", v.number);
		break;
	case UNIT_CHANGE: /* the ratio, and the ends of ranges, have columns of their own */
	case UNIT_CHANGE_RANGE:
	case UNIT_RATE_RANGE:
		break;
	case UNIT_CODE:
	case UNIT_WORDS:
	case UNIT_WORD:
	case UNIT_TEXT:
		text_adds(t, v.text);
		break;
	}
}
