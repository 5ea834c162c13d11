/* Where the results of a command go: text to standard output, and the files asked for with --csv, --page and --json. */
#ifndef CLI_RESULTS_H
#define CLI_RESULTS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"
#include "cli/whole_file.h"

struct error;
struct options;
struct out_path_target;
struct session;
struct view;

struct results {
	struct whole_file csv, page, json;
	bool any_file, to_stdout; /* what was asked for */
	bool wants_text;
	bool several; /* runs were named */
	char csv_kind[32]; /* of the rows in the CSV so far */
	size_t shown; /* views so far */
	bool page_begun;
	struct text text; /* scratch */
};

/* Opens what was asked for, before anything is measured. report: text comes only when no file was asked for. 0, or -1 with
 * *err and nothing to release. */
int results_open(struct results *r, const struct options *o, struct error *err);

/* The same for a run on a target: text comes too, but where a file is standard output; files that are the target or would
 * lie on it, or are the run's record, are refused. */
int results_open_on(struct results *r, const struct options *o, const char *record,
	const struct out_path_target *target, struct error *err);
int results_open_in(struct results *r, const struct options *o, const char *record,
	const struct session *s, struct error *err);

/* Draws a view wherever it is wanted. 0, or -1 with *err. */
int results_show(struct results *r, const struct view *v, struct error *err);

/* The same, but for the CSV: its rows are those of other views. */
int results_show_beside(struct results *r, const struct view *v, struct error *err);

/* The same of a record, read again: what was kept, not what was meant. */
int results_show_record(struct results *r, const char *path, struct error *err);

/* The end of a run: its record is shown, also of one cut short, if there is one at all, and the files are put in their
 * places; nothing of either after a refusal (2): a record of that name is another run's. Returns the exit status: `status`, or that of a failure to show when all went well until then. Releases r. */
int results_end(struct results *r, const char *path, int status);

/* Puts the files in their places. 0, or -1 with *err. */
int results_finish(struct results *r, struct error *err);

/* Drops what is not finished. */
void results_release(struct results *r);

#endif
