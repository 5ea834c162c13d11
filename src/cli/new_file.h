/* A file that must not be there yet. */
#ifndef CLI_NEW_FILE_H
#define CLI_NEW_FILE_H

#include <stddef.h>

struct error;

/* Written and synced, or not there. 0, or -1 with *err: it exists, cannot be made, or the disk is full. */
int new_file_write(const char *path, const char *bytes, size_t length, struct error *err);

#endif
