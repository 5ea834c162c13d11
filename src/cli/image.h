/* --create: a new image file. */
#ifndef CLI_IMAGE_H
#define CLI_IMAGE_H

#include <stdint.h>

struct error;

/* Makes a file that did not exist, claims its room and fills it with bytes that do not compress: a file of holes would
 * be read at the speed of memory. 0, or -1 with *err and no file left behind. */
int image_create(const char *path, uint64_t bytes, struct error *err);

#endif
