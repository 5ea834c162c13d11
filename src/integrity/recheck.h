/* After the cut: which promises were kept. */
#ifndef INTEGRITY_RECHECK_H
#define INTEGRITY_RECHECK_H

#include "base/watch.h"
#include "integrity/journal.h"
#include "record/cut_lines.h"

struct error;
struct medium;

/* Reads the region of the journal's last cycle back and judges every block. 0: *out is complete and owns memory.
 * -1 with *err: interrupted, the target vanished or answers no read at all, no memory; *out then holds nothing. */
int recheck_run(struct medium *m, const struct journal *j, const struct watch *watch,
	struct recheck_result *out, struct error *err);

#endif
