/* Transfers with bounded retries. */
#include "integrity/transfer.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "base/error.h"
#include "medium/medium.h"

enum { INTERRUPTED_TRIES = 100, ASK_AFTER = 8 };
static const uint64_t ask_every_ns = 50000000, wait_ns = 1000000000, wait_in_all_ns = 10000000000,
		      silence_ns = 10000000000;

bool transfer_is_final(int sys_errno)
{
	return sys_errno == ENODEV || sys_errno == ENXIO || sys_errno == ENOMEDIUM ||
	       sys_errno == EBADF || sys_errno == EROFS || sys_errno == ENOSPC ||
	       sys_errno == EFBIG || sys_errno == ESTALE;
}

static int read_once(struct medium *m, uint64_t at, void *bytes, size_t length, size_t *got)
{
	int rc = -EINTR;

	for (int i = 0; rc == -EINTR && i < INTERRUPTED_TRIES; i++)
		rc = medium_read(m, at, bytes, length, got);
	if (rc < 0)
		*got = 0;
	return rc;
}

static int write_once(struct medium *m, uint64_t at, const void *bytes, size_t length, size_t *got)
{
	int rc = -EINTR;

	for (int i = 0; rc == -EINTR && i < INTERRUPTED_TRIES; i++)
		rc = medium_write(m, at, bytes, length, got);
	if (rc < 0)
		*got = 0;
	return rc;
}

/* After a failure: the errno to end with, or 0 when the target is there and answers. */
static int judge_failure(struct medium *m, int rc)
{
	int lost = medium_check(m, MEDIUM_CHECK_FAILED);

	return lost < 0 ? lost : transfer_is_final(-rc) ? rc : 0;
}

static void note_failure(struct transfer_failures *f, uint64_t at, int rc)
{
	if (f->requests++)
		return;
	f->first_offset = at;
	f->first_errno = -rc;
}

/* What came before an early end was acknowledged; the rest is sent again in single units. */
static int write_units(struct medium *m, uint64_t at, const uint8_t *bytes, size_t length,
	size_t unit, struct transfer_failures *f)
{
	uint64_t failed = f->blocks;
	size_t got;

	for (size_t done = 0; done < length; done += unit) {
		int rc = write_once(m, at + done, bytes + done, unit, &got);

		f->retries++;
		if (rc == 0 && got == unit)
			continue;
		if (transfer_is_final(-rc) || f->blocks - failed == ASK_AFTER) {
			rc = judge_failure(m, rc);
			if (rc)
				return rc;
		}
		f->blocks++;
	}
	return f->blocks > failed ? judge_failure(m, 0) : 0;
}

int transfer_write(struct medium *m, uint64_t at, const void *bytes, size_t length, size_t unit,
	struct transfer_failures *f)
{
	struct transfer_failures before = *f;
	size_t got, done;
	int rc = write_once(m, at, bytes, length, &got);

	if (rc == 0 && got == length)
		return 0;
	note_failure(f, at, rc);
	done = got - got % unit;
	rc = judge_failure(m, rc);
	if (!rc)
		rc = write_units(
			m, at + done, (const uint8_t *)bytes + done, length - done, unit, f);
	if (rc < 0)
		*f = before;
	return rc;
}

static void refuse(struct transfer_refused *r, size_t from, size_t length, int rc)
{
	for (size_t b = from / r->block_bytes; b < (from + length) / r->block_bytes; b++)
		r->blocks[b] = rc < 0 ? (int16_t)-rc : -1;
	r->any = true;
}

/* from: the first byte of the request that did not come. */
static int read_units(struct medium *m, uint64_t at, uint8_t *bytes, size_t from, size_t length,
	size_t unit, struct transfer_refused *refused, struct transfer_failures *f)
{
	uint64_t failed = f->blocks;
	size_t got;

	for (size_t done = from; done < length; done += unit) {
		int rc = read_once(m, at + done, bytes + done, unit, &got), final = 0;

		f->retries++;
		if (rc == 0 && got == unit)
			continue;
		if (transfer_is_final(-rc) || f->blocks - failed == ASK_AFTER)
			final = judge_failure(m, rc);
		if (final)
			return final;
		f->blocks++;
		refuse(refused, done, unit, rc);
	}
	return f->blocks > failed ? judge_failure(m, 0) : 0;
}

int transfer_read(struct medium *m, uint64_t at, void *bytes, size_t length, size_t unit,
	struct transfer_refused *refused, struct transfer_failures *f)
{
	struct transfer_failures before = *f;
	size_t got;
	int rc = read_once(m, at, bytes, length, &got);

	refused->any = false;
	if (rc == 0 && got == length)
		return 0;
	note_failure(f, at, rc);
	rc = judge_failure(m, rc);
	memset(refused->blocks, 0, length / refused->block_bytes * sizeof *refused->blocks);
	if (!rc)
		rc = read_units(m, at, bytes, got - got % unit, length, unit, refused, f);
	if (rc < 0)
		*f = before;
	return rc;
}

static int wait_for_loss(struct medium *m, struct transfer_patience *p)
{
	for (uint64_t waited = 0; waited < wait_ns && p->waited_ns < wait_in_all_ns;
		waited += ask_every_ns) {
		int rc;

		medium_idle_ns(m, ask_every_ns);
		p->waited_ns += ask_every_ns;
		rc = medium_check(m, MEDIUM_CHECK_FAILED);
		if (rc < 0)
			return rc;
	}
	return 0;
}

/* Does it give what it served before? */
static bool serves(struct medium *m, const struct transfer_patience *p, void *buf, uint32_t unit)
{
	size_t got;

	return (read_once(m, p->last, buf, unit, &got) == 0 && got == unit) ||
	       (read_once(m, p->first, buf, unit, &got) == 0 && got == unit);
}

/* Until it serves again, turns out to be gone, or stays silent. */
static int wait_for_service(struct medium *m, struct transfer_patience *p, void *buf, uint32_t unit)
{
	for (uint64_t waited = 0; !serves(m, p, buf, unit); waited += ask_every_ns) {
		int rc = medium_check(m, MEDIUM_CHECK_FAILED);

		if (rc < 0)
			return rc;
		p->silent = waited >= silence_ns;
		if (p->silent)
			return -EIO;
		medium_idle_ns(m, ask_every_ns);
		p->waited_ns += ask_every_ns;
	}
	return 0;
}

int transfer_believe(
	struct medium *m, struct transfer_patience *p, uint64_t at, uint32_t unit, bool refused)
{
	bool first = refused && !p->refused;
	uint64_t waited = p->waited_ns;
	void *buf;
	int rc;

	p->refused = refused;
	if (!refused) {
		p->first = p->served ? p->first : at;
		p->last = at;
		p->served = true;
	}
	if (!refused || medium_traits(m)->kind != MEDIUM_BLOCK_DEVICE)
		return 0;
	if (!p->served)
		return first ? wait_for_loss(m, p) : 0;
	buf = buffer_new(unit, medium_traits(m)->memory_align_bytes);
	if (!buf)
		return -ENOMEM;
	rc = wait_for_service(m, p, buf, unit);
	free(buf);
	return rc < 0 || p->waited_ns == waited ? rc : TRANSFER_AGAIN;
}

void transfer_explain_silence(
	const struct medium *m, const struct transfer_patience *p, struct error *err)
{
	error_set(err, ERROR_IO,
		"'%s' is there, but for %llu s has refused even what it served before, at byte "
		"%llu; nothing can be said of what it refused: check cable, power and card",
		medium_traits(m)->path, (unsigned long long)(silence_ns / 1000000000),
		(unsigned long long)p->last);
}
