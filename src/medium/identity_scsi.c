/* SCSI commands and what their answers say of the medium's identity. */
#include <errno.h>

#include "base/error.h"
#include "medium/identity.h"
#include "medium/scsi.h"
#include "medium/scsi_sense.h"

/* Commands that neither move data nor store any. */
static bool is_question(const uint8_t *cdb)
{
	switch (cdb[0]) {
	case SCSI_TEST_UNIT_READY:
	case SCSI_REQUEST_SENSE:
	case SCSI_INQUIRY:
	case SCSI_MODE_SENSE_6:
	case SCSI_MODE_SENSE_10:
	case SCSI_START_STOP_UNIT:
	case SCSI_PREVENT_ALLOW:
	case SCSI_READ_CAPACITY_10:
	case SCSI_SERVICE_ACTION_IN_16:
		return true;
	default:
		return false;
	}
}

static bool is_read(const uint8_t *cdb)
{
	return cdb[0] == SCSI_READ_10 || cdb[0] == SCSI_READ_16;
}

static bool is_sync(const uint8_t *cdb)
{
	return cdb[0] == SCSI_SYNCHRONIZE_CACHE_10 || cdb[0] == SCSI_SYNCHRONIZE_CACHE_16;
}

int identity_admit_scsi(struct medium *m, const struct scsi_exchange *x)
{
	int rc;

	if (is_question(x->cdb) || is_read(x->cdb))
		rc = medium_check(m, MEDIUM_CHECK_REQUEST);
	else
		rc = is_sync(x->cdb) ? identity_admit_flush(m) : identity_admit_write(m);
	if (!rc && is_read(x->cdb))
		rc = identity_admit_read(m);
	if (!rc && is_sync(x->cdb))
		identity_flush_begins(m);
	return rc;
}

static void heed_success(struct medium *m, const struct scsi_exchange *x)
{
	uint64_t block = m->traits.logical_block_bytes;

	if (is_sync(x->cdb))
		identity_flushed(m);
	else if (x->cdb[0] == SCSI_WRITE_10)
		identity_wrote(m, scsi_get_u32(x->cdb + 2) * block, x->data, scsi_transferred(x));
	else if (x->cdb[0] == SCSI_WRITE_16)
		identity_wrote(m, scsi_get_u64(x->cdb + 2) * block, x->data, scsi_transferred(x));
}

/* From before the first write: whatever is there now is what will be written to, if it has the size that was consented to. */
static int absorb(struct medium *m)
{
	struct error why = { 0 };
	int rc = m->ops->renew ? m->ops->renew(m, &why) : 0;

	return rc < 0 ? identity_lose(m, rc, &why) : 0;
}

static bool is_reset(const struct scsi_sense *s)
{
	return s->valid && !s->deferred && s->key == SENSE_UNIT_ATTENTION &&
	       s->code >> 8 == SENSE_POWER_ON >> 8;
}

static int heed_sense(struct medium *m, const struct scsi_sense *s)
{
	char text[SCSI_SENSE_TEXT_MAX];
	struct error why;

	switch (scsi_sense_identity(s)) {
	case -ESTALE:
		if (!atomic_load(&m->identity.armed))
			return absorb(m);
		return identity_leave(
			m, identity_changed(m, &why, scsi_sense_format(text, s)), &why);
	case -ENOMEDIUM:
		return identity_leave(
			m, identity_gone(m, &why, -ENOMEDIUM, scsi_sense_format(text, s)), &why);
	default:
		break;
	}
	if (is_reset(s)) {
		atomic_fetch_add(&m->identity.resets, 1);
		identity_doubt(m);
	}
	return 0;
}

/* Sense that was asked for is told no second time. */
static int heed_answer(struct medium *m, const struct scsi_exchange *x)
{
	struct scsi_sense sense;

	scsi_sense_decode(&sense, x->data, scsi_transferred(x));
	return heed_sense(m, &sense);
}

/* The kernel counts whatever was no success. This run's own doing is every answer to its commands but the news of a reset,
 * unless the kernel made that one because a command of this run failed in transport. */
static void count_own(struct medium *m, const struct scsi_exchange *x, const struct scsi_sense *s)
{
	bool own = !is_reset(s) || atomic_exchange(&m->identity.reset_due, false);

	if (own)
		atomic_fetch_add(&m->identity.own_errors, 1);
	if (x->host_status)
		atomic_store(&m->identity.reset_due, true);
}

int identity_heed(struct medium *wrapped, const struct scsi_exchange *x)
{
	struct medium *m = identity_owner(wrapped);
	struct scsi_sense sense;
	struct error why;

	if (scsi_completed(x))
		heed_success(m, x);
	if (scsi_succeeded(x) && x->cdb[0] == SCSI_REQUEST_SENSE)
		return heed_answer(m, x);
	if (scsi_succeeded(x))
		return 0;
	scsi_sense_decode(&sense, x->sense, x->sense_length);
	/* A wrapper passes on what was counted already. */
	if (m == wrapped)
		count_own(m, x, &sense);
	if (scsi_lost_device(x))
		return identity_lose(m,
			identity_gone(m, &why, -ENODEV, "it no longer answers any command"), &why);
	return heed_sense(m, &sense);
}
