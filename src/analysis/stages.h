/* Two stages, link and card, in bytes per second: what they make together. Store and forward: 1/(1/L + 1/C).
 * Overlapped: min(L, C). */
#ifndef ANALYSIS_STAGES_H
#define ANALYSIS_STAGES_H

#include <stdint.h>

double stages_in_turn(double link, double card);
double stages_overlapped(double link, double card);

/* Inside one request of n bytes, handed on in chunks: the first chunk's way in, then the slower stage sets the pace. */
double stages_chunked(double link, double card, uint64_t n, uint64_t chunk);

/* 0: one after the other, 1: fully overlapped, from the time per byte; below 0: slower than both predictions,
 * above 1: faster, so link or card is in truth faster than stated. */
double stages_overlap_degree(double link, double card, double measured);

/* The link rate at which `measured` would be exactly one stage after the other; 0 when the card alone is slower. */
double stages_link_if_in_turn(double card, double measured);

#endif
