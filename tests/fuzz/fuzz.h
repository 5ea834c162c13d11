/* What the fuzz harnesses share. */
#ifndef FUZZ_FUZZ_H
#define FUZZ_FUZZ_H

#include <stddef.h>
#include <stdint.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Puts bytes into a file in memory and its path into `path`; the caller closes the descriptor. Aborts on failure: the
 * machine's fault, not the input's. */
int fuzz_file(char path[64], const uint8_t *data, size_t size);

/* As fuzz_file, but each line of the input becomes a whole record line: its number in front, its CRC behind, so that
 * the fuzzer gets past the checksums. The first line is the record's own, of this kind. An input that begins with '!'
 * is taken as it is, one that begins with '@' becomes a record of version 1. */
int fuzz_record(char path[64], const char *kind, const uint8_t *data, size_t size);

#endif
