/* The imprint: how the random data of a timed write tells which run wrote it. Every sector of 512 bytes bears eight marks, each
 * a word made from its neighbour and the run's seed, so that a sector is known for the run's own wherever it is found,
 * at no cost while the clock runs. */
#ifndef BASE_IMPRINT_H
#define BASE_IMPRINT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { IMPRINT_SECTOR = 512 };

/* Marks every whole sector of buf, which holds SplitMix64 numbers in a row (base/random.h): the second word of each 64
 * bytes. The first word of a sector may be changed afterwards, to random_mix of a number that tells it from all others. */
void imprint_put(void *buf, size_t length, uint64_t seed);

/* Is this sector, to the last bit, one that the run of that seed could have written? */
bool imprint_fits(const void *sector, uint64_t seed);

/* The same of a version that left no marks: of any run. */
bool imprint_fits_unmarked(const void *sector);

/* Was it the run of that seed that wrote this sector, which may have been damaged since? At least half of its marks hold; one
 * holds by chance in 2^64. */
bool imprint_marks_hold(const void *sector, uint64_t seed);

/* Does this sector look like the data of a timed write by any run, with marks or without? */
bool imprint_is_timed_data(const void *sector);

#endif
