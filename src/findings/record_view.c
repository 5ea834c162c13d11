/* A record's view, whatever its kind. */
#include "findings/record_view.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "findings/audit_view.h"
#include "findings/compare_phases.h"
#include "findings/compared.h"
#include "findings/cut_view.h"
#include "findings/explain_view.h"
#include "findings/observe_view.h"
#include "findings/phase_tables.h"
#include "findings/sweep_view.h"
#include "findings/targets_view.h"
#include "findings/verify_view.h"
#include "record/audit_lines.h"
#include "record/file.h"
#include "record/run.h"

/* ---- one loader a kind ---- */

/* The view holds what it was made from. 0, or -1 with *err and both released. */
static int keep(struct view *v, void (*release)(void *what), void *what, struct error *err)
{
	pool_own(&v->pool, release, what);
	return view_end(v, err);
}

static void release_run(void *what)
{
	run_release(what);
	free(what);
}

static int load_sweep(struct view *v, const char *path, struct error *err)
{
	struct run *run = calloc(1, sizeof *run);

	if (!run)
		return error_set(err, ERROR_IO, "out of memory for '%s'", path);
	if (run_load(run, path, err) < 0 || sweep_view(v, run, err) < 0) {
		release_run(run);
		return -1;
	}
	return keep(v, release_run, run, err);
}

struct observed {
	struct run run;
	struct observation seen;
};

static void release_observed(void *what)
{
	struct observed *o = what;

	observation_release(&o->seen);
	run_release(&o->run);
	free(o);
}

static int load_observe(struct view *v, const char *path, struct error *err)
{
	struct observed *o = calloc(1, sizeof *o);

	if (!o)
		return error_set(err, ERROR_IO, "out of memory for '%s'", path);
	if (observe_load(&o->run, &o->seen, path, err) < 0 ||
		observe_view(v, &o->run, &o->seen, err) < 0) {
		release_observed(o);
		return -1;
	}
	return keep(v, release_observed, o, err);
}

static void release_verify(void *what)
{
	verify_record_release(what);
	free(what);
}

static int load_verify(struct view *v, const char *path, struct error *err)
{
	struct verify_record *r = calloc(1, sizeof *r);

	if (!r)
		return error_set(err, ERROR_IO, "out of memory for '%s'", path);
	if (verify_load(r, path, err) < 0) {
		free(r);
		return -1;
	}
	if (verify_view(v, r, err) < 0) {
		release_verify(r);
		return -1;
	}
	return keep(v, release_verify, r, err);
}

struct audited {
	struct run run;
	struct promises promises;
};

static void release_audited(void *what)
{
	struct audited *a = what;

	run_release(&a->run);
	free(a);
}

static int load_audit(struct view *v, const char *path, struct error *err)
{
	struct audited *a = calloc(1, sizeof *a);

	if (!a)
		return error_set(err, ERROR_IO, "out of memory for '%s'", path);
	if (run_load(&a->run, path, err) < 0) {
		free(a);
		return -1;
	}
	if (audit_load(&a->promises, path, err) < 0 ||
		audit_view(v, &a->run, &a->promises, err) < 0) {
		release_audited(a);
		return -1;
	}
	return keep(v, release_audited, a, err);
}

struct cuts {
	struct run run;
	struct cut_record record;
};

static void release_cuts(void *what)
{
	struct cuts *c = what;

	cut_record_release(&c->record);
	run_release(&c->run);
	free(c);
}

static int load_cuts(struct view *v, const char *path, struct error *err)
{
	struct cuts *c = calloc(1, sizeof *c);

	if (!c)
		return error_set(err, ERROR_IO, "out of memory for '%s'", path);
	if (run_load(&c->run, path, err) < 0) {
		free(c);
		return -1;
	}
	if (cut_load(&c->record, path, err) < 0 || cut_view(v, &c->run, &c->record, err) < 0) {
		release_cuts(c);
		return -1;
	}
	return keep(v, release_cuts, c, err);
}

/* ---- kinds ---- */

static const struct table_spec *const sweep_tables[] = {
	&sweep_plan_spec,
	&sweep_points_spec,
	&phases_spec,
	&sweep_times_spec,
	&sweep_stretches_spec,
	&sweep_passes_spec,
};

static const struct table_spec *const compare_tables[] = {
	&compare_summary_spec,
	&compare_points_spec,
	&compare_phases_spec,
};

static const struct table_spec *const explain_tables[] = {
	&explain_tables_spec,
	&explain_parts_spec,
	&explain_stages_spec,
	&explain_points_spec,
	&explain_copies_spec,
	&explain_mix_spec,
};

