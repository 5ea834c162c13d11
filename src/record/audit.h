/* The lines of an audit in its record: "finding" for each, "audit" when all probes ran. See blkassay-audit(7). */
#ifndef RECORD_AUDIT_H
#define RECORD_AUDIT_H

#include "base/finding.h"

struct error;
struct record_writer;

int audit_write_finding(struct record_writer *w, const struct finding *f, struct error *err);
int audit_write_close(struct record_writer *w, const struct findings *f, struct error *err);

/* All lines of the record at path; out->partial when it was cut before its end. 0, or -1 with *err. */
int audit_load(struct findings *out, const char *path, struct error *err);

#endif
