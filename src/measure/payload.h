/* Data for timed writes: incompressible, and no 512-byte sector like any other written in the run, at a cost of a few
 * bytes stored per sector. Bit stuffing makes USB 2.0 throughput depend on the data (USB 2.0 section 7.1.9), so it must
 * look random and not be all ones or zeros. */
#ifndef MEASURE_PAYLOAD_H
#define MEASURE_PAYLOAD_H

#include <stddef.h>
#include <stdint.h>

/* Fills length bytes (a multiple of 8) with SplitMix64(seed). Once per pass, outside the timed stretch. */
void payload_fill(void *buf, size_t length, uint64_t seed);

/* Makes every sector of buf unique: run-wide serial number, mixed so that it stays incompressible. Returns the next
 * serial. */
uint64_t payload_renew(void *buf, size_t length, uint64_t serial);

#endif
