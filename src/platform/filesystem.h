/* What filesystems are on a target, by their on-disk marks: so that somebody who is about to overwrite them is told which.
 * Only a label on a crate: nothing is checked beyond the first blocks, and what is not recognised is not said. */
#ifndef PLATFORM_FILESYSTEM_H
#define PLATFORM_FILESYSTEM_H

#include <stddef.h>
#include <stdint.h>

enum { FILESYSTEMS_MAX = 16, FILESYSTEM_HEAD = 4096 };

struct filesystem {
	uint64_t start, bytes; /* on the target; bytes 0: not known */
	char kind[12]; /* FAT12, FAT16, FAT32, exFAT, NTFS, ext2, ext3, ext4 */
	char label[64]; /* controls and the like removed; "": none */
};

/* Reads `length` bytes at `at`, both multiples of 4096. 0 or a negative errno. */
typedef int filesystem_read(void *context, uint64_t at, void *buf, size_t length);

/* The filesystem that begins with these FILESYSTEM_HEAD bytes. 1, or 0: none that is known.
 * Marks as published: Microsoft, "FAT: General Overview of On-Disk Format" (1.03) and "exFAT file system specification";
 * Linux, Documentation/filesystems/ext4/super.rst; of NTFS common practice, no source. */
int filesystem_recognise(struct filesystem *out, const uint8_t head[FILESYSTEM_HEAD]);

/* All that are known, of the whole target or of its partitions (MBR and GPT: UEFI specification 2.10, sections 5.2 and
 * 5.3; the first 4 and 16 of them), in their order. Returns how many, or a negative errno. */
int filesystems_find(struct filesystem list[FILESYSTEMS_MAX], filesystem_read *read, void *context,
	uint64_t size_bytes, uint32_t block_bytes);

#endif
