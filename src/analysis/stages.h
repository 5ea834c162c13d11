/* Two stages, link and card, in bytes per second: what they make together. Store and forward: 1/(1/L + 1/C).
 * Overlapped: min(L, C) in the long run. */
#ifndef ANALYSIS_STAGES_H
#define ANALYSIS_STAGES_H

#include <stdint.h>

/* Inside one request of n bytes, handed on in chunks: the first chunk's way in, then the slower stage sets the pace.
 * A chunk of n bytes or more (or 0): one after the other. */
double stages_chunked(double link, double card, uint64_t n, uint64_t chunk);

/* The same with a fixed cost of the request in seconds. */
double stages_request(double link, double card, uint64_t n, uint64_t chunk, double fixed_s);

#endif
