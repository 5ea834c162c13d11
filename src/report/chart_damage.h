/* Where in the region damage was found: one strip for what was judged, one for each class met. */
#ifndef REPORT_CHART_DAMAGE_H
#define REPORT_CHART_DAMAGE_H

#include "base/damage.h"

struct text;

void chart_damage(struct text *t, const char *title, const struct damage_totals *totals);

#endif
