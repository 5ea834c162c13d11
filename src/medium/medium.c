/* The medium interface: dispatch, and what a missing slot means. */
#include "medium/medium.h"

#include <errno.h>
#include <string.h>

#include "medium/identity.h"
#include "medium/telltale.h"

void medium_close(struct medium *m)
{
	if (!m)
		return;
	telltales_free(m->identity.telltales);
	m->ops->close(m);
}

int medium_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	int rc = identity_admit_read(m);

	*got = 0;
	if (!rc)
		rc = m->ops->read(m, at, buf, len, got);
	/* Only what was read before the medium changed may be judged. */
	if (!rc)
		rc = medium_check(m, MEDIUM_CHECK_REQUEST);
	if (rc < 0)
		*got = 0;
	return rc;
}

int medium_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	int rc = identity_admit_write(m);

	*got = 0;
	if (!rc)
		rc = m->ops->write(m, at, buf, len, got);
	if (!rc)
		identity_wrote(m, at, buf, *got);
	return rc;
}

int medium_write_through(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	int rc = m->ops->write_through ? identity_admit_write(m) : -ENOTSUP;

	*got = 0;
	if (!rc)
		rc = m->ops->write_through(m, at, buf, len, got);
	if (!rc)
		identity_wrote(m, at, buf, *got);
	return rc;
}

int medium_flush(struct medium *m)
{
	int rc = identity_admit_flush(m);

	if (rc < 0)
		return rc;
	identity_flush_begins(m);
	rc = m->ops->flush(m);
	if (!rc)
		identity_flushed(m);
	return rc;
}

int medium_scsi(struct medium *m, struct scsi_exchange *x)
{
	int rc = m->ops->scsi ? identity_admit_scsi(m, x) : -ENOTSUP;

	if (!rc)
		rc = m->ops->scsi(m, x);
	return rc < 0 ? rc : identity_heed(m, x);
}

int medium_drop_cache(struct medium *m)
{
	return m->ops->drop_cache ? m->ops->drop_cache(m) : 0;
}

int medium_replug(struct medium *m, bool power_lost)
{
	return m->ops->replug ? m->ops->replug(m, power_lost) : -ENOTSUP;
}

int medium_watch_commands(struct medium *m, const struct command_watch *w)
{
	return m->ops->watch_commands ? m->ops->watch_commands(m, w) : -ENOTSUP;
}
