/* What a link is called and what it can carry at most. */
#ifndef FINDINGS_LINK_H
#define FINDINGS_LINK_H

#include <stdint.h>

/* Payload ceiling of bulk transfers in B/s, with the place it comes from; 0 when the link is unknown or is no USB. */
double link_ceiling_bps(const char *transport, uint64_t bits_per_second);
const char *link_ceiling_source(uint64_t bits_per_second);

/* "full speed"; "" when there is no name for it. */
const char *link_name(const char *transport, uint64_t bits_per_second);

#endif
