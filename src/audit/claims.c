/* What the device says of itself, and what the kernel made of it. */
#include <stdio.h>
#include <string.h>

#include "audit/desk.h"
#include "audit/probes.h"

enum { MODE_BYTES = 192, INQUIRY_BYTES = 36 }; /* what Linux asks of USB disks */

static int ask_inquiry(struct desk *d)
{
	static const char mend[] = "answer INQUIRY with 36 bytes of standard data (additional "
				   "length 31 or more) and the RMB bit as built";
	struct scsi_exchange x;
	struct scsi_inquiry q;
	int rc;

	memset(d->buf, 0, INQUIRY_BYTES);
	scsi_build_inquiry(&x, d->buf, INQUIRY_BYTES);
	rc = desk_exchange(d, &x);
	if (rc < 0)
		return rc;
	if (rc || !scsi_inquiry_decode(&q, d->buf, scsi_transferred(&x)))
		return desk_report(d, PROMISE_ID_INQUIRY, PROMISE_BROKEN, 1, mend,
			"refused, or %u bytes of no standard form", scsi_transferred(&x));
	return desk_report(d, PROMISE_ID_INQUIRY,
		q.removable == d->t->marked_removable ? PROMISE_KEPT : PROMISE_BROKEN, 1, mend,
		"'%s' '%s' revision '%s', device type %02Xh, %sremovable; the kernel lists it as "
		"%sremovable",
		q.vendor, q.product, q.revision, q.device_type, q.removable ? "" : "not ",
		d->t->marked_removable ? "" : "not ");
}

static int ask_capacity(struct desk *d)
{
	static const char mend[] = "return the last block number (not the count) and the block "
				   "length, big-endian";
	struct scsi_exchange x;
	struct scsi_capacity c;
	bool ok;
	int rc;

	memset(d->buf, 0,
		SCSI_CAPACITY_16_BYTES); /* no leftovers where a short answer is not told as one */
	scsi_build_read_capacity_10(&x, d->buf);
	rc = desk_exchange(d, &x);
	if (rc < 0)
		return rc;
	ok = !rc && scsi_capacity_10_decode(&c, d->buf, scsi_transferred(&x));
	if (ok && c.needs_16) {
		memset(d->buf, 0, SCSI_CAPACITY_16_BYTES);
		scsi_build_read_capacity_16(&x, d->buf);
		rc = desk_exchange(d, &x);
		if (rc < 0)
			return rc;
		ok = !rc && scsi_capacity_16_decode(&c, d->buf, scsi_transferred(&x));
	}
	if (!ok)
		return desk_report(d, PROMISE_ID_CAPACITY, PROMISE_BROKEN, 1, mend,
			"refused, or an answer that makes no sense");
	return desk_report(d, PROMISE_ID_CAPACITY,
		scsi_capacity_is(&c, d->t->size_bytes, d->t->logical_block_bytes) ? PROMISE_KEPT
										  : PROMISE_BROKEN,
		1, mend, "%llu blocks of %u bytes; the kernel uses %llu bytes in blocks of %u",
		(unsigned long long)c.blocks, c.block_bytes, (unsigned long long)d->t->size_bytes,
		d->t->logical_block_bytes);
}

static int ask_mode(
	struct desk *d, uint8_t page, bool form_10, struct scsi_mode *out, bool *answered)
{
	struct scsi_exchange x;
	int rc;

	memset(d->buf, 0, MODE_BYTES);
	if (form_10)
		scsi_build_mode_sense_10(&x, SCSI_CURRENT, page, d->buf, MODE_BYTES);
	else
		scsi_build_mode_sense_6(&x, SCSI_CURRENT, page, d->buf, MODE_BYTES);
	rc = desk_exchange(d, &x);
	*answered = rc == 0 && scsi_mode_decode(out, d->buf, scsi_transferred(&x), form_10);
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

static int ask_own_page(struct desk *d, struct own_page *p)
{
	struct scsi_mode mode;
	bool answered;
	int rc = ask_mode(d, SCSI_PAGE_CACHING, false, &p->mode, &p->answered);

	if (rc || p->mode.has_caching)
		return rc;
	rc = ask_mode(d, SCSI_PAGE_CACHING, true, &mode, &answered);
	if (!rc && mode.has_caching)
		*p = (struct own_page){ mode, answered, true };
	return rc;
}

static int report_cache_page(struct desk *d, const struct own_page *own)
{
	static const char mend[] =
		"put the caching page (08h) into the answer to MODE SENSE(6) page "
		"3Fh too: Linux asks USB disks for nothing else";
	const struct scsi_mode *all = &d->known.mode, *one = &own->mode;
	bool differ =
		one->has_caching && (!all->has_caching || all->write_cache != one->write_cache);

	return desk_report(d, PROMISE_ID_CACHE_PAGE, differ ? PROMISE_BROKEN : PROMISE_KEPT,
		(uint64_t)d->known.mode_answered + own->answered, mend,
		"page 3Fh: %s%s; page 08h%s: %s; DPOFUA %d, write protect %d%s",
		wce(all, d->known.mode_answered), all->truncated ? " (cut short)" : "",
		own->form_10 ? " by MODE SENSE(10)" : "", wce(one, own->answered), all->dpo_fua,
		all->write_protected,
		!all->has_caching && !one->has_caching
			? "; without a caching page Linux takes it for write through"
			: "");
}

static int report_kernel_view(struct desk *d)
{
	static const char mend[] = "nothing in the firmware: a quirk or a setting of this host "
				   "(queue/write_cache) hides the cache, so that no flush is sent";
	bool back = d->t->cache == MEDIUM_CACHE_WRITE_BACK;
	bool hidden = d->known.claims_cache && !back;
	bool agrees = d->known.claims_cache == back && d->t->fua == (back && d->known.claims_fua);

	return desk_report(d, PROMISE_ID_KERNEL_VIEW,
		d->t->cache == MEDIUM_CACHE_UNKNOWN ? PROMISE_NOT_SHOWN
		: hidden                            ? PROMISE_BROKEN
		: agrees                            ? PROMISE_KEPT
						    : PROMISE_NOT_SHOWN,
		1, mend, "device: %s, FUA %s; kernel: %s, FUA %s",
		d->known.claims_cache ? "write back" : "write through",
		d->known.claims_fua ? "yes" : "no",
		d->t->cache == MEDIUM_CACHE_UNKNOWN ? "unknown"
		: back                              ? "write back"
						    : "write through",
		d->t->fua ? "yes" : "no");
}

int probe_claims(struct desk *d)
{
	struct own_page own = { 0 };
	int rc = 0;

	if (!d->scsi) {
		d->known.claims_cache = d->t->cache == MEDIUM_CACHE_WRITE_BACK;
		for (int id = PROMISE_ID_INQUIRY; id <= PROMISE_ID_KERNEL_VIEW && !rc; id++)
			rc = desk_report_no_scsi(d, (enum promise_id)id);
		return rc;
	}
	rc = ask_inquiry(d);
	if (!rc)
		rc = ask_capacity(d);
	if (!rc)
		rc = ask_mode(d, SCSI_PAGE_ALL, false, &d->known.mode, &d->known.mode_answered);
	if (!rc)
		rc = ask_own_page(d, &own);
	if (rc)
		return rc;
	d->known.claims_cache = d->known.mode.write_cache && !d->known.mode.write_protected;
	d->known.claims_fua = d->known.mode.dpo_fua;
	rc = report_cache_page(d, &own);
	return rc ? rc : report_kernel_view(d);
}
