/* An audit as lines of a record, both ways. */
#include "record/audit.h"

#include <string.h>

#include "base/error.h"
#include "record/file.h"

int audit_write_promise(struct record_writer *w, const struct promise *f, struct error *err)
{
	record_begin(w, "finding");
	line_put_text(&w->line, "id", f->id);
	line_put_text(&w->line, "verdict", promise_verdict_name(f->verdict));
	line_put_text(&w->line, "claim", f->claim);
	line_put_text(&w->line, "evidence", f->evidence);
	line_put_text(&w->line, "mend", f->mend);
	/* Synced: a later probe may bring the target, or this machine, down. */
	return record_commit(w, true, err);
}

int audit_write_close(struct record_writer *w, const struct promises *f, struct error *err)
{
	record_begin(w, "audit");
	line_put_u64(&w->line, "lines", f->count);
	line_put_u64(&w->line, "partial", f->partial);
	line_put_u64(&w->line, "no_scsi", f->no_scsi);
	return record_commit(w, false, err);
}

static void take_promise(struct promises *out, const struct line *l)
{
	struct promise f = { 0 };
	char verdict[16];

	if (out->count == PROMISES_MAX || !line_get_text(l, "id", f.id, sizeof f.id) ||
		!line_get_text(l, "verdict", verdict, sizeof verdict) ||
		!promise_verdict_parse(verdict, &f.verdict))
		return;
	line_get_text(l, "claim", f.claim, sizeof f.claim);
	line_get_text(l, "evidence", f.evidence, sizeof f.evidence);
	line_get_text(l, "mend", f.mend, sizeof f.mend);
	out->list[out->count++] = f;
}

static void take_close(struct promises *out, const struct line *l)
{
	uint64_t lines = 0, partial = 1, no_scsi = 0;

	line_get_u64(l, "lines", &lines);
	line_get_u64(l, "partial", &partial);
	line_get_u64(l, "no_scsi", &no_scsi);
	out->no_scsi = no_scsi != 0;
	/* A damaged line was skipped by the reader: then not all is here. */
	out->partial = partial || lines != out->count;
}

int audit_load(struct promises *out, const char *path, struct error *err)
{
	struct record_reader reader;
	struct line line;
	int rc;

	*out = (struct promises){ .partial = true };
	if (record_open(&reader, path, err) < 0)
		return -1;
	while ((rc = record_next(&reader, &line, err)) > 0) {
		if (!strcmp(line.kind, "finding"))
			take_promise(out, &line);
		else if (!strcmp(line.kind, "audit"))
			take_close(out, &line);
	}
	out->partial |= reader.damaged > 0;
	record_reader_release(&reader);
	return rc;
}
