/* Numbers as tables write them. */
#include "findings/numbers.h"

#include <math.h>

#include "base/size.h"
#include "base/text.h"

void number_add(struct text *t, double value)
{
	double size = fabs(value);
	int decimals = 0;

	/* The limits are those at which rounding would bring a fourth digit. */
	for (double limit = 99.95; size < limit && decimals < 4; limit /= 10)
		decimals++;
	text_addf(t, "%.*f", size > 0 ? decimals : 0, value);
}

/* Same steps as rate_format, so that both ends carry the unit of the median. */
static double unit_of(double rate)
{
	double unit = 1;

	while (rate / unit >= 999.5 && unit < 1e12)
		unit *= 1000;
	return unit;
}

void number_add_interval(struct text *t, const struct rate_summary *s)
{
	double unit = unit_of(s->median);

	if (!s->interval_known) {
		text_adds(t, "-");
		return;
	}
	if (s->high > s->low * 100) { /* says nothing, and no table has room for it */
		text_adds(t, "not shown");
		return;
	}
	number_add(t, s->low / unit);
	text_adds(t, "..");
	number_add(t, s->high / unit);
}

void number_add_percent(struct text *t, double share)
{
	double percent = share * 100;

	text_addf(t, "%.*f %%", percent < 9.95 ? 1 : 0, percent);
}
