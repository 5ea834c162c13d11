/* blkassay compare: is the new build faster, slower, or not shown to differ. */
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "cli/command.h"
#include "cli/kept_warning.h"
#include "cli/message.h"
#include "cli/results.h"
#include "findings/compared.h"
#include "findings/view.h"

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

static int show(struct results *r, const struct compared *c, const struct gate_request *gate,
	struct error *err)
{
	struct view v;
	int rc = compare_view(&v, c, gate, err);

	if (rc < 0)
		return rc;
	rc = results_show(r, &v, err);
	view_release(&v);
	return rc < 0 ? rc : results_finish(r, err);
}

static int compare(struct compared *c, struct gate_request *gate, const struct options *o,
	struct results *r, struct error *err)
{
	if (take_runs(c, o, err) < 0)
		return -1;
	if (gate->given && compared_gate(c, gate, err) < 0)
		return -1;
	return show(r, c, gate, err);
}

static int gate_status(enum compare_answer answer)
{
	return answer == COMPARE_PASSED ? 0 : answer == COMPARE_FAILED ? 1 : 4;
}

int cmd_compare(const struct options *o)
{
	struct gate_request gate;
	struct results results;
	struct compared c;
	struct error err = { 0 };
	int rc;

	if (check_sides(o, &err) < 0 || parse_gate(&gate, o, &err) < 0 ||
		results_open(&results, o, &err) < 0)
		return message_error(&err);
	compared_init(&c, o->against, o->arg_count - o->against, o->given[OPTION_ANYWAY]);
	rc = compare(&c, &gate, o, &results, &err);
	compared_release(&c);
	results_release(&results);
	for (size_t i = 0; !rc && i < o->arg_count; i++)
		kept_warning_of(o->args[i]);
	if (rc < 0)
		return message_error(&err);
	return gate.given ? gate_status(gate.result.answer) : 0;
}
