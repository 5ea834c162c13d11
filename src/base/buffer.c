/* Aligned memory. */
#include "base/buffer.h"

#include <stdlib.h>
#include <string.h>

void *buffer_new(size_t length, size_t align)
{
	void *p = NULL;

	if (align < 4096)
		align = 4096;
	if (length > (size_t)-1 - align)
		return NULL;
	length = (length + align - 1) & ~(align - 1);
	if (posix_memalign(&p, align, length ? length : align))
		return NULL;
	memset(p, 0, length); /* pages are touched now, not inside a timed loop */
	return p;
}
