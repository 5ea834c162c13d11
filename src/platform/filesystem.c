/* Marks of filesystems and partition tables. */
#include "platform/filesystem.h"

#include <ctype.h>
#include <errno.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/clean.h"
#include "base/number.h"
#include "base/text.h"

static uint64_t little(const uint8_t *p, unsigned bytes)
{
	uint64_t n = 0;

	while (bytes--)
		n = n << 8 | p[bytes];
	return n;
}

static void take_label(char out[64], const uint8_t *from, size_t length)
{
	memcpy(out, from, length);
	out[length] = 0;
	clean_in_place(out);
	for (size_t n = strlen(out); n && isspace((unsigned char)out[n - 1]); n--)
		out[n - 1] = 0;
	if (!strcmp(out, "NO NAME")) /* FAT: none */
		out[0] = 0;
}

static void take_kind(struct filesystem *f, const char *kind, uint64_t units, uint64_t unit_bytes)
{
	text_copy(f->kind, sizeof f->kind, kind);
	f->bytes = units < UINT64_MAX / unit_bytes ? units * unit_bytes : 0;
}

/* ---- FAT ---- */

/* By the number of clusters and nothing else, as the specification insists. */
static const char *fat_kind(uint64_t clusters)
{
	return clusters < 4085 ? "FAT12" : clusters < 65525 ? "FAT16" : "FAT32";
}

static int take_fat(struct filesystem *f, const uint8_t *b)
{
	uint64_t sector = little(b + 11, 2), cluster = b[13], reserved = little(b + 14, 2);
	uint64_t fats = b[16], root = little(b + 17, 2) * 32, media = b[21];
	uint64_t sectors = little(b + 19, 2) ? little(b + 19, 2) : little(b + 32, 4);
	uint64_t fat = little(b + 22, 2) ? little(b + 22, 2) : little(b + 36, 4);
	uint64_t before;

	if (!number_is_power_of_two(sector) || sector < 512 || sector > 4096 ||
		!number_is_power_of_two(cluster))
		return 0;
	if (!reserved || !fats || !fat || (media != 0xf0 && media < 0xf8))
		return 0;
	before = reserved + fats * fat + (root + sector - 1) / sector;
	if (sectors <= before)
		return 0;
	take_kind(f, fat_kind((sectors - before) / cluster), sectors, sector);
	take_label(f->label, b + (f->kind[3] == '3' ? 71 : 43), 11);
	return 1;
}

static int take_boot_sector(struct filesystem *f, const uint8_t *b)
{
	unsigned shift = b[108];

	if (b[510] != 0x55 || b[511] != 0xaa)
		return 0;
	if (!memcmp(b + 3, "EXFAT   ", 8) && shift >= 9 && shift <= 12) {
		take_kind(f, "exFAT", little(b + 72, 8), UINT64_C(1) << shift);
		return 1;
	}
	if (!memcmp(b + 3, "NTFS    ", 8) && little(b + 11, 2)) {
		take_kind(f, "NTFS", little(b + 40, 8), little(b + 11, 2));
		return 1;
	}
	return take_fat(f, b);
}

/* ---- ext ---- */

static int take_ext(struct filesystem *f, const uint8_t *b)
{
	enum { HAS_JOURNAL = 0x4, EXTENTS = 0x40, IS_64BIT = 0x80 };
	const uint8_t *s = b + 1024;
	uint64_t incompatible = little(s + 0x60, 4), blocks = little(s + 0x4, 4);
	unsigned shift = s[0x18];

	if (little(s + 0x38, 2) != 0xef53 || shift > 6)
		return 0;
	if (incompatible & IS_64BIT)
		blocks |= little(s + 0x150, 4) << 32;
	take_kind(f,
		incompatible & EXTENTS              ? "ext4"
		: little(s + 0x5c, 4) & HAS_JOURNAL ? "ext3"
						    : "ext2",
		blocks, UINT64_C(1024) << shift);
	take_label(f->label, s + 0x78, 16);
	return 1;
}

int filesystem_recognise(struct filesystem *out, const uint8_t head[FILESYSTEM_HEAD])
{
	*out = (struct filesystem){ 0 };
	return take_ext(out, head) || take_boot_sector(out, head);
}

