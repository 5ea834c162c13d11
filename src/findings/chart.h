/* Data of a chart as plain series with units, complete before it is drawn. What it shows stands in a table too. */
#ifndef FINDINGS_CHART_H
#define FINDINGS_CHART_H

#include <stdbool.h>
#include <stddef.h>

#include "findings/value.h"

enum chart_kind {
	CHART_LINES, /* marks joined by lines, ranges as bands; both axes logarithmic, the x axis marked at the points */
	CHART_BOXES, /* how single things spread at each x; axes as above */
	CHART_STEPS, /* a value holds from the point before to this one; both axes from 0 */
	CHART_RATIOS, /* ratios with their ranges, one a line under headings; 1 is marked */
	CHART_PANELS, /* the same, one small panel for all neighbouring series of one name */
	/* What lies where: cells of equal length along the x axis, one strip for each thing; text draws it too. */
	CHART_STRIPS,
	CHART_STACKS, /* shares of a whole: one bar for each x, of the series' values in turn; its sum stands behind it */
};

struct chart_point {
	double x, y; /* y <= 0 on a logarithmic axis: nothing is drawn */
	bool ranged;
	double low, high;
};

struct chart_series {
	const char *name;
	unsigned style; /* shape and colour, 0..3 */
	bool second; /* hollow and dashed: of two that belong together, the less important */
	bool fitted; /* CHART_LINES: a dotted curve without marks, for which the axes need no room */
	const struct chart_point *points;
	size_t count;
};

struct chart_box {
	double x;
	double p1, p25, p50, p75, p99, most;
};

struct chart_ratio {
	const char *group; /* heading; the same for neighbours that belong together */
	const char *name;
	double ratio; /* <= 0: not known, nothing is drawn */
	bool ranged;
	double low, high;
	unsigned series; /* whose look it has */
};

struct chart_strip {
	const char *name;
	char sign; /* of its cells on plain text */
	bool quiet; /* as it should be: nothing that asks for a look */
	const double *levels; /* of each cell: how much of it is so, 0..1 */
};

struct chart {
	enum chart_kind kind;
	const char *title;
	const char *intro; /* how to read it; NULL: needs no telling */
	const char *what; /* for those who cannot see it */
	const char *x_name, *y_name;
	enum unit x_unit, y_unit;
	const struct chart_series *series;
	size_t series_count;
	const struct chart_box *boxes; /* CHART_BOXES, instead of series */
	size_t box_count;
	/* CHART_RATIOS; the series name the looks, and have no points */
	const struct chart_ratio *ratios;
	size_t ratio_count;
	/* CHART_STRIPS; where several have a cell, text shows the last of them */
	const struct chart_strip *strips;
	size_t strip_count, cell_count;
	double cells_from, cell_length, cells_to; /* on the x axis; the last cell may be shorter */
	const char *none_name; /* of cells that no strip has */
	char none_sign;
	double ceiling; /* CHART_LINES: a line across; 0: none */
	const char *ceiling_name, *ceiling_words; /* in the key; on the line */
};

#endif
