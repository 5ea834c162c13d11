/* Data of a chart as plain series with units, complete before it is drawn. What it shows stands in a table too. */
#ifndef FINDINGS_CHART_H
#define FINDINGS_CHART_H

#include <stdbool.h>
#include <stddef.h>

#include "findings/value.h"

enum chart_kind {
	CHART_STEPS, /* a value holds from the point before to this one; both axes from 0 */
};

struct chart_point {
	double x, y;
};

struct chart_series {
	const char *name;
	unsigned style; /* shape and colour, 0..3 */
	bool second; /* hollow and dashed: of two that belong together, the less important */
	const struct chart_point *points;
	size_t count;
};

struct chart {
	enum chart_kind kind;
	const char *title, *what; /* what: for who cannot see it */
	const char *x_name, *y_name;
	enum unit x_unit, y_unit;
	const struct chart_series *series;
	size_t series_count;
};

#endif