/* ---- partitions ---- */

struct search {
	struct filesystem *list;
	int count;
	filesystem_read *read;
	void *context;
	uint64_t size_bytes;
	uint32_t block_bytes;
	uint8_t *buf; /* FILESYSTEM_HEAD bytes, aligned */
};

/* Reads are whole blocks of 4096, wherever the partition begins. */
static int read_at(struct search *s, uint64_t at, uint8_t out[FILESYSTEM_HEAD])
{
	uint64_t base = at / FILESYSTEM_HEAD * FILESYSTEM_HEAD;
	size_t inside = (size_t)(at - base), first = FILESYSTEM_HEAD - inside;
	int rc;

	if (at > s->size_bytes || s->size_bytes - base < FILESYSTEM_HEAD)
		return -ERANGE;
	rc = s->read(s->context, base, s->buf, FILESYSTEM_HEAD);
	if (rc < 0)
		return rc;
	memcpy(out, s->buf + inside, first);
	memset(out + first, 0, inside);
	if (!inside || s->size_bytes - base < 2 * FILESYSTEM_HEAD)
		return 0;
	rc = s->read(s->context, base + FILESYSTEM_HEAD, s->buf, FILESYSTEM_HEAD);
	if (rc == 0)
		memcpy(out + first, s->buf, inside);
	return rc;
}

/* A partition that lies outside the target, or cannot be read, holds nothing that could be told. */
static void look_at(struct search *s, uint64_t block)
{
	uint8_t head[FILESYSTEM_HEAD];
	struct filesystem found;

	if (s->count == FILESYSTEMS_MAX || !block || block >= s->size_bytes / s->block_bytes)
		return;
	if (read_at(s, block * s->block_bytes, head) < 0 || !filesystem_recognise(&found, head))
		return;
	found.start = block * s->block_bytes;
	s->list[s->count++] = found;
}

static void look_at_gpt(struct search *s, const uint8_t *header)
{
	uint64_t table = little(header + 72, 8), entry = little(header + 84, 4);
	uint64_t count = little(header + 80, 4);
	static const uint8_t unused[16];
	uint8_t entries[FILESYSTEM_HEAD];

	if (entry < 128 || entry > 512 || table >= s->size_bytes / s->block_bytes ||
		read_at(s, table * s->block_bytes, entries) < 0)
		return;
	for (uint64_t i = 0; i < count && i < FILESYSTEMS_MAX && (i + 1) * entry <= FILESYSTEM_HEAD;
		i++)
		if (memcmp(entries + i * entry, unused, sizeof unused) != 0)
			look_at(s, little(entries + i * entry + 32, 8));
}

static void look_at_mbr(struct search *s, const uint8_t *head)
{
	enum { ENTRIES = 446, PROTECTIVE = 0xee };

	if (head[510] != 0x55 || head[511] != 0xaa)
		return;
	for (int i = 0; i < 4; i++) {
		const uint8_t *entry = head + ENTRIES + 16 * i;

		if (entry[4] && entry[4] != PROTECTIVE && little(entry + 12, 4))
			look_at(s, little(entry + 8, 4));
	}
}

static int search(struct search *s)
{
	uint8_t head[FILESYSTEM_HEAD], header[FILESYSTEM_HEAD];
	int rc = read_at(s, 0, head);

	if (rc < 0)
		return rc == -ERANGE ? 0 : rc;
	if (filesystem_recognise(&s->list[0], head))
		return 1;
	if (read_at(s, s->block_bytes, header) == 0 && !memcmp(header, "EFI PART", 8))
		look_at_gpt(s, header);
	else
		look_at_mbr(s, head);
	return s->count;
}

int filesystems_find(struct filesystem list[FILESYSTEMS_MAX], filesystem_read *read, void *context,
	uint64_t size_bytes, uint32_t block_bytes)
{
	struct search s = { .list = list,
		.read = read,
		.context = context,
		.size_bytes = size_bytes,
		.block_bytes = block_bytes ? block_bytes : 512 };
	int rc;

	s.buf = aligned_alloc(FILESYSTEM_HEAD, FILESYSTEM_HEAD);
	if (!s.buf)
		return -ENOMEM;
	rc = search(&s);
	free(s.buf);
	return rc;
}
