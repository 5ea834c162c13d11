/* Judging damaged blocks. None of this runs for a block that is right. */
#include "integrity/judge.h"

#include <endian.h>
#include <string.h>

#include "integrity/difference.h"

enum {
	SOLID_BYTES = 16, /* so many equal random bytes in a row are no accident (2^-128) */
	PART_BYTES = 48, /* so much must be right for a block to be torn: more than a header */
	GENERATIONS_BACK = 8, /* older ones tried for the old part of a torn block */
	MAGIC_FLIPS = 6, /* a header is still read with so many bits of its magic flipped */
};

void judge_init(struct judge *j, uint64_t seed, uint32_t block_bytes)
{
	stamp_init(&j->stamp, seed, block_bytes);
	stamp_init(&j->other, seed, block_bytes);
}

static bool is_blank(const uint8_t *block, uint32_t n)
{
	return memcmp(block, block + 1, n - 1) == 0;
}

/* The identity a block claims, also when a few bits of its magic are wrong. */
static bool read_claim(const uint8_t *block, struct stamp_header *h)
{
	uint8_t mended[STAMP_HEADER_BYTES];
	uint64_t magic, right = htole64(STAMP_MAGIC);

	memcpy(&magic, block, sizeof magic);
	if (__builtin_popcountll(magic ^ right) > MAGIC_FLIPS)
		return false;
	memcpy(mended, block, sizeof mended);
	memcpy(mended, &right, sizeof right);
	return stamp_read(mended, h);
}

/* Regenerates the block a header claims, as far as it fits, into j->candidate. Returns its length. */
static uint32_t make_claimed(struct judge *j, const struct stamp_header *h)
{
	uint32_t n = j->stamp.block_bytes;

	if (j->other.stream.seed != h->seed || j->other.block_bytes != h->block_bytes)
		stamp_init(&j->other, h->seed, h->block_bytes);
	stamp_fill(&j->other, j->candidate, h->offset, h->generation);
	return h->block_bytes < n ? h->block_bytes : n;
}

static void set_found(struct verdict *v, const struct judge *j, const struct stamp_header *h)
{
	v->found_seed = h->seed;
	v->found_offset = h->offset;
	v->found_generation = h->generation;
	v->other_run = h->seed != j->stamp.stream.seed;
}

static void set_bits(struct verdict *v, const struct difference *d)
{
	v->flipped_bits = d->flipped_bits;
	memcpy(v->set_at, d->set_at, sizeof v->set_at);
	memcpy(v->cleared_at, d->cleared_at, sizeof v->cleared_at);
	v->first_bit = d->first_bit;
	v->last_bit = d->last_bit;
	v->stuck_low = d->stuck_low;
	v->stuck_high = d->stuck_high;
}

/* Another run's block at the right place was simply not overwritten: stale. Anything of another place: misplaced. */
static enum damage_class class_of_claim(const struct stamp_header *h, uint64_t offset)
{
	return h->offset == offset ? DAMAGE_STALE : DAMAGE_MISPLACED;
}

static bool is_same_identity(
	const struct judge *j, const struct stamp_header *h, uint64_t offset, uint32_t generation)
{
	return h->seed == j->stamp.stream.seed && h->offset == offset &&
	       h->generation == generation && h->block_bytes == j->stamp.block_bytes;
}

/* Do the differences look like flipped bits in the right data, rather than like other data? Other data differs in
 * half of all bits, evenly over all eight positions. Stamps share most of a header, so where the stream differs it
 * decides alone. */
static bool is_bit_error(const uint8_t *must, const uint8_t *is, uint32_t n)
{
	struct difference d;
	uint32_t length, positions = 0;

	difference_measure(
		&d, must + STAMP_HEADER_BYTES, is + STAMP_HEADER_BYTES, n - STAMP_HEADER_BYTES);
	for (int i = 0; i < 8; i++)
		positions += d.set_at[i] || d.cleared_at[i];
	length = d.last_bit / 8 - d.first_bit / 8 + 1;
	if (positions < 8 || length < SOLID_BYTES)
		return true;
	return d.flipped_bits < length * 8 * 7 / 20 || d.flipped_bits > length * 8 * 13 / 20;
}

/* Slips of `slip` bytes, from the first wrong byte on. The block's own bytes are at must[n..2n). */
static bool slips_late(const uint8_t *must, const uint8_t *is, uint32_t n, uint32_t first,
	uint32_t slip, bool has_before)
{
	/* One byte first: of a thousand slips tried nearly all end there. */
	if (first + slip + SOLID_BYTES <= n)
		return is[first + slip] == must[n + first] &&
		       memcmp(is + first + slip, must + n + first, n - first - slip) == 0;
	return has_before && slip >= SOLID_BYTES && memcmp(is, must + n - slip, slip) == 0 &&
	       memcmp(is + slip, must + n, n - slip) == 0;
}

static bool slips_early(
	const uint8_t *must, const uint8_t *is, uint32_t n, uint32_t first, uint32_t slip)
{
	if (first + slip + SOLID_BYTES <= n)
		return is[first] == must[n + first + slip] &&
		       memcmp(is + first, must + n + first + slip, n - first - slip) == 0;
	return slip >= SOLID_BYTES && memcmp(is, must + n + slip, n) == 0;
}

