/* What jobs need before a run, and what must be true after one, whatever failed in it. */
#ifndef SHIM_JUDGES_H
#define SHIM_JUDGES_H

#include "shim/jobs.h"

/* The run that overwrites the target while its data is kept. */
#define KEPT_SWEEP                                                                            \
	"sweep", "@", "--keep-data", "--direction", "write", "--sizes", "128Ki", "--seconds", \
		"0.001", "--passes", "1", "--order", "sequential", "--out", "a.assay"

void prepare_nothing(void);
void prepare_card(void); /* the target holds data */
void prepare_cut_card(void); /* it is overwritten, its data saved in a.assay.kept */
void prepare_written(void); /* verify has written it with seed 5 */
void prepare_damaged(void); /* the same, then one block overwritten */
void prepare_record(void); /* a.assay is a sweep of it */
void prepare_two_records(void); /* a.assay and, of the same sweep, b.assay */
void prepare_journal(void); /* a.assay is a journal of it */
void prepare_broken_journal(void); /* the same, then a promised block was lost */

/* Files that stay: kept-sweep.assay, kept-verify.assay, kept-audit.assay, kept-seen.assay (an observation). */
void make_records(void);

/* Whatever the job, after a sync that failed: nothing is lost by it here, so only the tool's own words can show that it
 * was noticed. */
const char *judge_failed_sync(const struct job *job, int status);

/* Of a run without a fault, from the file `trace`: nothing is written to the target before the lines that announce it, and
 * the kept data, are on the disk; no promise is in the journal before the target made it; and what a run that is not cut
 * off wrote is flushed in the end. */
const char *judge_order(const struct job *job);

typedef const char *judge(const struct job *job, int status);
judge judge_nothing;
judge judge_output; /* the same words as without a fault, or a word about it */
judge judge_csv; /* a.csv likewise */
judge judge_page; /* a.html likewise */
judge judge_json; /* a.json likewise */
judge judge_record; /* a.assay, if there, can be read; a good end means a good end in it */
judge judge_read_sweep; /* and nothing was written */
judge judge_written; /* and what verify wrote is there */
judge judge_failing; /* and it is never called fine */
judge judge_gate; /* never fine, nothing to read */
judge judge_journal; /* recheck reads it and accuses nobody */
judge judge_kept_run; /* the target is as it was, or restore makes it so */
judge judge_restore;
judge judge_refused; /* nothing was written, and no good end */

#endif
