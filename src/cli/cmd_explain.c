/* blkassay explain: what a sweep says about link, card and firmware. */
#include <string.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/kept_warning.h"
#include "cli/message.h"
#include "cli/new_file.h"
#include "cli/results.h"
#include "findings/explain.h"
#include "findings/explain_model.h"
#include "findings/explain_view.h"
#include "record/observe_lines.h"
#include "record/run.h"

static int parse_rate(double *rate, const struct options *o, enum option_id id, struct error *err)
{
	if (!o->given[id])
		return 0;
	if (rate_parse(o->text[id], rate) == 0 && *rate > 0)
		return 0;
	return error_set(err, ERROR_USAGE,
		"--%s '%s' is no rate with its unit; write it like 1.7MB/s or 480kB/s",
		option_spec(id)->name, o->text[id]);
}

static int parse_known(struct explain_known *k, const struct options *o, struct error *err)
{
	*k = (struct explain_known){ .usual_bytes = options_number(o, OPTION_REQUEST, 4096),
		.copy_bytes = options_number(o, OPTION_COPY, 0) };
	if (parse_rate(&k->link, o, OPTION_LINK, err) < 0 ||
		parse_rate(&k->card[RUN_READ], o, OPTION_CARD_READ, err) < 0 ||
		parse_rate(&k->card[RUN_WRITE], o, OPTION_CARD_WRITE, err) < 0)
		return -1;
	return o->given[OPTION_CARD_BUS] ? card_bus_parse(&k->bus, o->text[OPTION_CARD_BUS], err)
					 : 0;
}

/* --as: the observation and its mix. */
struct seen {
	struct run run;
	struct observation observation;
	bool given;
};

static int load_seen(struct seen *s, const struct options *o, struct error *err)
{
	char damage[RUN_DAMAGE_MAX];

	*s = (struct seen){ .given = o->given[OPTION_AS] };
	if (!s->given)
		return 0;
	if (observe_load(&s->run, &s->observation, o->text[OPTION_AS], err) < 0)
		return -1;
	if (run_damage_words(damage, &s->run))
		message_warning("'%s': %s", o->text[OPTION_AS], damage);
	return 0;
}

static int write_model(
	const char *path, const struct run *run, const struct explanation *e, struct error *err)
{
	struct text t, unknown;
	int rc;

	text_init(&t);
	text_init(&unknown);
	rc = explain_model_text(&t, &unknown, run, e, err);
	if (!rc)
		rc = new_file_write(path, t.bytes, t.length, err);
	if (!rc)
		message_note("model written to %s%s%s", path, unknown.length ? "; not known: " : "",
			unknown.length ? unknown.bytes : "");
	text_release(&unknown);
	text_release(&t);
	return rc;
}

static int show(struct results *r, const struct run *run, const struct explain_known *known,
	const struct seen *seen, const char *model, struct error *err)
{
	struct explain_seen with = { &seen->run, &seen->observation };
	struct explanation e;
	struct view v = { 0 };
	int rc;

	if (explanation_make(&e, run, known, err) < 0)
		return -1;
	rc = model ? write_model(model, run, &e, err) : 0;
	if (!rc)
		rc = explain_view(&v, run, &e, seen->given ? &with : NULL, err);
	if (!rc) {
		rc = results_show(r, &v, err);
		view_release(&v);
	}
	explanation_release(&e);
	return rc;
}

static int explain_one(struct results *r, const char *path, const struct explain_known *known,
	const struct seen *seen, const char *model, struct error *err)
{
	struct run run;
	int rc = run_load(&run, path, err);

	if (rc < 0)
		return rc;
	if (strcmp(run.head.kind, "sweep") != 0)
		rc = error_set(err, ERROR_USAGE, "'%s' is %s; only a sweep can be explained", path,
			run_kind_words(run.head.kind));
	else
		rc = show(r, &run, known, seen, model, err);
	run_release(&run);
	return rc;
}

static int explain_all(const struct options *o, const struct explain_known *known,
	const struct seen *seen, struct error *err)
{
	const char *model = options_text(o, OPTION_MODEL, NULL);
	struct results results;
	int rc;

	if (model && o->arg_count > 1)
		return error_set(err, ERROR_USAGE, "--model takes one run; name one");
	rc = results_open(&results, o, err);
	if (rc < 0)
		return rc;
	for (size_t i = 0; !rc && i < o->arg_count; i++)
		rc = explain_one(&results, o->args[i], known, seen, model, err);
	for (size_t i = 0; !rc && !results.wants_text && i < o->arg_count; i++)
		kept_warning_of(o->args[i]);
	if (!rc)
		rc = results_finish(&results, err);
	results_release(&results);
	return rc;
}

int cmd_explain(const struct options *o)
{
	struct explain_known known;
	struct error err = { 0 };
	struct seen seen = { 0 };
	int rc = parse_known(&known, o, &err);

	if (!rc)
		rc = load_seen(&seen, o, &err);
	if (!rc)
		rc = explain_all(o, &known, &seen, &err);
	observation_release(&seen.observation);
	run_release(&seen.run);
	return rc < 0 ? message_error(&err) : 0;
}
