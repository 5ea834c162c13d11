/* Charts as inline SVG, drawn by ourselves: a few lines and marks need less code than driving a plotting program, and
 * follow the page's style sheet for dark, light and print. Each adds one <svg>. */
#ifndef REPORT_CHART_H
#define REPORT_CHART_H

#include <stdbool.h>
#include <stddef.h>

#include "findings/details.h"
#include "findings/points.h"
#include "report/scale.h"

struct text;

/* The drawing area with its axes. */
struct chart_frame {
	struct scale x, y;
	double width, height; /* of the viewBox */
	double left, right, top, bottom; /* of the area */
};

enum { CHART_WIDTH = 600, CHART_HEIGHT = 360 };

/* Ends of the scales are values and are set; places are filled in here. */
void chart_frame_init(struct chart_frame *f, double width, double height);

/* Lines and labels of an axis; label writes the value of a tick. */
typedef void chart_label(struct text *t, double value);
void chart_y_axis(
	struct text *t, const struct chart_frame *f, const char *name, chart_label *label);
/* Request sizes: marks at the sizes themselves, every second or third labelled where they are many. */
void chart_size_axis(struct text *t, const struct chart_frame *f, const struct points *table);
void chart_x_axis(
	struct text *t, const struct chart_frame *f, const char *name, chart_label *label);

void chart_label_rate(struct text *t, double bytes_per_second);
void chart_label_duration(struct text *t, double seconds);

/* Rate by a fitted cost line: n / (k t0 + n / r), where the kernel makes k pieces of n bytes. Drawn when known. */
struct chart_fit {
	bool known;
	double seconds_per_request, bytes_per_second;
	double largest_piece; /* 0: nothing is split */
};

/* One table of points as a series. */
struct chart_table_series {
	struct points table;
	bool acknowledged; /* writes: draw the acknowledged rate, hollow and dashed */
	unsigned style; /* shape and colour, 0..3 */
	struct chart_fit fit;
};

void chart_rate(struct text *t, const char *title, const struct chart_table_series *series, size_t count);

/* Latency by request size: p1 to slowest as a line, the middle half as a box, median, p99 and slowest marked.
 * details[i] belongs to table.list[i]. False when there is no histogram: nothing is added then. */
bool chart_latency(struct text *t, const char *title, const struct points *table,
	const struct detail *details);

/* Rate over time: one small panel a request size, one thin line a pass. False without traces. */
bool chart_traces(struct text *t, const char *title, const struct points *table,
	const struct detail *details);

#endif
