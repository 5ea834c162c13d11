/* What charts share: the drawing area with its axes, and how values are written there. */
#ifndef REPORT_CHART_FRAME_H
#define REPORT_CHART_FRAME_H

#include <stddef.h>

#include "findings/value.h"
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
void chart_x_axis(
	struct text *t, const struct chart_frame *f, const char *name, chart_label *label);

/* Marks at these values alone, labelled where there is room. */
void chart_x_axis_at(struct text *t, const struct chart_frame *f, const char *name,
	chart_label *label, const double *at, size_t count);

void chart_label_rate(struct text *t, double bytes_per_second);
void chart_label_duration(struct text *t, double seconds);
void chart_label_size(struct text *t, double bytes);

/* How values of a unit are written on an axis. */
chart_label *chart_label_of(enum unit unit);

#endif
