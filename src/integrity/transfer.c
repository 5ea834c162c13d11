/* Transfers with bounded retries. */
#include "integrity/transfer.h"

#include <errno.h>
#include <string.h>

#include "medium/medium.h"

enum { INTERRUPTED_TRIES = 100 };

bool transfer_is_final(int sys_errno)
{
	return sys_errno == ENODEV || sys_errno == ENXIO || sys_errno == ENOMEDIUM ||
	       sys_errno == EBADF || sys_errno == EROFS || sys_errno == ENOSPC ||
	       sys_errno == EFBIG;
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

static void note_failure(struct transfer_failures *f, uint64_t at, int rc)
{
	if (f->requests++)
		return;
	f->first_offset = at;
	f->first_errno = -rc;
}

int transfer_write(struct medium *m, uint64_t at, const void *bytes, size_t length, size_t unit,
	struct transfer_failures *f)
{
	size_t got, done;
	int rc = write_once(m, at, bytes, length, &got);

	if (rc == 0 && got == length)
		return 0;
	note_failure(f, at, rc);
	if (transfer_is_final(-rc))
		return rc;
	/* What came before an early end was acknowledged; the rest is sent again in single units. */
	for (done = got - got % unit; done < length; done += unit) {
		f->retries++;
		rc = write_once(m, at + done, (const uint8_t *)bytes + done, unit, &got);
		if (rc == 0 && got == unit)
			continue;
		if (transfer_is_final(-rc))
			return rc;
		f->blocks++;
	}
	return 0;
}

static void refuse(int16_t *refused, size_t from, size_t length, uint32_t block_bytes, int rc)
{
	for (size_t b = from / block_bytes; b < (from + length) / block_bytes; b++)
		refused[b] = rc < 0 ? (int16_t)-rc : -1;
}

int transfer_read(struct medium *m, uint64_t at, void *bytes, size_t length, size_t unit,
	uint32_t block_bytes, int16_t *refused, bool *any_refused, struct transfer_failures *f)
{
	size_t got, done;
	int rc = read_once(m, at, bytes, length, &got);

	*any_refused = false;
	if (rc == 0 && got == length)
		return 0;
	note_failure(f, at, rc);
	if (transfer_is_final(-rc))
		return rc;
	memset(refused, 0, length / block_bytes * sizeof *refused);
	for (done = got - got % unit; done < length; done += unit) {
		f->retries++;
		rc = read_once(m, at + done, (uint8_t *)bytes + done, unit, &got);
		if (rc == 0 && got == unit)
			continue;
		if (transfer_is_final(-rc))
			return rc;
		f->blocks++;
		*any_refused = true;
		refuse(refused, done, unit, block_bytes, rc);
	}
	return 0;
}
