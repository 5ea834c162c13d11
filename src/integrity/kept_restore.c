/* Putting back: looks at everything first, and writes over nothing that the run did not leave there. */
#include <errno.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/watch.h"
#include "integrity/kept_look.h"
#include "medium/medium.h"

struct restoring {
	struct kept_looking look;
	struct kept_result *result;
	uint32_t end; /* of the file's end mark */
	bool skips; /* damaged chunks */
	unsigned char *lost; /* which those are, a bit each */
	const struct watch *watch;
};

/* ---- the steps ---- */

static int look_at(
	struct kept_looking *l, const struct kept_chunk *c, uint64_t *changed, struct error *err)
{
	int rc = kept_looking_at(l, c, changed);

	return rc < 0 ? kept_transfer_failed(l->m, "read", c->at, c->bytes, rc, err) : 0;
}

static bool is_lost(const struct restoring *r, uint64_t index)
{
	return r->lost[index / 8] >> index % 8 & 1;
}

static void note_lost(struct restoring *r, uint64_t index, const struct kept_chunk *c)
{
	struct kept_result *to = r->result;
	struct kept_extent *last = to->lost_count ? &to->lost[to->lost_count - 1] : NULL;

	r->lost[index / 8] |= (unsigned char)(1 << index % 8);
	to->lost_bytes += c->bytes;
	if (last && last->start + last->bytes == c->at) {
		last->bytes += c->bytes;
		return;
	}
	to->lost_all++;
	if (to->lost_count < KEPT_RANGES_MAX)
		to->lost[to->lost_count++] = (struct kept_extent){ c->at, c->bytes };
}

static int look(struct restoring *r, uint64_t index, struct error *err)
{
	struct kept_looking *l = &r->look;
	struct kept_chunk c = kept_layout_chunk(&l->k->layout, index);
	uint64_t changed;
	uint32_t crc;
	int rc = kept_try_chunk(l->k, index, l->saved, &crc, err);

	if (rc > 0)
		note_lost(r, index, &c);
	if (rc < 0 || (rc > 0 && !r->skips))
		return -1;
	r->end = kept_end_add(&l->k->sums, r->end, crc);
	if (rc > 0)
		return 0;
	if (look_at(l, &c, &changed, err) < 0)
		return -1;
	kept_look_add(&r->result->look, l, &c);
	return 0;
}

/* Of a chunk only what differs. On a full disk, that is what the run has found room for; the rest of it may be a hole. */
static int write_differences(struct kept_looking *l, const struct kept_chunk *c)
{
	size_t unit = l->m->traits.offset_align_bytes, to;
	int rc = c->bytes % unit ? -ENOSPC : 0;

	for (size_t at = 0; !rc && at < c->bytes; at = to) {
		bool differs = memcmp(l->saved + at, l->there + at, unit) != 0;

		to = at + unit;
		while (to < c->bytes &&
			(memcmp(l->saved + to, l->there + to, unit) != 0) == differs)
			to += unit;
		if (differs)
			rc = kept_transfer(l->m, true, c->at + at, l->saved + at, to - at);
	}
	return rc;
}

/* Chunks that are on the target already are not written again: flash wears. */
static int put_back(struct restoring *r, uint64_t index, struct error *err)
{
	struct kept_looking *l = &r->look;
	struct kept_chunk c = kept_layout_chunk(&l->k->layout, index);
	uint64_t changed;
	bool readable;
	int rc;

	if (is_lost(r, index))
		return 0;
	if (kept_load_chunk(l->k, index, l->saved, NULL, err) < 0)
		return -1;
	readable = kept_transfer(l->m, false, c.at, l->there, c.bytes) == 0;
	if (readable && !memcmp(l->saved, l->there, c.bytes))
		return 0;
	if (l->over != KEPT_OVER_ALL) {
		if (look_at(l, &c, &changed, err) < 0)
			return -1;
		if (changed)
			return error_set(err, ERROR_IO,
				"'%s' changed while data was being put back: %zu bytes from byte "
				"%llu on are no longer what they were a moment ago",
				l->m->traits.path, c.bytes, (unsigned long long)c.at);
	}
	/* One that cannot be read may well become readable by being written. */
	rc = medium_check(l->m, MEDIUM_CHECK_BATCH);
	if (!rc)
		rc = kept_transfer(l->m, true, c.at, l->saved, c.bytes);
	if (rc == -ENOSPC && readable)
		rc = write_differences(l, &c);
	if (rc < 0)
		return kept_transfer_failed(
			l->m, "write kept data back to", c.at, c.bytes, rc, err);
	r->result->written_bytes += c.bytes;
	return 0;
}