static bool find_slip(struct judge *j, const uint8_t *is, uint64_t offset, uint32_t generation,
	uint32_t first, struct verdict *v)
{
	uint32_t n = j->stamp.block_bytes;
	bool has_before = offset >= n;

	if (has_before)
		stamp_fill(&j->stamp, j->must, offset - n, generation);
	stamp_fill(&j->stamp, j->must + 2 * (size_t)n, offset + n, generation);
	for (uint32_t slip = 1; slip < n; slip++) {
		if (slips_late(j->must, is, n, first, slip, has_before))
			v->slip_bytes = (int32_t)slip;
		else if (slips_early(j->must, is, n, first, slip))
			v->slip_bytes = -(int32_t)slip;
		else
			continue;
		v->class = DAMAGE_SHIFTED;
		return true;
	}
	return false;
}

/* What the wrong part [from, to) of a torn block is. */
static void identify_rest(struct judge *j, const uint8_t *is, uint64_t offset, uint32_t generation,
	const struct stamp_header *claim, struct verdict *v)
{
	uint32_t from = v->torn_from, length = v->torn_to - from;

	if (length > 1 && is_blank(is + from, length)) {
		v->rest = TORN_REST_BLANK;
		v->blank_byte = is[from];
		return;
	}
	if (claim) {
		uint32_t n = make_claimed(j, claim);

		if (v->torn_to <= n && memcmp(is + from, j->candidate + from, length) == 0) {
			v->rest = TORN_REST_STAMPED;
			set_found(v, j, claim);
			return;
		}
	}
	for (uint32_t back = 1; back <= GENERATIONS_BACK && back < generation; back++) {
		struct stamp_header h = { j->stamp.stream.seed, offset, generation - back,
			j->stamp.block_bytes };

		stamp_fill(&j->stamp, j->candidate, offset, h.generation);
		if (memcmp(is + from, j->candidate + from, length) == 0) {
			v->rest = TORN_REST_STAMPED;
			set_found(v, j, &h);
			return;
		}
	}
	v->rest = TORN_REST_UNKNOWN;
}

static bool is_torn(const struct difference *d, uint32_t n)
{
	uint32_t before = d->first_bit / 8, after = n - 1 - d->last_bit / 8;

	return before >= PART_BYTES || after >= PART_BYTES;
}

static enum damage_class judge_damaged(
	struct judge *j, const uint8_t *is, uint64_t offset, uint32_t generation, struct verdict *v)
{
	uint32_t n = j->stamp.block_bytes, claimed = 0;
	struct difference d, from_claim;
	struct stamp_header claim;
	bool claims = read_claim(is, &claim) && !is_same_identity(j, &claim, offset, generation);

	if (claims) {
		claimed = make_claimed(j, &claim);
		difference_measure(&from_claim, j->candidate, is, claimed);
		if (!from_claim.flipped_bits) {
			set_found(v, j, &claim);
			return v->class = class_of_claim(&claim, offset);
		}
	}
	stamp_fill(&j->stamp, j->must + n, offset, generation);
	difference_measure(&d, j->must + n, is, n);
	if (is_bit_error(j->must + n, is, n)) {
		set_bits(v, &d);
		return v->class = DAMAGE_BIT_ERROR;
	}
	if (find_slip(j, is, offset, generation, d.first_bit / 8, v))
		return v->class;
	if (is_torn(&d, n)) {
		v->torn_from = d.first_bit / 8;
		v->torn_to = d.last_bit / 8 + 1;
		identify_rest(j, is, offset, generation, claims ? &claim : NULL, v);
		return v->class = DAMAGE_TORN;
	}
	if (claims && make_claimed(j, &claim) == claimed &&
		is_bit_error(j->candidate, is, claimed)) {
		set_found(v, j, &claim);
		set_bits(v, &from_claim);
		return v->class = class_of_claim(&claim, offset);
	}
	return v->class = DAMAGE_FOREIGN;
}

enum damage_class judge_block(
	struct judge *j, const void *block, uint64_t offset, uint32_t generation, struct verdict *v)
{
	v->class = DAMAGE_NONE;
	if (stamp_holds(&j->stamp, block, offset, generation))
		return DAMAGE_NONE;
	*v = (struct verdict){ 0 };
	if (is_blank(block, j->stamp.block_bytes)) {
		v->blank_byte = *(const uint8_t *)block;
		return v->class = DAMAGE_BLANK;
	}
	return judge_damaged(j, block, offset, generation, v);
}

void judge_request(struct verdict *verdicts, uint32_t count)
{
	bool right = false;

	for (uint32_t i = 0; i < count; i++)
		right |= verdicts[i].class == DAMAGE_NONE;
	if (!right)
		return;
	for (uint32_t i = 0; i < count; i++) {
		if (verdicts[i].class != DAMAGE_STALE)
			continue;
		verdicts[i].class = DAMAGE_TORN;
		verdicts[i].rest = TORN_REST_STAMPED;
	}
}
