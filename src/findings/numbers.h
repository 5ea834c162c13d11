/* Numbers as tables write them. */
#ifndef FINDINGS_NUMBERS_H
#define FINDINGS_NUMBERS_H

#include "findings/points.h"

struct text;

/* Three significant digits, without an exponent: "0.0123", "1.18", "41.0", "1180". */
void number_add(struct text *t, double value);

/* "1.17..1.19" in the unit that the median is written with; "-" when there is none, "not shown" when its ends are a
 * hundred times apart. */
void number_add_interval(struct text *t, const struct rate_summary *s);

/* Share as percent: "97 %", "0.8 %". */
void number_add_percent(struct text *t, double share);

#endif
