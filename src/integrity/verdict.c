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

/* ", bit 5" or ", bits 1 5 7"; nothing when all eight are hit. */
static void add_positions(char *out, size_t room, const struct verdict *v)
{
	size_t n = strlen(out);
	int hit = 0;

	for (int i = 0; i < 8; i++)
		hit += v->set_at[i] || v->cleared_at[i];
	if (hit == 8)
		return;
	n += (size_t)snprintf(out + n, room - n, ", bit%s", hit == 1 ? "" : "s");
	for (int i = 0; i < 8 && n < room; i++)
		if (v->set_at[i] || v->cleared_at[i])
			n += (size_t)snprintf(out + n, room - n, " %d", i);
}

static void describe_bits(char *out, size_t room, const struct verdict *v)
{
	uint32_t set = sum8(v->set_at), cleared = sum8(v->cleared_at);
	uint32_t first = v->first_bit / 8, last = v->last_bit / 8;
	const char *of;
	size_t n;

	snprintf(out, room, "%" PRIu32 " bit%s: %" PRIu32 " set and %" PRIu32 " cleared",
		v->flipped_bits, v->flipped_bits == 1 ? "" : "s", set, cleared);
	n = strlen(out);
	add_positions(out, room, v);
	of = out[n] ? " of" : ", in";
	n = strlen(out);
	if (first == last)
		snprintf(out + n, room - n, "%s byte %" PRIu32, of, first);
	else
		snprintf(out + n, room - n, "%s bytes %" PRIu32 " to %" PRIu32, of, first, last);
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

const char *verdict_detail(char *out, size_t room, const struct verdict *v, uint64_t offset)
{
	out[0] = 0;
	switch (v->class) {
	case DAMAGE_UNREADABLE:
		/* strerrordesc_np is safe in any thread, and NULL for what it does not know. */
		if (v->read_errno && strerrordesc_np(v->read_errno))
			snprintf(out, room, "%s", strerrordesc_np(v->read_errno));
		else
			snprintf(out, room, "the target ended early");
		break;
	case DAMAGE_BLANK:
		snprintf(out, room, "all 0x%02X", v->blank_byte);
		break;
	case DAMAGE_STALE:
	case DAMAGE_MISPLACED:
		describe_found(out, room, v, offset);
		break;
	case DAMAGE_TORN:
		describe_torn(out, room, v, offset);
		break;
	case DAMAGE_SHIFTED:
		snprintf(out, room, "%" PRId32 " byte%s %s",
			v->slip_bytes < 0 ? -v->slip_bytes : v->slip_bytes,
			v->slip_bytes == 1 || v->slip_bytes == -1 ? "" : "s",
			v->slip_bytes < 0 ? "lost" : "inserted");
		break;
	case DAMAGE_BIT_ERROR:
		describe_bits(out, room, v);
		break;
	default:
		break;
	}
	return out;
}

static bool same_found(const struct verdict *a, const struct verdict *b, uint64_t distance)
{
	return a->found_seed == b->found_seed && a->found_generation == b->found_generation &&
	       a->found_offset + distance == b->found_offset &&
	       !a->flipped_bits == !b->flipped_bits;
}

bool verdict_continues(const struct verdict *a, const struct verdict *b, uint64_t distance)
{
	if (a->class != b->class)
		return false;
	switch (a->class) {
	case DAMAGE_UNREADABLE:
		return a->read_errno == b->read_errno;
	case DAMAGE_BLANK:
		return a->blank_byte == b->blank_byte;
	case DAMAGE_STALE:
	case DAMAGE_MISPLACED:
		return same_found(a, b, distance);
	case DAMAGE_TORN:
		return a->rest == b->rest && a->torn_from == b->torn_from &&
		       a->torn_to == b->torn_to && a->blank_byte == b->blank_byte &&
		       (a->rest != TORN_REST_STAMPED || same_found(a, b, distance));
	case DAMAGE_SHIFTED:
		return a->slip_bytes == b->slip_bytes;
	case DAMAGE_BIT_ERROR:
		/* Each block's flips are evidence of their own. */
		return a->stuck_low == b->stuck_low && a->stuck_high == b->stuck_high &&
		       (a->stuck_low || a->stuck_high);
	default:
		return true;
	}
}
