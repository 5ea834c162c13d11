/* What the blocks of a target hold now, beside what was saved of them. */
#include "integrity/kept_look.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "base/imprint.h"
#include "integrity/stamp.h"
#include "medium/medium.h"

enum {
	NAMES_ITS_RUN = 3, /* the version of the file from which on it does */
	UNREADABLE_IN_A_ROW = 8, /* then the target itself is in doubt, not its blocks */
	SECOND_LOOKS =
		64, /* changed blocks up to which a chunk is read once more: one lying read is no change */
};

/* ---- what a block holds ---- */

const char *kept_there_words(enum kept_there t)
{
	static const char *const words[KEPT_THERES] = { "what was saved", "what the run wrote",
		"what the run wrote, changed or damaged since", "test data from another run",
		"one byte all over", "cannot be read", "data of unknown origin" };

	return words[t];
}

static bool is_blank(const unsigned char *block, size_t length)
{
	return memcmp(block, block + 1, length - 1) == 0;
}

/* Of a file that names no run: test data of any, to the last bit. *covered: up to there a stamped block was found. */
static bool is_of_any_run(const struct kept_looking *l, size_t at, size_t length, size_t *covered)
{
	struct own_trace trace;

	if (at < *covered)
		return true;
	*covered = at + own_find(&trace, l->there + at, length - at);
	return *covered > at && (trace.stamped || imprint_fits_unmarked(l->there + at));
}

static bool is_test_data(const struct kept_looking *l, size_t at, size_t length, size_t *covered)
{
	if (l->any_run)
		return is_of_any_run(l, at, length, covered);
	return own_fits(&l->own, l->there + at) ||
	       (l->over == KEPT_OVER_DAMAGED && own_wrote(&l->own, l->there + at));
}

/* A stamped block of several sectors that all fit, but whose CRC does not. */
static bool is_spoilt(const struct kept_looking *l, size_t at)
{
	struct stamp_header h;

	return l->over == KEPT_OVER_RUN && stamp_read(l->there + at, &h) &&
	       h.block_bytes == l->block && !stamp_crc_holds(l->there + at, l->block);
}

static bool holds_some(const struct kept_looking *l, size_t at)
{
	bool some = false;

	for (size_t i = 0; i < l->block && !some && !l->any_run; i += OWN_SECTOR)
		some = own_wrote(&l->own, l->there + at + i);
	return some;
}

static enum kept_there judge_block(
	const struct kept_looking *l, size_t at, size_t length, size_t *covered)
{
	const unsigned char *there = l->there + at;
	struct own_trace trace;
	bool changed = false, whole = true; /* none of it is what was saved */

	if (!memcmp(l->saved + at, there, l->block))
		return KEPT_SAVED;
	for (size_t i = 0; i < l->block && !changed; i += OWN_SECTOR) {
		bool saved = !memcmp(l->saved + at + i, there + i, OWN_SECTOR);

		changed = !saved && !is_test_data(l, at + i, length, covered);
		whole = whole && !saved;
	}
	if (!changed && !(whole && is_spoilt(l, at)))
		return KEPT_RUN;
	if (holds_some(l, at))
		return KEPT_SPOILT;
	if (own_find(&trace, there, length - at))
		return KEPT_OTHER_RUN;
	return is_blank(there, l->block) ? KEPT_BLANK : KEPT_OTHER;
}

/* Judges the chunk in l->there into l->found; returns how many blocks are changed. */
static uint64_t judge_chunk(struct kept_looking *l, size_t length)
{
	uint64_t changed = 0;
	size_t covered = 0;

	for (size_t at = 0, i = 0; at < length; at += l->block, i++) {
		l->found[i] = l->unreadable[i]
				      ? KEPT_UNREADABLE
				      : (unsigned char)judge_block(l, at, length, &covered);
		changed += l->found[i] > KEPT_RUN;
	}
	return changed;
}

static void add_range(struct kept_look *out, uint64_t at, uint64_t bytes, enum kept_there there)
{
	struct kept_range *last = out->range_count ? &out->ranges[out->range_count - 1] : NULL;

	if (last && out->ranges_all == out->range_count && last->there == there &&
		last->at + last->bytes == at) {
		last->bytes += bytes;
		return;
	}
	out->ranges_all++;
	if (out->range_count < KEPT_RANGES_MAX)
		out->ranges[out->range_count++] = (struct kept_range){ at, bytes, there };
}

