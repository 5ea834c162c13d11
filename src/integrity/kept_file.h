/* What saving, checking and putting back share: the open file, its chunks, and transfers that go on where they stopped. For
 * kept*.c alone. */
#ifndef INTEGRITY_KEPT_FILE_H
#define INTEGRITY_KEPT_FILE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "integrity/kept.h"
#include "integrity/kept_header.h"
#include "integrity/kept_layout.h"

struct kept {
	int fd;
	char path[512];
	struct kept_identity id;
	struct kept_sums sums;
	struct kept_layout layout;
	bool in_use;
};

/* The end mark's sum, chunk by chunk; versions before 3 leave the chunks out. */
uint32_t kept_end_begin(const struct kept_sums *sums, uint64_t chunks);
uint32_t kept_end_add(const struct kept_sums *sums, uint32_t end, uint32_t chunk_crc);

/* Chunk `index` into buf, with its CRC32. *crc may be NULL. 0, or -1 with *err. */
int kept_load_chunk(
	const struct kept *k, uint64_t index, unsigned char *buf, uint32_t *crc, struct error *err);

/* The same, but 1 with *err where it is damaged or cannot be read; *crc is what its head says all the same. */
int kept_try_chunk(
	const struct kept *k, uint64_t index, unsigned char *buf, uint32_t *crc, struct error *err);

/* The end mark against the sum of all chunks loaded. */
int kept_check_end_sum(const struct kept *k, uint32_t end, struct error *err);

/* Appends one chunk from buf; *crc is its CRC32. 0 or a negative errno. */
int kept_append_chunk(struct kept *k, uint64_t index, const unsigned char *buf, uint32_t *crc);
int kept_append_end(struct kept *k, uint32_t end);

/* Header, table and end mark of the file k->fd. 0, or -1 with *err. */
int kept_load(struct kept *k, struct error *err);

/* 0 or a negative errno: -ENODATA when the file ends before. */
int kept_read_all(int fd, void *bytes, size_t length, uint64_t place);

/* Everything or an errno; a short transfer goes on where it stopped. */
int kept_transfer(struct medium *m, bool write, uint64_t at, unsigned char *buf, size_t len);
/* -1 with *err: that transfer failed, or the medium is lost. */
int kept_transfer_failed(const struct medium *m, const char *verb, uint64_t at, size_t length,
	int rc, struct error *err);
void kept_tell(const struct watch *watch, const char *phase, uint64_t done, uint64_t total);

#endif
