/* An audit as lines of a record, both ways. */
#include "record/audit_lines.h"

#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "record/field.h"
#include "record/file.h"
#include "record/line.h"

/* A promise with its verdict in words. */
struct promise_line {
	char verdict[16];
	struct promise promise;
};

struct close_line {
	uint64_t lines;
	bool partial, no_scsi;
};

#define HERE struct promise_line
static const struct field promise_fields[] = {
	FIELD("id", promise.name, "of the promise, as in blkassay-audit(7)"),
	FIELD("verdict", verdict, "kept, broken, not shown or not asked"),
	FIELD_WHEN("tested", promise.tested, promise.tested_known,
		"how much the verdict rests on, counted as blkassay-audit(7) says"),
	FIELD("claim", promise.claim, ""),
	FIELD("evidence", promise.evidence, ""),
	FIELD("mend", promise.mend, "the change of firmware that mends it"),
};
#undef HERE
/* Synced: a later probe may bring the target, or this machine, down. */
const struct line_kind kind_promise =
	LINE_KIND("promise", promise_fields, "One promise and what became of it.", .synced = true);

#define HERE struct close_line
static const struct field close_fields[] = {
	FIELD("lines", lines, "promises before this line"),
	FIELD("partial", partial, "0 or 1: the audit did not finish"),
	FIELD("no_scsi", no_scsi, "0 or 1: the target takes no SCSI commands"),
};
#undef HERE
const struct line_kind kind_audit =
	LINE_KIND("audit", close_fields, "All that was asked is answered.");

int audit_write_promise(struct record_writer *w, const struct promise *f, struct error *err)
{
	struct promise_line line = { .promise = *f };

	text_copy(line.verdict, sizeof line.verdict, promise_verdict_name(f->verdict));
	return record_write(w, &kind_promise, &line, err);
}

int audit_write_close(struct record_writer *w, const struct promises *f, struct error *err)
{
	struct close_line line = { f->count, f->partial, f->no_scsi };

	return record_write(w, &kind_audit, &line, err);
}

static void take_promise(struct promises *out, const struct line *l)
{
	struct promise_line line = { .verdict = "" };

	line_take_fields(l, &kind_promise, &line);
	if (out->count == PROMISES_MAX || !*line.promise.name ||
		!promise_verdict_parse(line.verdict, &line.promise.verdict))
		return;
	out->list[out->count++] = line.promise;
}

static void take_close(struct promises *out, const struct line *l)
{
	struct close_line line = { .partial = true };

	line_take_fields(l, &kind_audit, &line);
	out->no_scsi = line.no_scsi;
	/* A damaged line was skipped by the reader: then not all is here. */
	out->partial = line.partial || line.lines != out->count;
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
		if (!strcmp(line.kind, kind_promise.name))
			take_promise(out, &line);
		else if (!strcmp(line.kind, kind_audit.name))
			take_close(out, &line);
	}
	out->partial |= reader.damaged > 0;
	record_reader_release(&reader);
	return rc;
}
