/* What the device says of itself, and what the kernel made of it. */
#include <stdio.h>
#include <string.h>

#include "audit/probe_context.h"
#include "audit/probes.h"

enum { MODE_BYTES = 192, INQUIRY_BYTES = 36 }; /* what Linux asks of USB disks */

static int ask_inquiry(struct probe_context *pc)
{
	static const char mend[] = "answer INQUIRY with 36 bytes of standard data (additional "
				   "length 31 or more) and the RMB bit as built";
	struct scsi_exchange x;
	struct scsi_inquiry q;
	int rc;

	memset(pc->buf, 0, INQUIRY_BYTES);
	scsi_build_inquiry(&x, pc->buf, INQUIRY_BYTES);
	rc = context_exchange(pc, &x);
	if (rc < 0)
		return rc;
	if (rc || !scsi_inquiry_decode(&q, pc->buf, scsi_transferred(&x)))
		return context_report(pc, PROMISE_ID_INQUIRY, PROMISE_BROKEN, 1, mend,
			"refused, or %u bytes of no standard form", scsi_transferred(&x));
	return context_report(pc, PROMISE_ID_INQUIRY,
		q.removable == pc->t->marked_removable ? PROMISE_KEPT : PROMISE_BROKEN, 1, mend,
		"'%s' '%s' revision '%s', device type %02Xh, %sremovable; the kernel lists it as "
		"%sremovable",
		q.vendor, q.product, q.revision, q.device_type, q.removable ? "" : "not ",
		pc->t->marked_removable ? "" : "not ");
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

int probe_claims(struct probe_context *pc)
{
	struct own_page own = { 0 };
	int rc = 0;

	if (!pc->scsi) {
		pc->known.claims_cache = pc->t->cache == MEDIUM_CACHE_WRITE_BACK;
		for (int id = PROMISE_ID_INQUIRY; id <= PROMISE_ID_KERNEL_VIEW && !rc; id++)
			rc = context_report_no_scsi(pc, (enum promise_id)id);
		return rc;
	}
	rc = ask_inquiry(pc);
	if (!rc)
		rc = ask_capacity(pc);
	if (!rc)
		rc = ask_mode(pc, SCSI_PAGE_ALL, false, &pc->known.mode, &pc->known.mode_answered);
	if (!rc)
		rc = ask_own_page(pc, &own);
	if (rc)
		return rc;
	pc->known.claims_cache = pc->known.mode.write_cache && !pc->known.mode.write_protected;
	pc->known.claims_fua = pc->known.mode.dpo_fua;
	rc = report_cache_page(pc, &own);
	return rc ? rc : report_kernel_view(pc);
}
