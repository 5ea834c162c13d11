/* Builds of a report set against each other. */
#include "cli/report_builds.h"

#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "cli/message.h"
#include "cli/options.h"
#include "cli/results.h"
#include "findings/compared.h"
#include "findings/view.h"
#include "record/run.h"

enum { RUNS_MAX = 64 }; /* as the command table allows */

struct builds {
	char labels[RUNS_MAX][sizeof((struct run_head *)0)->label];
	size_t count;
	int of[RUNS_MAX]; /* by run; -1: no sweep */
};

static int note(struct builds *b, const char *label)
{
	size_t i = 0;

	while (i < b->count && strcmp(b->labels[i], label) != 0)
		i++;
	if (i == b->count)
		text_copy(b->labels[b->count++], sizeof b->labels[0], label);
	return (int)i;
}

/* Which sweep belongs to which build has to be known before the first of them is shown. */
static int note_all(struct builds *b, const struct options *o, struct error *err)
{
	for (size_t i = 0; i < o->arg_count; i++) {
		struct run run;

		b->of[i] = -1;
		if (run_load(&run, o->args[i], err) < 0)
			return -1;
		if (!strcmp(run.head.kind, "sweep"))
			b->of[i] = note(b, run.head.label);
		run_release(&run);
	}
	return 0;
}

static size_t runs_of(const struct builds *b, const struct options *o, int build)
{
	size_t n = 0;

	for (size_t i = 0; i < o->arg_count; i++)
		n += b->of[i] == build;
	return n;
}

static int take_build(struct compared *c, enum compare_side side, const struct builds *b,
	const struct options *o, int build, struct error *err)
{
	for (size_t i = 0; i < o->arg_count; i++)
		if (b->of[i] == build && compared_take(c, side, o->args[i], err) < 0)
			return -1;
	return 0;
}

static int show(struct results *r, const struct compared *c, struct error *err)
{
	struct gate_request none = { 0 };
	struct view v;
	int rc = compare_view(&v, c, &none, err);

	if (rc < 0)
		return rc;
	rc = results_show_beside(r, &v, err);
	view_release(&v);
	return rc;
}

static int compare_build(struct results *r, const struct builds *b, const struct options *o,
	int build, struct error *err)
{
	struct compared c;
	int rc = 0;

	compared_init(&c, runs_of(b, o, 0), runs_of(b, o, build), true);
	if (take_build(&c, COMPARE_BASE, b, o, 0, err) < 0 ||
		take_build(&c, COMPARE_NEW, b, o, build, err) < 0 || compared_finish(&c, err) < 0 ||
		show(r, &c, err) < 0)
		rc = -1;
	compared_release(&c);
	if (!rc || err->kind == ERROR_IO)
		return rc;
	message_warning(
		"'%s' and '%s' are not compared: %s", b->labels[0], b->labels[build], err->text);
	*err = (struct error){ 0 };
	return 0;
}

int report_builds(struct results *r, const struct options *o, struct error *err)
{
	struct builds b = { 0 };

	if (o->arg_count < 2)
		return 0;
	if (note_all(&b, o, err) < 0)
		return -1;
	for (size_t i = 1; i < b.count; i++)
		if (compare_build(r, &b, o, (int)i, err) < 0)
			return -1;
	return 0;
}
