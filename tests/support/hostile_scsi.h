/* A medium whose SCSI answers are spoiled by a seeded chance: garbage, short data, wild sense, trouble of the host. The
 * rest goes through. */
#ifndef SUPPORT_HOSTILE_SCSI_H
#define SUPPORT_HOSTILE_SCSI_H

#include <stdint.h>

#include "medium/medium.h"

/* Takes over `inner`. one_in: every how many commands on average. */
struct medium *hostile_scsi_new(struct medium *inner, uint64_t seed, unsigned one_in);

#endif
