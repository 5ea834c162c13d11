/* Do the passes of a run depend on where they went? The passes of each point are spread over equal parts of the region, one in
 * each; if a part is slow (or quick) for all points alike, it is the place, and not chance or the moment: a randomized block
 * design with points as blocks and parts as treatments (two-way analysis of variance without replication; NIST/SEMATECH
 * e-Handbook 7.3.4 and 7.4.3.8), on the logarithms of the rates. Pure. */
#ifndef ANALYSIS_PLACES_H
#define ANALYSIS_PLACES_H

#include <stdbool.h>
#include <stddef.h>

enum { PLACES_MAX = 64 };

struct places {
	bool known; /* two points or more that have a pass in every part */
	bool differ; /* clearly, and by enough to matter */
	size_t parts, points;
	double p; /* how likely parts differ so much by chance */
	double slowest, fastest; /* rate there over the mean of all parts */
	size_t slowest_part, fastest_part;
};

#define PLACES_LEVEL 0.01
#define PLACES_MATTER 1.05 /* fastest over slowest */

/* log_rates: points rows of parts columns, 2 to PLACES_MAX of them. */
void places_find(struct places *out, const double *log_rates, size_t points, size_t parts);

#endif