static const struct table_spec *const verify_tables[] = {
	&verify_plan_spec,
	&verify_sizes_spec,
	&verify_summary_spec,
	&verify_failures_spec,
	&verify_classes_spec,
	&verify_damage_spec,
	&verify_map_spec,
};

static const struct table_spec *const audit_tables[] = {
	&audit_summary_spec,
	&audit_promises_spec,
};

static const struct table_spec *const cut_tables[] = {
	&cut_summary_spec,
	&cut_blocks_spec,
	&cut_kinds_spec,
	&cut_cuts_spec,
	&cut_damage_spec,
};

static const struct table_spec *const observe_tables[] = {
	&observe_totals_spec,
	&observe_seconds_spec,
	&observe_sizes_spec,
	&observe_times_spec,
	&observe_commands_spec,
};

static const struct table_spec *const targets_tables[] = {
	&targets_spec,
};

#define TABLES(array) .tables = (array), .table_count = sizeof(array) / sizeof *(array)

const struct view_kind view_kinds[] = {
	{ .kind = "targets",
		.meaning = "what may be tested here",
		.codes = targets_codes,
		.code_count = &targets_code_count,
		TABLES(targets_tables) },
	{ .kind = "sweep",
		.meaning = "rates against request size",
		.codes = sweep_codes,
		.code_count = &sweep_code_count,
		TABLES(sweep_tables),
		.of_any_run = true,
		.word = sweep_flag_word,
		.load = load_sweep },
	{ .kind = "verify",
		.meaning = "whether blocks hold what was written to them",
		.codes = verify_codes,
		.code_count = &verify_code_count,
		TABLES(verify_tables),
		.of_any_run = true,
		.word = verify_class_word,
		.load = load_verify },
	{ .kind = "audit",
		.meaning = "what a gadget claims about its writes against what it does",
		.codes = audit_codes,
		.code_count = &audit_code_count,
		TABLES(audit_tables),
		.of_any_run = true,
		.word = audit_word,
		.load = load_audit },
	{ .kind = "cut",
		.record = "journal",
		.meaning = "which promises outlived cuts of the power, of a whole journal",
		.codes = cut_codes,
		.code_count = &cut_code_count,
		TABLES(cut_tables),
		.of_any_run = true,
		.word = cut_word,
		.load = load_cuts },
	{ .kind = "recheck",
		.meaning = "the same of the cut that was rechecked",
		.codes = cut_codes,
		.code_count = &cut_code_count,
		TABLES(cut_tables),
		.of_any_run = true,
		.word = cut_word },
	{ .kind = "observe",
		.meaning = "what the host sent, as observe saw it",
		.codes = observe_codes,
		.code_count = &observe_code_count,
		TABLES(observe_tables),
		.of_any_run = true,
		.load = load_observe },
	{ .kind = "explain",
		.meaning = "what limits a sweep, and what a change could gain",
		.codes = explain_codes,
		.code_count = &explain_code_count,
		TABLES(explain_tables),
		.of_any_run = true },
	{ .kind = "compare",
		.meaning = "sweeps of two builds set against each other",
		.codes = compare_codes,
		.code_count = &compare_code_count,
		TABLES(compare_tables) },
};

const size_t view_kind_count = sizeof view_kinds / sizeof *view_kinds;

static const char *record_of(const struct view_kind *k)
{
	return k->record ? k->record : k->kind;
}

/* NULL: no view of one record has that name. */
static const struct view_kind *find_kind(const char *kind)
{
	for (size_t i = 0; i < view_kind_count; i++)
		if (view_kinds[i].load && !strcmp(record_of(&view_kinds[i]), kind))
			return &view_kinds[i];
	return NULL;
}

/* The line "run", one of the first, names the kind. 0, or -1 with *err. */
static int read_kind(char kind[16], const char *path, struct error *err)
{
	struct record_reader reader;
	struct run run = { 0 };
	struct line line;
	int rc = 1;

	if (record_open(&reader, path, err) < 0)
		return -1;
	while (!*run.head.kind && (rc = record_next(&reader, &line, err)) > 0)
		if (!strcmp(line.kind, "run"))
			run_take_line(&run, &line, NULL);
	record_reader_release(&reader);
	text_copy(kind, sizeof run.head.kind, run.head.kind);
	if (!*kind && !rc)
		return error_set(err, ERROR_USAGE,
			"'%s' holds no run: it was cut before the run began", path);
	return *kind ? 0 : -1;
}

int record_view(struct view *v, const char *path, struct error *err)
{
	const struct view_kind *found;
	char kind[16];

	if (read_kind(kind, path, err) < 0)
		return -1;
	found = find_kind(kind);
	if (!found)
		return error_set(err, ERROR_USAGE,
			"'%s' is a record of kind '%s', which this version cannot show", path,
			kind);
	return found->load(v, path, err);
}
