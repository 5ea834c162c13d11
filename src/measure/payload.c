/* Data for timed writes. */
#include "measure/payload.h"

#include <string.h>

#include "base/random.h"

enum { SECTOR = 512 };

void payload_fill(void *buf, size_t length, uint64_t seed)
{
	unsigned char *bytes = buf;

	for (size_t i = 0; i + 8 <= length; i += 8) {
		uint64_t word = random_at(seed, i / 8 + 1);

		memcpy(bytes + i, &word, 8);
	}
}

uint64_t payload_renew(void *buf, size_t length, uint64_t serial)
{
	unsigned char *bytes = buf;

	for (size_t i = 0; i + 8 <= length; i += SECTOR) {
		/* a bijection: different serials, different words */
		uint64_t word = random_mix(++serial);

		memcpy(bytes + i, &word, 8);
	}
	return serial;
}
