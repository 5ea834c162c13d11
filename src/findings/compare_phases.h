/* Which phase of requests changed between two builds: its table and its sentences. */
#ifndef FINDINGS_COMPARE_PHASES_H
#define FINDINGS_COMPARE_PHASES_H

#include "findings/finding.h"
#include "findings/phase_replicates.h"
#include "findings/table.h"

struct compare_point;
struct compared;

struct compare_phase_row {
	const struct compare_point *point;
	struct phase_change change;
};

extern const struct table_spec compare_phases_spec;

/* Rows of the points from first to end in which phases were seen on both sides. */
struct table compare_phases_table(
	struct pool *p, const struct compared *c, size_t first, size_t end);

/* One sentence a direction and order, at the largest request that is shown to be faster or slower. */
void compare_phases_add(
	struct findings *f, const struct compared *c, const struct finding_code *code);

#endif
