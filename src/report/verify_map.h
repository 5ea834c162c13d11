/* The region as a picture of characters, 64 cells a row: at most 78 columns. */
#ifndef REPORT_VERIFY_MAP_H
#define REPORT_VERIFY_MAP_H

#include "base/damage.h"

struct text;

void verify_map_add(struct text *t, const struct damage_totals *totals);

#endif
