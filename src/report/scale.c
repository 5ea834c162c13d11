/* Scales. */
#include "report/scale.h"

#include <math.h>

double scale_at(const struct scale *s, double value)
{
	double share;

	if (!(value > s->low))
		value = s->low;
	if (value > s->high)
		value = s->high;
	if (s->logarithmic)
		share = log(value / s->low) / log(s->high / s->low);
	else
		share = (value - s->low) / (s->high - s->low);
	return s->from + share * (s->to - s->from);
}

/* 1, 2 or 5 times a power of ten, not above (down) or not below (up) value > 0. A hair of slack lets a round value,
 * not exact in binary, stay what it is. */
static double round_down(double value)
{
	double power = pow(10, floor(log10(value) + 1e-9));
	double lead = value / power * (1 + 1e-9);

	return power * (lead >= 5 ? 5 : lead >= 2 ? 2 : 1);
}

static double round_up(double value)
{
	double power = pow(10, floor(log10(value) + 1e-9));
	double lead = value / power * (1 - 1e-9);

	return power * (lead <= 1 ? 1 : lead <= 2 ? 2 : lead <= 5 ? 5 : 10);
}

static double linear_step(const struct scale *s)
{
	return round_up((s->high - s->low) / 6);
}

void scale_round(struct scale *s)
{
	if (s->logarithmic) {
		s->low = round_down(s->low);
		s->high = round_up(s->high);
		if (s->high <= s->low)
			s->high = s->low * 2;
		return;
	}
	if (s->high <= s->low)
		s->high = s->low + 1;
	double step = linear_step(s);

	s->low = floor(s->low / step + 1e-9) * step;
	s->high = ceil(s->high / step - 1e-9) * step;
}

static double log_next(double tick, bool decades)
{
	double lead = tick / pow(10, floor(log10(tick) + 1e-9));

	if (decades)
		return tick * 10;
	return tick * (lead > 1.5 && lead < 3 ? 2.5 : 2);
}

static size_t log_ticks(const struct scale *s, double *ticks)
{
	bool decades = s->high / s->low > 300;
	double tick = round_down(s->low);
	size_t n = 0;

	if (decades)
		tick = pow(10, floor(log10(s->low) + 1e-9));
	for (; tick <= s->high * (1 + 1e-9) && n < SCALE_TICKS_MAX; tick = log_next(tick, decades))
		if (tick >= s->low * (1 - 1e-9))
			ticks[n++] = tick;
	return n;
}

size_t scale_ticks(const struct scale *s, double ticks[SCALE_TICKS_MAX])
{
	size_t n = 0;

	if (s->logarithmic)
		return log_ticks(s, ticks);
	double step = linear_step(s);

	for (double k = ceil(s->low / step - 1e-9); n < SCALE_TICKS_MAX; k++) {
		if (k * step > s->high + step * 1e-9)
			break;
		ticks[n++] = k * step + 0.0; /* no minus before a zero */
	}
	return n;
}
