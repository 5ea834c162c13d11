/* Memory for direct I/O: aligned to a page or more, as O_DIRECT wants it. */
#ifndef BASE_BUFFER_H
#define BASE_BUFFER_H

#include <stddef.h>

/* length rounded up to the alignment (4096 or `align`, the larger; a power of two). NULL when there is no memory.
 * Free with free(). */
void *buffer_new(size_t length, size_t align);

#endif
