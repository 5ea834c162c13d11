/* A medium whose SCSI answers are spoiled by a seeded chance: garbage, short data, wild sense, trouble of the host. The
 * rest goes through. */
#ifndef SUPPORT_HOSTILE_SCSI_H
#define SUPPORT_HOSTILE_SCSI_H

#include <stdint.h>

#include "base/random.h"
#include "medium/medium.h"

struct hostile_scsi {
	struct random random;
	unsigned one_in;
};

/* Takes over `inner`; `h` lives as long as what is returned. one_in: every how many commands on average. */
struct medium *hostile_scsi_new(
	struct hostile_scsi *h, struct medium *inner, uint64_t seed, unsigned one_in);

#endif
