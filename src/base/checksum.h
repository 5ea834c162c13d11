/* CRC-32 as in zlib: ISO 3309, ITU-T V.42; RFC 1952 section 8. */
#ifndef BASE_CHECKSUM_H
#define BASE_CHECKSUM_H

#include <stddef.h>
#include <stdint.h>

/* crc is 0 to begin, or the value returned so far. Any length. */
uint32_t checksum_crc32(uint32_t crc, const void *bytes, size_t length);

#endif
