/* A record's view, whatever its kind: reading it, making what it means. */
#ifndef FINDINGS_RECORD_VIEW_H
#define FINDINGS_RECORD_VIEW_H

#include "findings/view.h"

struct error;

/* Reads the record; the view owns what it holds. 0, or -1 with *err and nothing to release: cannot be read, or is of a
 * kind that has no view. */
int record_view(struct view *v, const char *path, struct error *err);

/* One row a kind of view, of runs and of what is made from several: what blkassay-json(5) lists. */
struct view_kind {
	const char *kind;
	const char *record; /* the kind of its records; NULL: the same */
	const char *meaning;
	const struct finding_code *codes; /* verdicts among them */
	const size_t *code_count;
	const struct table_spec *const *tables;
	size_t table_count;
	bool of_any_run; /* may also hold run_finding_codes */
	bool (*word)(size_t i, struct view_word *out); /* the i-th; false: no more. NULL: none */
	/* NULL: not of one record. */
	int (*load)(struct view *v, const char *path, struct error *err);
};

extern const struct view_kind view_kinds[];
extern const size_t view_kind_count;

#endif