static uint64_t first_difference(const unsigned char *a, const unsigned char *b, size_t length)
{
	size_t i = 0;

	while (i < length && a[i] == b[i])
		i++;
	return i;
}

static int read_back(struct restoring *r, uint64_t index, struct error *err)
{
	struct kept_looking *l = &r->look;
	struct kept_chunk c = kept_layout_chunk(&l->k->layout, index);
	int rc;

	if (is_lost(r, index))
		return 0;
	if (kept_load_chunk(l->k, index, l->saved, NULL, err) < 0)
		return -1;
	rc = kept_transfer(l->m, false, c.at, l->there, c.bytes);
	if (rc < 0)
		return kept_transfer_failed(l->m, "read back", c.at, c.bytes, rc, err);
	if (memcmp(l->saved, l->there, c.bytes) != 0)
		return error_set(err, ERROR_IO,
			"'%s' did not take the kept data: at byte %llu it reads back something "
			"else",
			l->m->traits.path,
			(unsigned long long)(c.at + first_difference(l->saved, l->there, c.bytes)));
	r->result->bytes += c.bytes;
	return 0;
}

static int each_chunk(struct restoring *r, const char *phase,
	int (*step)(struct restoring *r, uint64_t index, struct error *err), struct error *err)
{
	const struct kept_layout *l = &r->look.k->layout;
	uint64_t done = 0;

	for (uint64_t i = 0; i < l->chunks; i++) {
		if (watch_should_stop(r->watch))
			return error_set(err, ERROR_INTERRUPTED,
				"interrupted before all kept data was back; repeat the same "
				"command to finish");
		if (step(r, i, err) < 0)
			return -1;
		done += kept_layout_chunk(l, i).bytes;
		kept_tell(r->watch, phase, done, l->bytes);
	}
	return 0;
}

static int refuse(const struct restoring *r, struct error *err)
{
	const struct kept_look *l = &r->result->look;
	const struct kept_range *first = &l->ranges[0];

	return error_set(err, ERROR_REFUSED,
		"%llu of the %llu blocks of '%s' that would be put back hold neither what was "
		"saved nor what its run wrote, the first at byte %llu (%s); nothing was written",
		(unsigned long long)kept_look_changed(l), (unsigned long long)kept_look_all(l),
		r->look.m->traits.path, (unsigned long long)first->at,
		kept_there_words(first->there));
}

static int restore(struct restoring *r, struct error *err)
{
	struct medium *m = r->look.m;
	int rc;

	if (each_chunk(r, "looking at what is there", look, err) < 0 ||
		kept_check_end_sum(r->look.k, r->end, err) < 0)
		return -1;
	if (err)
		*err = (struct error){ 0 }; /* of chunks that are left out */
	if (r->look.over != KEPT_OVER_ALL && kept_look_changed(&r->result->look))
		return refuse(r, err);
	if (each_chunk(r, "putting data back", put_back, err) < 0)
		return -1;
	rc = medium_flush(m);
	if (rc < 0) {
		error_fill_sys(err, ERROR_IO, -rc, "cannot flush '%s' after putting data back",
			m->traits.path);
		return medium_explain(m, err);
	}
	/* Direct I/O does not come from the host's cache anyway. */
	(void)medium_drop_cache(m);
	return each_chunk(r, "reading back", read_back, err);
}

static int restore_from(const struct kept *k, struct medium *m, enum kept_over over, bool skips,
	struct kept_result *result, const struct watch *watch, struct error *err)
{
	struct restoring *r = calloc(1, sizeof *r);
	int rc = -1;

	*result = (struct kept_result){ 0 };
	if (r)
		r->lost = calloc((size_t)(k->layout.chunks / 8) + 1, 1);
	if (r && r->lost && kept_looking_init(&r->look, k, m, over)) {
		r->result = result;
		r->skips = skips;
		r->end = kept_end_begin(&k->sums, k->layout.chunks);
		r->watch = watch;
		rc = restore(r, err);
	} else {
		error_set(err, ERROR_IO, "out of memory");
	}
	if (r) {
		kept_looking_release(&r->look);
		free(r->lost);
	}
	free(r);
	return rc;
}

int kept_restore(const struct kept *k, struct medium *m, enum kept_over over,
	struct kept_result *result, const struct watch *watch, struct error *err)
{
	return restore_from(k, m, over, false, result, watch, err);
}

int kept_restore_whole_chunks(const struct kept *k, struct medium *m, enum kept_over over,
	struct kept_result *result, const struct watch *watch, struct error *err)
{
	return restore_from(k, m, over, true, result, watch, err);
}
