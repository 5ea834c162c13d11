/* Where the results of a command go: text to standard output, and the files asked for with --csv, --page and --json. */
#ifndef CLI_RESULTS_H
#define CLI_RESULTS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"
#include "cli/result_file.h"

struct blockdev;
struct error;
struct options;
struct view;

struct results {
	struct result_file csv, page, json;
	bool wants_text;
	char csv_kind[32]; /* of the rows in the CSV so far */
	size_t shown; /* views so far */
	bool page_begun;
	struct text text; /* scratch */
};

enum results_text {
	RESULTS_TEXT_ALWAYS, /* but where a file is standard output */
	RESULTS_TEXT_ALONE, /* only when no file was asked for */
};

/* Refuses files that would lie on the target, before they are opened; see output_check_target. 0, or -1 with *err. */
int results_check_target(const struct options *o, const struct blockdev *device, const char *target,
	struct error *err);

/* Opens what was asked for, before anything is measured. 0, or -1 with *err and nothing to release. */
int results_open(
	struct results *r, const struct options *o, enum results_text text, struct error *err);

/* Draws a view wherever it is wanted. 0, or -1 with *err. */
int results_show(struct results *r, const struct view *v, struct error *err);

/* The same of a record, read again: what was kept, not what was meant. */
int results_show_record(struct results *r, const char *path, struct error *err);

/* Puts the files in their places. 0, or -1 with *err. */
int results_finish(struct results *r, struct error *err);

/* Drops what is not finished. */
void results_release(struct results *r);

#endif
