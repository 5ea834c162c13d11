/* What is on a target, in words, for somebody about to overwrite it. */
#ifndef CLI_CONTENTS_H
#define CLI_CONTENTS_H

#include <stddef.h>
#include <stdint.h>

struct blockdev;
struct medium;
struct text;

/* Adds "FAT32 'LOGGER', 7.95 GB; ext4, 1.02 GB" of a device that may be opened for reading; "nothing that is recognised"; or
 * nothing at all when it could not be read. */
void contents_add(struct text *t, const struct blockdev *d);

/* Tells what of it lies in the region, before the region is given up. A medium that cannot be read is left to the run. */
void contents_tell(struct medium *m, uint64_t region_start, uint64_t region_bytes);

#endif
