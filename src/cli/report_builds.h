/* Sweeps of several builds in one report: set against each other, besides being shown one by one. */
#ifndef CLI_REPORT_BUILDS_H
#define CLI_REPORT_BUILDS_H

struct error;
struct options;
struct results;

/* When the runs named are sweeps of two labels or more: each later build against the first one, in every form but the
 * CSV. What keeps builds from being compared is a warning; only a failing machine fails. 0, or -1 with *err. */
int report_builds(struct results *r, const struct options *o, struct error *err);

#endif
