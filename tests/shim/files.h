/* Files of the fault sweep. */
#ifndef SHIM_FILES_H
#define SHIM_FILES_H

#include <stdbool.h>
#include <stddef.h>

enum { FILE_READ_MAX = 4 << 20 };

void file_die(const char *path) __attribute__((noreturn));
/* NUL-terminated, to be freed; NULL when it can't be opened. */
char *file_read(const char *path, size_t *length);
void file_write(const char *path, const void *bytes, size_t length);
bool file_is(const char *path, const void *bytes, size_t length);
/* how often the text occurs; 0 without a file */
size_t file_count(const char *path, const char *text);
/* The name of a file here that contains this. */
bool file_find(char *out, size_t room, const char *part);

#endif