void kept_look_add(struct kept_look *out, const struct kept_looking *l, const struct kept_chunk *c)
{
	for (size_t at = 0, i = 0; at < c->bytes; at += l->block, i++) {
		out->blocks[l->found[i]]++;
		if (l->found[i] > KEPT_RUN)
			add_range(out, c->at + at, l->block, (enum kept_there)l->found[i]);
	}
}

uint64_t kept_look_changed(const struct kept_look *l)
{
	uint64_t n = 0;

	for (int t = KEPT_RUN + 1; t < KEPT_THERES; t++)
		n += l->blocks[t];
	return n;
}

uint64_t kept_look_all(const struct kept_look *l)
{
	return l->blocks[KEPT_SAVED] + l->blocks[KEPT_RUN] + kept_look_changed(l);
}

/* ---- reading it ---- */

/* The device's own answer that a block is bad, and not that it is gone (as in audit/probe_context.h). */
static bool is_bad_block(int rc)
{
	return rc == -EIO || rc == -ENODATA || rc == -EREMOTEIO || rc == -EILSEQ;
}

static void mark_unreadable(struct kept_looking *l, size_t at, size_t length)
{
	for (size_t i = at / l->block; i < (at + length) / l->block; i++)
		l->unreadable[i] = true;
}

/* Unit by unit, to find which of them cannot be read; before that is believed the target is asked whether it is there. */
static int read_in_units(struct kept_looking *l, const struct kept_chunk *c)
{
	int in_a_row = 0, lost;

	for (size_t at = 0; at < c->bytes; at += l->unit) {
		size_t n = c->bytes - at < l->unit ? c->bytes - at : l->unit;
		int rc = in_a_row < UNREADABLE_IN_A_ROW
				 ? kept_transfer(l->m, false, c->at + at, l->there + at, n)
				 : -EIO;

		if (rc < 0 && !is_bad_block(rc))
			return rc;
		if (rc < 0)
			mark_unreadable(l, at, n);
		in_a_row = rc < 0 ? in_a_row + 1 : 0;
		lost = rc < 0 && in_a_row <= UNREADABLE_IN_A_ROW
			       ? medium_check(l->m, MEDIUM_CHECK_FAILED)
			       : 0;
		if (lost < 0)
			return lost;
		if (in_a_row == UNREADABLE_IN_A_ROW && l->over != KEPT_OVER_ALL)
			return rc;
	}
	return 0;
}

static int read_chunk(struct kept_looking *l, const struct kept_chunk *c)
{
	int rc = kept_transfer(l->m, false, c->at, l->there, c->bytes);

	memset(l->unreadable, 0, sizeof l->unreadable);
	return rc < 0 && is_bad_block(rc) ? read_in_units(l, c) : rc;
}

int kept_looking_at(struct kept_looking *l, const struct kept_chunk *c, uint64_t *changed)
{
	int rc = read_chunk(l, c);

	*changed = rc < 0 ? 0 : judge_chunk(l, c->bytes);
	if (!rc && *changed && *changed <= SECOND_LOOKS) {
		rc = read_chunk(l, c);
		*changed = rc < 0 ? 0 : judge_chunk(l, c->bytes);
	}
	return rc;
}

/* ---- beginning and end ---- */

bool kept_looking_init(
	struct kept_looking *l, const struct kept *k, struct medium *m, enum kept_over over)
{
	uint32_t align = m->traits.memory_align_bytes;
	uint32_t unit = m->traits.offset_align_bytes, block = k->id.logical_block_bytes;

	*l = (struct kept_looking){ .k = k,
		.m = m,
		.over = over,
		.any_run = !(k->sums.version >= NAMES_ITS_RUN),
		.block = block,
		.unit = unit > block ? unit : block,
		.saved = buffer_new(KEPT_CHUNK_BYTES, align),
		.there = buffer_new(KEPT_CHUNK_BYTES, align) };
	own_init(&l->own, k->id.seed);
	return l->saved && l->there;
}

void kept_looking_release(struct kept_looking *l)
{
	free(l->saved);
	free(l->there);
}
