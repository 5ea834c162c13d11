/* What cuts mean: which promises outlived them, which did not, and which no cut has tested. Of a whole journal, or of one
 * cut after its recheck. */
#ifndef FINDINGS_CUT_VIEW_H
#define FINDINGS_CUT_VIEW_H

#include "findings/cut_totals.h"
#include "findings/view.h"
#include "record/cut_load.h"

struct error;
struct pool;
struct run;
struct view_word;

/* run and record outlive the view. 0, or -1 with *err and nothing to release. */
int cut_view(
	struct view *v, const struct run *run, const struct cut_record *record, struct error *err);

/* The same of its last rechecked cut alone. */
int recheck_view(
	struct view *v, const struct run *run, const struct cut_record *record, struct error *err);

extern const struct finding_code cut_codes[];
extern const size_t cut_code_count;

extern const struct table_spec cut_summary_spec, cut_blocks_spec, cut_kinds_spec, cut_cuts_spec,
	cut_damage_spec;

/* What "verdict" of a cut and "duty" of blocks may be: see findings/record_view.h. */
bool cut_word(size_t i, struct view_word *out);

/* ---- rows of those tables ---- */

struct cut_summary_row {
	const struct cut_record *record;
	struct cut_totals totals;
};

struct cut_blocks_row {
	enum recheck_duty duty;
	uint64_t blocks, broken;
};

struct cut_kind_row {
	const char *name;
	uint64_t blocks;
};

struct cut_row {
	const struct cut_cycle *cycle;
	const char *ended; /* in words */
};

struct cut_damage_row {
	uint32_t cut;
	const struct recheck_damage *damage;
};

/* ---- between the files of this kind ---- */

/* "the target stopped answering" */
const char *cut_ending_words(const struct run *run, const struct cut_cycle *c);

void cut_findings_add(struct findings *f, const struct run *run, const struct cut_record *record);

#endif
