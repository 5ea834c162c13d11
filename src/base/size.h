/* Sizes and units as text, both ways. Sizes of requests are binary, rates decimal: IEC 80000-13. */
#ifndef BASE_SIZE_H
#define BASE_SIZE_H

#include <stddef.h>
#include <stdint.h>

enum { SIZE_TEXT_MAX = 32 };

/* "512", "4Ki", "4KiB", "1Mi", "50MB", "50M", "2k", "2kB": binary prefixes Ki Mi Gi Ti, decimal k M G T, an
 * optional B. Whole numbers only. 0, -EINVAL (not a size) or -ERANGE (above 2^64-1). */
int size_parse(const char *text, uint64_t *bytes);

/* A rate in B/s: "1.7MB/s", "480kB", "1216000B/s"; decimal fractions, an optional "/s", units as for sizes, but never
 * none: a bare number may have been meant in any. 0, -EINVAL or -ERANGE. */
int rate_parse(const char *text, double *bytes_per_second);

/* Request sizes: "512 B", "4 KiB", "1 MiB"; what is no whole multiple stays in the smaller unit.
 * Returns buf. */
const char *size_format(char buf[SIZE_TEXT_MAX], uint64_t bytes);

/* Capacities and amounts, decimal and rounded: "8.00 GB", "512 B". */
const char *size_format_decimal(char buf[SIZE_TEXT_MAX], double bytes);

/* Rates, three significant digits: "171 kB/s", "1.21 MB/s", "2.10 GB/s". */
const char *rate_format(char buf[SIZE_TEXT_MAX], double bytes_per_second);

/* Durations, three significant digits: "87.5 us", "3.36 ms", "12.0 s", "4 min 10 s". */
const char *duration_format(char buf[SIZE_TEXT_MAX], double seconds);

#endif
