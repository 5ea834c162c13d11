/* Flushes. */
#include "measure/flusher.h"

#include <errno.h>

#include "medium/medium.h"
#include "medium/scsi.h"
#include "medium/scsi_sense.h"

enum { PATIENCE_MS = 60000, TRIES = 3 };

void flusher_init(struct flusher *f, struct medium *m)
{
	bool through = medium_traits(m)->cache == MEDIUM_CACHE_WRITE_THROUGH;

	*f = (struct flusher){ .medium = m, .way = through ? FLUSHER_COMMAND : FLUSHER_KERNEL };
}

/* 1: ask again; else as flusher_flush. */
static int take_sense(struct flusher *f, const struct scsi_exchange *x)
{
	struct scsi_sense sense;

	scsi_sense_decode(&sense, x->sense, x->sense_length);
	if (sense.valid && sense.deferred)
		return -EIO;
	if (!sense.valid || sense.key == SENSE_ILLEGAL_REQUEST) {
		f->way = FLUSHER_REFUSED;
		return 0;
	}
	if (sense.key == SENSE_UNIT_ATTENTION)
		return sense.code == SENSE_MEDIUM_CHANGED ? -ENOMEDIUM : 1;
	return sense.key == SENSE_NOT_READY ? -ENOMEDIUM : -EIO;
}

static int send(struct flusher *f)
{
	struct scsi_exchange x;
	int rc;

	scsi_build_synchronize_cache(&x, 0, 0, false);
	x.timeout_ms = PATIENCE_MS;
	rc = medium_scsi(f->medium, &x);
	if (rc == -ENOTSUP || rc == -EPERM || rc == -EACCES) {
		f->way = FLUSHER_NONE;
		return 0;
	}
	if (rc < 0 || scsi_completed(&x))
		return rc;
	if (x.host_status || x.driver_status) {
		f->way = FLUSHER_SILENT;
		f->fell_silent = true;
		return 0;
	}
	return x.status == SCSI_CHECK_CONDITION ? take_sense(f, &x) : 1;
}

int flusher_flush(struct flusher *f)
{
	int rc = 1;

	f->fell_silent = false;
	if (f->way == FLUSHER_KERNEL)
		return medium_flush(f->medium);
	for (int i = 0; rc == 1 && i < TRIES && f->way == FLUSHER_COMMAND; i++)
		rc = send(f);
	/* An answer that is always another condition is none. */
	if (rc == 1 && f->way == FLUSHER_COMMAND)
		f->way = FLUSHER_REFUSED;
	return rc == 1 ? 0 : rc;
}
