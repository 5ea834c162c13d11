/* What a verify means: whether all blocks hold what was written, where they do not and what that usually comes from, and
 * what was not looked at. */
#ifndef FINDINGS_VERIFY_VIEW_H
#define FINDINGS_VERIFY_VIEW_H

#include "findings/verify_shown.h"
#include "findings/view.h"

struct error;
struct view_word;

/* record outlives the view, and its ranges may be reordered. 0, or -1 with *err and nothing to release. */
int verify_view(struct view *v, struct verify_record *record, struct error *err);

extern const struct finding_code verify_codes[];
extern const size_t verify_code_count;

extern const struct table_spec verify_plan_spec, verify_sizes_spec, verify_summary_spec,
	verify_classes_spec, verify_damage_spec, verify_failures_spec, verify_map_spec;

/* What "class" may be: see findings/record_view.h. */
bool verify_class_word(size_t i, struct view_word *out);

/* ---- rows of those tables; a plan is a struct verify_record, a size a uint64_t, damage a struct damage_range ---- */

struct verify_summary {
	const struct verify_record *record;
	uint64_t distinct_blocks; /* judged, each counted once */
	uint64_t capacity_bytes; /* shown; 0: not */
};

struct verify_class_row {
	enum damage_class class;
	uint64_t blocks, judged;
};

struct verify_failure_row {
	enum run_direction direction;
	const struct verify_record_failures *failures;
	const char *why;
};

/* Neighbouring cells of the map that are alike in the classes of damage they hold. */
struct verify_stretch {
	uint64_t offset, bytes, judged, damaged;
	const char *classes; /* with '+' between */
};

/* ---- between the files of this kind ---- */

/* The findings; p: of the record. */
void verify_findings_add(
	struct findings *f, const struct verify_record *record, const struct verify_pattern *p);

/* The map as a table for programs, and as a chart under its heading. */
void verify_map_add(struct view *v, const struct damage_totals *totals);
void verify_map_show(struct view *v, const struct damage_totals *totals);

#endif
