/* Does a host wait for the next frame of the bus before each phase of a command? Then every request takes a whole number
 * of frames, and sizes that fill the same number of frames take the same time. */
#ifndef ANALYSIS_FRAMES_H
#define ANALYSIS_FRAMES_H

#include <stdbool.h>
#include <stddef.h>

struct usb_link;

enum frames_evidence {
	FRAMES_EXCLUDED, /* no such bus, or times are no whole frames, or shorter than such a host could */
	FRAMES_OPEN, /* may be, may not be */
	FRAMES_SEEN,
};

/* One request size. */
struct frames_point {
	double bytes, pieces; /* of a host request; device requests it makes */
	double seconds; /* mean */
	double noise; /* standard error of it, as a share */
	double median_s, p90_s; /* to the upper end of a bin QUANTILE_BIN wide; 0: not known */
};

/* link NULL: no USB. explained: something else follows the times as well, so it takes more whole frames to be no chance.
 * straight_misfit: how far off a straight line is, in standard errors (infinite: there is none): frames would make it
 * bend, so where it does not, they are ruled out. */
enum frames_evidence frames_look(const struct usb_link *link, const struct frames_point *points,
	size_t count, bool explained, double straight_misfit);

#endif
