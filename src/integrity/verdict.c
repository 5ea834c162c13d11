/* Verdicts in words, and which of them belong together. */
#include "integrity/verdict.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static uint32_t sum8(const uint32_t counts[8])
{
	uint32_t sum = 0;

	for (int i = 0; i < 8; i++)
		sum += counts[i];
	return sum;
}

/* "bit 4 of byte 100", "bits 1 5 of bytes 3 to 40"; all eight bits: "in bytes 3 to 40". */
static void add_places(char *out, size_t room, const struct verdict *v)
{
	uint32_t first = v->first_bit / 8, last = v->last_bit / 8;
	size_t n = strlen(out);
	int hit = 0;

	for (int i = 0; i < 8; i++)
		hit += v->set_at[i] || v->cleared_at[i];
	if (hit < 8)
		n += (size_t)snprintf(out + n, room - n, "bit%s ", hit == 1 ? "" : "s");
	for (int i = 0; hit < 8 && i < 8 && n < room; i++)
		if (v->set_at[i] || v->cleared_at[i])
			n += (size_t)snprintf(out + n, room - n, "%d ", i);
	if (first == last)
		snprintf(out + n, room - n, "%s byte %" PRIu32, hit < 8 ? "of" : "in", first);
	else
		snprintf(out + n, room - n, "%s bytes %" PRIu32 " to %" PRIu32,
			hit < 8 ? "of" : "in", first, last);
}

static void describe_bits(char *out, size_t room, const struct verdict *v, uint64_t offset)
{
	uint32_t set = sum8(v->set_at), cleared = sum8(v->cleared_at);
	size_t n;

	(void)offset;
	if (v->flipped_bits == 1) {
		add_places(out, room, v);
		n = strlen(out);
		snprintf(out + n, room - n, " read %d, expected %d", set != 0, !set);
		return;
	}
	if (set && cleared)
		snprintf(out, room,
			"%" PRIu32 " bits wrong, %" PRIu32 " read 1 and %" PRIu32 " read 0: ",
			v->flipped_bits, set, cleared);
	else
		snprintf(out, room, "%" PRIu32 " bits read %d, expected %d: ", v->flipped_bits,
			set != 0, !set);
	add_places(out, room, v);
	n = strlen(out);
	if (v->stuck_low && v->stuck_high)
		snprintf(out + n, room - n, ", some stuck at 0 and some at 1");
	else if (v->stuck_low || v->stuck_high)
		snprintf(out + n, room - n, ", stuck at %d", v->stuck_high != 0);
}

static void describe_found(char *out, size_t room, const struct verdict *v, uint64_t offset)
{
	size_t n;

	snprintf(out, room, "generation %" PRIu32, v->found_generation);
	n = strlen(out);
	if (v->other_run)
		snprintf(out + n, room - n, " of the run with seed %" PRIu64, v->found_seed);
	n = strlen(out);
	if (v->found_offset != offset)
		snprintf(out + n, room - n, " of offset %" PRIu64 " (%s%" PRIu64 ")",
			v->found_offset, v->found_offset > offset ? "+" : "-",
			v->found_offset > offset ? v->found_offset - offset
						 : offset - v->found_offset);
	n = strlen(out);
	if (v->flipped_bits)
		snprintf(out + n, room - n, ", with %" PRIu32 " bit%s flipped", v->flipped_bits,
			v->flipped_bits == 1 ? "" : "s");
}

static void describe_torn(char *out, size_t room, const struct verdict *v, uint64_t offset)
{
	size_t n = 0;

	if (v->torn_to)
		snprintf(out, room, "bytes %" PRIu32 " to %" PRIu32 ": ", v->torn_from,
			v->torn_to - 1);
	else
		snprintf(out, room, "the request is partly new: ");
	n = strlen(out);
	if (v->rest == TORN_REST_BLANK)
		snprintf(out + n, room - n, "all 0x%02X", v->blank_byte);
	else if (v->rest == TORN_REST_STAMPED)
		describe_found(out + n, room - n, v, offset);
	else
		snprintf(out + n, room - n, "other data");
}

