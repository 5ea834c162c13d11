/* What a SCSI device says about itself: INQUIRY, READ CAPACITY, mode pages (SPC-4 6.4, 7.5; SBC-3 5.15, 6.5.5).
 * `length` is always what really came; nothing outside it is read. Functions return false when the answer is too short
 * or does not hold together, and leave *out cleared. */
#ifndef MEDIUM_SCSI_DATA_H
#define MEDIUM_SCSI_DATA_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct scsi_inquiry {
	uint8_t device_type; /* 0: direct access block device; 0Eh: reduced block commands */
	bool removable; /* RMB */
	uint8_t version; /* of SPC claimed; 0: none */
	char vendor[9], product[17],
		revision[5]; /* printable ASCII, trailing blanks off; other bytes '?' */
};

bool scsi_inquiry_decode(struct scsi_inquiry *out, const uint8_t *bytes, size_t length);

struct scsi_capacity {
	uint64_t blocks; /* last block + 1 */
	uint32_t block_bytes;
	bool needs_16; /* READ CAPACITY(10) said FFFFFFFFh: ask the 16-byte form; blocks then 0 */
};

/* A block size that is no power of two of 256..65536, or a last block of 2^64-1, is refused. */
bool scsi_capacity_10_decode(struct scsi_capacity *out, const uint8_t *bytes, size_t length);
bool scsi_capacity_16_decode(struct scsi_capacity *out, const uint8_t *bytes, size_t length);

/* Does it name exactly this many bytes in blocks of this size? (The product of a hostile answer overflows.) */
bool scsi_capacity_is(const struct scsi_capacity *c, uint64_t bytes, uint32_t block_bytes);

struct scsi_mode {
	bool write_protected; /* WP */
	bool dpo_fua; /* DPOFUA: reads and writes take the FUA bit */
	bool has_caching; /* page 08h, or 06h of reduced block commands, is there and whole enough */
	bool caching_rbc; /* it was page 06h */
	bool write_cache; /* WCE; RBC: WCD inverted */
	bool read_cache_disabled; /* RCD */
	bool truncated; /* says it is longer than what came */
};

/* Headers of 4 bytes (MODE SENSE 6) or 8 (MODE SENSE 10). A garbled page list ends the search, never overruns. */
bool scsi_mode_decode(struct scsi_mode *out, const uint8_t *bytes, size_t length, bool form_10);

#endif
