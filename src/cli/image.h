/* --create: a new image file. */
#ifndef CLI_IMAGE_H
#define CLI_IMAGE_H

#include <stdint.h>

struct error;
struct hold;

/* Makes a file that did not exist, claims its room and fills it with bytes that do not compress: a file of holes would
 * be read at the speed of memory. 0, *out holds it by the descriptor that made it; or -1 with *err and no file left
 * behind, unless another was put in its place meanwhile. */
int image_create(struct hold **out, const char *path, uint64_t bytes, struct error *err);

#endif
