/* The cost line that `explain` fits to each table of a sweep, as numbers:
 *
 *   fit_of RUN...
 *
 * One line a table: t0, its 95 % bounds (s), r, its 95 % bounds (B/s), doubts (cost.h), worst residual. */
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "findings/explain.h"

static int print_fits(const char *path)
{
	struct explain_known known = { .usual_bytes = 4096 };
	struct explanation e;
	struct error err = { 0 };
	struct run run;

	if (run_load(&run, path, &err) < 0 || explanation_make(&e, &run, &known, &err) < 0) {
		fprintf(stderr, "fit_of: %s\n", err.text);
		return 3;
	}
	for (size_t i = 0; i < e.count; i++) {
		const struct cost_line *l = &e.tables[i].line;

		printf("%.9g\t%.9g\t%.9g\t%.9g\t%.9g\t%.9g\t%u\t%.4f\n", l->fixed_s,
			l->fixed_bounds.low, l->fixed_bounds.high, l->rate, l->rate_bounds.low,
			l->rate_bounds.high, l->doubts, l->worst);
	}
	explanation_release(&e);
	run_release(&run);
	return 0;
}

int main(int argc, char **argv)
{
	int rc = argc < 2 ? 2 : 0;

	for (int i = 1; i < argc && !rc; i++)
		rc = print_fits(argv[i]);
	return rc;
}
