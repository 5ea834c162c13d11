/* blkassay compare: is the new build faster, slower, or not shown to differ. */
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/message.h"
#include "cli/result_file.h"
#include "cli/screen.h"
#include "findings/compare.h"
#include "report/compare_text.h"
#include "report/page.h"
#include "report/page_compare.h"

static int check_sides(const struct options *o, struct error *err)
{
	if (!o->given[OPTION_AGAINST])
		return error_set(err, ERROR_USAGE,
			"compare needs two sides: compare BASE... --against NEW...");
	if (!o->against)
		return error_set(
			err, ERROR_USAGE, "no run of the base before --against; put it there");
	if (o->against == o->arg_count)
		return error_set(
			err, ERROR_USAGE, "no run of the new build after --against; put it there");
	return 0;
}

static int parse_gate(struct gate_request *gate, const struct options *o, struct error *err)
{
	double percent;

	*gate = (struct gate_request){ .given = o->given[OPTION_ALLOW_SLOWER] };
	if (!gate->given)
		return 0;
	if (number_parse_decimal(o->text[OPTION_ALLOW_SLOWER], &percent) < 0 || percent >= 100)
		return error_set(err, ERROR_USAGE,
			"--allow-slower '%s' is not a percentage below 100; write it like 5 or 2.5",
			o->text[OPTION_ALLOW_SLOWER]);
	gate->allowed = percent / 100;
	return 0;
}

static int take_runs(struct compared *c, const struct options *o, struct error *err)
{
	for (size_t i = 0; i < o->arg_count; i++) {
		enum compare_side side = i < o->against ? COMPARE_BASE : COMPARE_NEW;

		if (compared_take(c, side, o->args[i], err) < 0)
			return -1;
	}
	return compared_finish(c, err);
}

static int write_text(const struct text *t, FILE *file)
{
	return fwrite(t->bytes, 1, t->length, file) == t->length ? 0 : -1;
}

/* One result to its file: whole, or not at all. */
static int write_result(struct text *t, const char *path, struct error *err)
{
	struct result_file file;
	int rc = result_file_open(&file, path, err);

	if (!rc)
		rc = result_file_write(&file, t, err);
	if (!rc)
		rc = result_file_finish(&file, err);
	result_file_drop(&file);
	text_release(t);
	return rc;
}

static int write_csv(const struct compared *c, const char *path, struct error *err)
{
	struct text t;

	text_init(&t);
	compare_csv_add(&t, c);
	return write_result(&t, path, err);
}

static int write_page(const struct compared *c, const char *path, struct error *err)
{
	struct text t;

	text_init(&t);
	page_begin(&t, "Comparison of two builds");
	page_heading(&t, "Comparison of two builds");
	page_add_comparison(&t, c);
	page_end(&t);
	return write_result(&t, path, err);
}

static int print_text(const struct compared *c, const struct gate_request *gate, struct error *err)
{
	struct text_style style;
	struct text t;
	int rc = 0;

	screen_style(&style);
	text_init(&t);
	compare_text_add(&t, c, gate, &style);
	if (t.failed)
		rc = error_set(err, ERROR_IO, "out of memory for the comparison");
	else
		write_text(&t, stdout); /* the dispatcher checks stdout */
	text_release(&t);
	return rc;
}

static int compare(
	struct compared *c, struct gate_request *gate, const struct options *o, struct error *err)
{
	const char *csv = options_text(o, OPTION_CSV_FILE, NULL);

	if (take_runs(c, o, err) < 0)
		return -1;
	if (gate->given && compared_gate(c, gate->allowed, &gate->result, err) < 0)
		return -1;
	if (csv && write_csv(c, csv, err) < 0)
		return -1;
	if (o->given[OPTION_PAGE] && write_page(c, o->text[OPTION_PAGE], err) < 0)
		return -1;
	return csv && !strcmp(csv, "-") ? 0 : print_text(c, gate, err);
}

static int gate_status(enum compare_answer answer)
{
	return answer == COMPARE_PASSED ? 0 : answer == COMPARE_FAILED ? 1 : 4;
}

int cmd_compare(const struct options *o)
{
	struct gate_request gate;
	struct compared c;
	struct error err = { 0 };
	int rc;

	if (check_sides(o, &err) < 0 || parse_gate(&gate, o, &err) < 0)
		return message_error(&err);
	compared_init(&c, o->against, o->arg_count - o->against, o->given[OPTION_ANYWAY]);
	rc = compare(&c, &gate, o, &err);
	compared_release(&c);
	if (rc < 0)
		return message_error(&err);
	return gate.given ? gate_status(gate.result.answer) : 0;
}
