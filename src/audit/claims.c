/* What the device says of itself, and what the kernel made of it. */
#include <stdio.h>
#include <string.h>

#include "audit/probe_context.h"
#include "audit/probes.h"
#include "medium/command_times.h"

enum { MODE_BYTES = 192, INQUIRY_BYTES = 36 }; /* what Linux asks of USB disks */

static int ask_inquiry(
	struct probe_context *pc, struct scsi_inquiry *q, bool *answered, uint32_t *bytes)
{
	struct scsi_exchange x;
	int rc;

	memset(pc->buf, 0, INQUIRY_BYTES);
	scsi_build_inquiry(&x, pc->buf, INQUIRY_BYTES);
	rc = context_exchange(pc, &x);
	*bytes = scsi_transferred(&x);
	*answered = rc == 0 && scsi_inquiry_decode(q, pc->buf, *bytes);
	return rc < 0 ? rc : 0;
}

static bool same_but_for_blanks(const char *a, const char *b)
{
	for (;;) {
		a += strspn(a, " ");
		b += strspn(b, " ");
		if (*a != *b)
			return false;
		if (!*a)
			return true;
		a++;
		b++;
	}
}

/* The kernel asked when it was plugged in. What is no character in it is shown in other ways there. */
static bool is_the_kernels_revision(const struct probe_context *pc, const struct scsi_inquiry *q)
{
	return !*pc->t->revision || strchr(q->revision, '?') ||
	       same_but_for_blanks(pc->t->revision, q->revision);
}

static int report_inquiry(struct probe_context *pc, uint32_t bytes)
{
	static const char mend[] =
		"answer INQUIRY with 36 bytes of standard data (additional length 31 or more), the "
		"RMB bit and the revision as built, each time";
	const struct scsi_inquiry *q = &pc->known.inquiry;
	bool revision = is_the_kernels_revision(pc, q);

	if (!pc->known.inquiry_answered)
		return context_report(pc, PROMISE_ID_INQUIRY, PROMISE_BROKEN, 1, mend,
			"refused, or %u bytes of no standard form", bytes);
	return context_report(pc, PROMISE_ID_INQUIRY,
		revision && q->removable == pc->t->marked_removable ? PROMISE_KEPT : PROMISE_BROKEN,
		1, mend,
		"'%s' '%s' revision '%s', device type %02Xh, %sremovable; the kernel lists it as "
		"%sremovable%s%s%s",
		q->vendor, q->product, q->revision, q->device_type, q->removable ? "" : "not ",
		pc->t->marked_removable ? "" : "not ", revision ? "" : ", revision '",
		revision ? "" : pc->t->revision, revision ? "" : "'");
}

static int ask_capacity(struct probe_context *pc)
{
	static const char mend[] = "return the last block number (not the count) and the block "
				   "length, big-endian";
	struct scsi_exchange x;
	struct scsi_capacity c;
	bool ok;
	int rc;

	/* No leftovers where a short answer is not told as one. */
	memset(pc->buf, 0, SCSI_CAPACITY_16_BYTES);
	scsi_build_read_capacity_10(&x, pc->buf);
	rc = context_exchange(pc, &x);
	if (rc < 0)
		return rc;
	ok = !rc && scsi_capacity_10_decode(&c, pc->buf, scsi_transferred(&x));
	if (ok && c.needs_16) {
		memset(pc->buf, 0, SCSI_CAPACITY_16_BYTES);
		scsi_build_read_capacity_16(&x, pc->buf);
		rc = context_exchange(pc, &x);
		if (rc < 0)
			return rc;
		ok = !rc && scsi_capacity_16_decode(&c, pc->buf, scsi_transferred(&x));
	}
	if (!ok)
		return context_report(pc, PROMISE_ID_CAPACITY, PROMISE_BROKEN, 1, mend,
			"refused, or an answer that makes no sense");
	return context_report(pc, PROMISE_ID_CAPACITY,
		scsi_capacity_is(&c, pc->t->size_bytes, pc->t->logical_block_bytes)
			? PROMISE_KEPT
			: PROMISE_BROKEN,
		1, mend, "%llu blocks of %u bytes; the kernel uses %llu bytes in blocks of %u",
		(unsigned long long)c.blocks, c.block_bytes, (unsigned long long)pc->t->size_bytes,
		pc->t->logical_block_bytes);
}

static int ask_mode(
	struct probe_context *pc, uint8_t page, bool form_10, struct scsi_mode *out, bool *answered)
{
	struct scsi_exchange x;
	int rc;

