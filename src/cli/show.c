/* A run's summary on standard output. */
#include "cli/show.h"

#include <stdio.h>

#include "base/text.h"
#include "cli/screen.h"
#include "record/run.h"

int show_summary(const struct run *run, struct error *err)
{
	struct summary_style style;
	struct text t;
	int rc;

	screen_style(&style);
	text_init(&t);
	rc = summary_add(&t, run, &style, err);
	if (!rc)
		fwrite(t.bytes, 1, t.length, stdout);
	text_release(&t);
	return rc;
}

int show_record(const char *path, struct error *err)
{
	struct run run;
	int rc = run_load(&run, path, err);

	if (rc < 0)
		return rc;
	rc = show_summary(&run, err);
	run_release(&run);
	return rc;
}
