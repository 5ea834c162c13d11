/* Data of a chart as plain series with units, complete before it is drawn. What it shows stands in a table too. */
#ifndef FINDINGS_CHART_H
#define FINDINGS_CHART_H

#include <stdbool.h>
#include <stddef.h>

#include "findings/value.h"

enum chart_kind {
	CHART_LINES, /* marks joined by lines, with ranges as bands; both axes logarithmic; marks on the x axis at the points */
	CHART_BOXES, /* how single things spread at each x; both axes logarithmic, as above */
	CHART_STEPS, /* y holds from the point before to this one; both axes from 0 */
	CHART_PANELS, /* the same, in one small panel for all series of one name */
};

struct chart_point {
	double x, y; /* y <= 0 on a logarithmic axis: not drawn */
	bool ranged;
	double low, high;
};

struct chart_series {
	const char *name;
	unsigned style; /* shape and colour, 0..3 */
	bool second; /* hollow and dashed: of two that belong together, the less important */
	bool fitted; /* CHART_LINES: a dotted curve without marks, which the axes need not hold */
	const struct chart_point *points;
	size_t count;
};

struct chart_box {
	double x;
	double p1, p25, p50, p75, p99, most;
};

struct chart {
	enum chart_kind kind;
	const char *title, *what; /* what: for who cannot see it */
	const char *x_name, *y_name;
	enum unit x_unit, y_unit;
	const struct chart_series *series;
	size_t series_count;
	const struct chart_box *boxes; /* CHART_BOXES, instead of series */
	size_t box_count;
	double ceiling; /* CHART_LINES: a line across; 0: none */
	const char *ceiling_name;
};

#endif