	memset(pc->buf, 0, MODE_BYTES);
	if (form_10)
		scsi_build_mode_sense_10(&x, SCSI_CURRENT, page, pc->buf, MODE_BYTES);
	else
		scsi_build_mode_sense_6(&x, SCSI_CURRENT, page, pc->buf, MODE_BYTES);
	rc = context_exchange(pc, &x);
	*answered = rc == 0 && scsi_mode_decode(out, pc->buf, scsi_transferred(&x), form_10);
	if (!*answered)
		*out = (struct scsi_mode){ 0 };
	return rc < 0 ? rc : 0;
}

static const char *wce(const struct scsi_mode *m, bool answered)
{
	return !answered         ? "no usable answer"
	       : !m->has_caching ? "no caching page"
	       : m->write_cache  ? "WCE 1"
				 : "WCE 0";
}

/* The caching page asked for by itself: in the short form, and where that shows none in the long one. */
struct own_page {
	struct scsi_mode mode;
	bool answered, form_10;
};

static int ask_own_page(struct probe_context *pc, struct own_page *p)
{
	struct scsi_mode mode;
	bool answered;
	int rc = ask_mode(pc, SCSI_PAGE_CACHING, false, &p->mode, &p->answered);

	if (rc || p->mode.has_caching)
		return rc;
	rc = ask_mode(pc, SCSI_PAGE_CACHING, true, &mode, &answered);
	if (!rc && mode.has_caching)
		*p = (struct own_page){ mode, answered, true };
	return rc;
}

static int report_cache_page(struct probe_context *pc, const struct own_page *own)
{
	static const char mend[] =
		"put the caching page (08h) into the answer to MODE SENSE(6) page "
		"3Fh too: Linux asks USB disks for nothing else";
	const struct scsi_mode *all = &pc->known.mode, *one = &own->mode;
	bool differ =
		one->has_caching && (!all->has_caching || all->write_cache != one->write_cache);

	return context_report(pc, PROMISE_ID_CACHE_PAGE, differ ? PROMISE_BROKEN : PROMISE_KEPT,
		(uint64_t)pc->known.mode_answered + own->answered, mend,
		"page 3Fh: %s%s; page 08h%s: %s; DPOFUA %d, write protect %d%s",
		wce(all, pc->known.mode_answered), all->truncated ? " (cut short)" : "",
		own->form_10 ? " by MODE SENSE(10)" : "", wce(one, own->answered), all->dpo_fua,
		all->write_protected,
		!all->has_caching && !one->has_caching
			? "; without a caching page Linux treats it as write through"
			: "");
}

static int report_kernel_view(struct probe_context *pc)
{
	static const char mend[] = "nothing in the firmware: a quirk or a setting of this host "
				   "(queue/write_cache) hides the cache, so that no flush is sent";
	bool back = pc->t->cache == MEDIUM_CACHE_WRITE_BACK;
	bool hidden = pc->known.claims_cache && !back;
	bool agrees =
		pc->known.claims_cache == back && pc->t->fua == (back && pc->known.claims_fua);

	return context_report(pc, PROMISE_ID_KERNEL_VIEW,
		pc->t->cache == MEDIUM_CACHE_UNKNOWN ? PROMISE_NOT_SHOWN
		: hidden                             ? PROMISE_BROKEN
		: agrees                             ? PROMISE_KEPT
						     : PROMISE_NOT_SHOWN,
		1, mend, "device: %s, FUA %s; kernel: %s, FUA %s",
		pc->known.claims_cache ? "write back" : "write through",
		pc->known.claims_fua ? "yes" : "no",
		pc->t->cache == MEDIUM_CACHE_UNKNOWN ? "unknown"
		: back                               ? "write back"
						     : "write through",
		pc->t->fua ? "yes" : "no");
}

/* The mode pages are shorter than what hosts ask for: how such an answer ends is seen on the bus alone. */
static int ask_mode_on_bus(struct probe_context *pc)
{
	const struct command_watcher *bus = pc->hooks->bus;
	struct command_sum sum = { .seen = false };
	int rc;

	if (bus)
		bus->begin(bus->context, DEED_OTHER);
	rc = ask_mode(pc, SCSI_PAGE_ALL, false, &pc->known.mode, &pc->known.mode_answered);
	if (bus)
		bus->end(bus->context, &sum);
	if (sum.seen) {
		pc->shorts = sum.shorts;
		pc->stalled_shorts = sum.stalled_shorts;
	}
	return rc;
}

