/* The lines of an audit in its record: "finding" for each, "audit" when all probes ran. See blkassay-audit(7). */
#ifndef RECORD_AUDIT_LINES_H
#define RECORD_AUDIT_LINES_H

#include "base/promise.h"

struct error;
struct line_kind;
struct record_writer;

extern const struct line_kind kind_promise, kind_audit;

int audit_write_promise(struct record_writer *w, const struct promise *f, struct error *err);
int audit_write_close(struct record_writer *w, const struct promises *f, struct error *err);

/* All lines of the record at path; out->partial when it was cut before its end. 0, or -1 with *err. */
int audit_load(struct promises *out, const char *path, struct error *err);

#endif