static void describe_failed_read(char *out, size_t room, const struct verdict *v, uint64_t offset)
{
	/* strerrordesc_np is safe in any thread, and NULL for what it does not know. */
	const char *why = v->read_errno ? strerrordesc_np(v->read_errno) : NULL;

	(void)offset;
	snprintf(out, room, "%s", why ? why : "the target ended early");
}

static void describe_blank(char *out, size_t room, const struct verdict *v, uint64_t offset)
{
	(void)offset;
	snprintf(out, room, "all 0x%02X", v->blank_byte);
}

static void describe_slip(char *out, size_t room, const struct verdict *v, uint64_t offset)
{
	int32_t n = v->slip_bytes < 0 ? -v->slip_bytes : v->slip_bytes;

	(void)offset;
	snprintf(out, room, "%" PRId32 " byte%s %s", n, n == 1 ? "" : "s",
		v->slip_bytes < 0 ? "lost" : "inserted");
}

static void describe_nothing(char *out, size_t room, const struct verdict *v, uint64_t offset)
{
	(void)room;
	(void)v;
	(void)offset;
	*out = 0;
}

/* ---- which belong together ---- */

static bool always(const struct verdict *a, const struct verdict *b, uint64_t distance)
{
	(void)a;
	(void)b;
	(void)distance;
	return true;
}

static bool same_errno(const struct verdict *a, const struct verdict *b, uint64_t distance)
{
	(void)distance;
	return a->read_errno == b->read_errno;
}

static bool same_byte(const struct verdict *a, const struct verdict *b, uint64_t distance)
{
	(void)distance;
	return a->blank_byte == b->blank_byte;
}

static bool same_found(const struct verdict *a, const struct verdict *b, uint64_t distance)
{
	return a->found_seed == b->found_seed && a->found_generation == b->found_generation &&
	       a->found_offset + distance == b->found_offset &&
	       !a->flipped_bits == !b->flipped_bits;
}

static bool same_tear(const struct verdict *a, const struct verdict *b, uint64_t distance)
{
	return a->rest == b->rest && a->torn_from == b->torn_from && a->torn_to == b->torn_to &&
	       a->blank_byte == b->blank_byte &&
	       (a->rest != TORN_REST_STAMPED || same_found(a, b, distance));
}

static bool same_slip(const struct verdict *a, const struct verdict *b, uint64_t distance)
{
	(void)distance;
	return a->slip_bytes == b->slip_bytes;
}

/* Each block's flips are evidence of their own. */
static bool same_stuck_bits(const struct verdict *a, const struct verdict *b, uint64_t distance)
{
	(void)distance;
	return a->stuck_low == b->stuck_low && a->stuck_high == b->stuck_high &&
	       (a->stuck_low || a->stuck_high);
}

/* ---- one row a class ---- */

static const struct evidence {
	void (*describe)(char *out, size_t room, const struct verdict *v, uint64_t offset);
	bool (*continues)(const struct verdict *a, const struct verdict *b, uint64_t distance);
} evidence[] = {
	[DAMAGE_NONE] = { describe_nothing, always },
	[DAMAGE_UNREADABLE] = { describe_failed_read, same_errno },
	[DAMAGE_BLANK] = { describe_blank, same_byte },
	[DAMAGE_STALE] = { describe_found, same_found },
	[DAMAGE_MISPLACED] = { describe_found, same_found },
	[DAMAGE_TORN] = { describe_torn, same_tear },
	[DAMAGE_SHIFTED] = { describe_slip, same_slip },
	[DAMAGE_BIT_ERROR] = { describe_bits, same_stuck_bits },
	[DAMAGE_FOREIGN] = { describe_nothing, always },
};
_Static_assert(sizeof evidence / sizeof *evidence == DAMAGE_CLASSES, "one row a class of damage");

const char *verdict_detail(char *out, size_t room, const struct verdict *v, uint64_t offset)
{
	out[0] = 0;
	evidence[v->class].describe(out, room, v, offset);
	return out;
}

bool verdict_continues(const struct verdict *a, const struct verdict *b, uint64_t distance)
{
	return a->class == b->class && evidence[a->class].continues(a, b, distance);
}
