/* CRC-32 by zlib. */
#include "base/checksum.h"

#include <zlib.h>

uint32_t checksum_crc32(uint32_t crc, const void *bytes, size_t length)
{
	return (uint32_t)crc32_z(crc, bytes, length);
}
