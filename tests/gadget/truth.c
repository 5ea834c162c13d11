/* The truth log. */
#include "gadget/truth.h"

#include <errno.h>
#include <inttypes.h>

#include "medium/scsi.h"

int truth_open(struct truth_log *log, const char *path)
{
	*log = (struct truth_log){ .file = fopen(path, "we") };
	if (!log->file)
		return -errno;
	fputs("gadget-truth 1 clock=monotonic unit=ns\n", log->file);
	return fflush(log->file) ? -errno : 0;
}

void truth_close(struct truth_log *log)
{
	if (log->file)
		fclose(log->file);
	log->file = NULL;
}

static uint64_t lba_of(const uint8_t *cdb)
{
	switch (cdb[0]) {
	case SCSI_READ_10:
	case SCSI_WRITE_10:
		return scsi_get_u32(cdb + 2);
	case SCSI_READ_16:
	case SCSI_WRITE_16:
		return scsi_get_u64(cdb + 2);
	default:
		return 0;
	}
}

void truth_command(struct truth_log *log, const struct truth *t)
{
	const struct model_bulk_command *c = &t->command;

	if (!log->file)
		return;
	fprintf(log->file,
		"command n=%" PRIu64 " lun=%u opcode=%02X lba=%" PRIu64 " way=%s length=%" PRIu32
		" moved=%" PRIu32 " status=%u residue=%" PRIu32 " end=%s",
		++log->lines, t->lun, c->cdb[0], lba_of(c->cdb),
		!c->length ? "none"
		: c->in    ? "in"
			   : "out",
		c->length, c->moved, c->status, c->residue, t->end);
	fprintf(log->file,
		" received=%.0f first=%.0f data=%.0f due=%.0f ready=%.0f sent=%.0f next=%.0f",
		t->received, t->first, t->data, t->due, t->ready, t->sent, t->next);
	fprintf(log->file, " wait_data=%.0f wait_pieces=%.0f wait_status=%.0f wait_next=%.0f\n",
		t->wait_data, t->wait_pieces, t->wait_status, t->wait_next);
	fflush(log->file);
}

void truth_event(struct truth_log *log, double now, const char *words)
{
	if (!log->file)
		return;
	fprintf(log->file, "event t=%.0f %s\n", now, words);
	fflush(log->file);
}