int probe_claims(struct probe_context *pc)
{
	struct own_page own = { 0 };
	uint32_t bytes = 0;
	int rc = 0;

	if (!pc->scsi) {
		pc->known.claims_cache = pc->t->cache == MEDIUM_CACHE_WRITE_BACK;
		for (int id = PROMISE_ID_INQUIRY; id <= PROMISE_ID_KERNEL_VIEW && !rc; id++)
			rc = context_report_no_scsi(pc, (enum promise_id)id);
		return rc;
	}
	rc = ask_inquiry(pc, &pc->known.inquiry, &pc->known.inquiry_answered, &bytes);
	if (!rc)
		rc = report_inquiry(pc, bytes);
	if (!rc)
		rc = ask_capacity(pc);
	if (!rc)
		rc = ask_mode_on_bus(pc);
	if (!rc)
		rc = ask_own_page(pc, &own);
	if (rc)
		return rc;
	pc->known.claims_cache = pc->known.mode.write_cache && !pc->known.mode.write_protected;
	pc->known.claims_fua = pc->known.mode.dpo_fua;
	rc = report_cache_page(pc, &own);
	return rc ? rc : report_kernel_view(pc);
}

static bool same_inquiry(const struct scsi_inquiry *a, const struct scsi_inquiry *b)
{
	return a->device_type == b->device_type && a->removable == b->removable &&
	       !strcmp(a->vendor, b->vendor) && !strcmp(a->product, b->product) &&
	       !strcmp(a->revision, b->revision);
}

static bool same_mode(const struct scsi_mode *a, const struct scsi_mode *b)
{
	return a->has_caching == b->has_caching && a->write_cache == b->write_cache &&
	       a->dpo_fua == b->dpo_fua && a->write_protected == b->write_protected;
}

int claims_of_cache_hold(struct probe_context *pc, bool *hold)
{
	struct scsi_mode now;
	bool answered;
	int rc;

	*hold = true;
	if (!pc->scsi || !pc->known.mode_answered)
		return 0;
	rc = ask_mode(pc, SCSI_PAGE_ALL, false, &now, &answered);
	*hold = answered && same_mode(&now, &pc->known.mode);
	return rc;
}

static const char *mode_words(char out[80], const struct scsi_mode *m, bool answered)
{
	snprintf(out, 80, "%s, DPOFUA %d, write protect %d", wce(m, answered), m->dpo_fua,
		m->write_protected);
	return out;
}

/* Another program may set the cache, and an eject may set it back; who a device is, nobody can change but itself. */
int probe_steady(struct probe_context *pc)
{
	static const char mend[] =
		"answer INQUIRY alike from the first time on: hosts ask it once, when it is "
		"plugged in, and tell builds apart by it";
	const struct known *k = &pc->known;
	struct scsi_inquiry q = { 0 };
	struct scsi_mode mode = { 0 };
	bool answered, mode_answered = false, same;
	char first[80], now[80];
	uint32_t bytes;
	int rc;

	if (!pc->scsi)
		return context_report_no_scsi(pc, PROMISE_ID_STEADY);
	if (medium_has_left(pc->m))
		return context_report_no_medium(pc, PROMISE_ID_STEADY);
	rc = ask_inquiry(pc, &q, &answered, &bytes);
	if (!rc && k->mode_answered)
		rc = ask_mode(pc, SCSI_PAGE_ALL, false, &mode, &mode_answered);
	if (rc)
		return rc;
	if (k->inquiry_answered && answered && !same_inquiry(&q, &k->inquiry))
		return context_report(pc, PROMISE_ID_STEADY, PROMISE_BROKEN, 2, mend,
			"INQUIRY told of '%s' '%s' revision '%s', %sremovable, at first, and now "
			"of '%s' '%s' revision '%s', %sremovable: no line here speaks for either",
			k->inquiry.vendor, k->inquiry.product, k->inquiry.revision,
			k->inquiry.removable ? "" : "not ", q.vendor, q.product, q.revision,
			q.removable ? "" : "not ");
	same = answered == k->inquiry_answered && mode_answered == k->mode_answered &&
	       same_mode(&mode, &k->mode);
	mode_words(first, &k->mode, k->mode_answered);
	mode_words(now, &mode, mode_answered);
	return context_report(pc, PROMISE_ID_STEADY, same ? PROMISE_KEPT : PROMISE_NOT_SHOWN,
		(uint64_t)answered + mode_answered, "", "%s; page 3Fh: %s%s%s",
		answered == k->inquiry_answered ? "INQUIRY as at first"
						: "INQUIRY answered only once of twice",
		now, same ? "" : ", and at first ", same ? "" : first);
}
