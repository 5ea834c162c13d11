/* blkassay explain: what a sweep says about link, card and firmware. */
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/kept_warning.h"
#include "cli/message.h"
#include "cli/screen.h"
#include "findings/explain.h"
#include "findings/explain_mix.h"
#include "record/observe.h"
#include "record/run.h"
#include "report/explain_text.h"

static int parse_rate(double *rate, const struct options *o, enum option_id id, struct error *err)
{
	if (!o->given[id])
		return 0;
	if (rate_parse(o->text[id], rate) == 0 && *rate > 0)
		return 0;
	return error_set(err, ERROR_USAGE,
		"--%s '%s' is not a rate; write it like 1.7MB/s or 480kB/s", option_spec(id)->name,
		o->text[id]);
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

static void add_seen(
	struct text *t, const struct run *run, const struct explanation *e, const struct seen *s)
{
	struct explain_mix mix;

	if (!s->given)
		return;
	explain_mix_make(&mix, e, run, &s->observation);
	text_adds(t, "\n");
	explain_mix_text(t, &mix, run, &s->run, &s->observation);
}

static int print_explanation(const struct run *run, const struct explain_known *known,
	const struct seen *seen, struct error *err)
{
	struct text_style style;
	struct explanation e;
	struct text t;
	int rc = 0;

	if (explanation_make(&e, run, known, err) < 0)
		return -1;
	screen_style(&style);
	text_init(&t);
	explain_text_add(&t, run, &e, &style);
	add_seen(&t, run, &e, seen);
	if (t.failed)
		rc = error_set(err, ERROR_IO, "out of memory for the explanation");
	else
		fwrite(t.bytes, 1, t.length, stdout);
	text_release(&t);
	explanation_release(&e);
	return rc;
}

static int explain_one(const char *path, const struct explain_known *known, const struct seen *seen,
	struct error *err)
{
	struct run run;
	int rc = run_load(&run, path, err);

	if (rc < 0)
		return rc;
	if (strcmp(run.head.kind, "sweep") != 0)
		rc = error_set(err, ERROR_USAGE,
			"'%s' is a run of %s; only a sweep can be explained", path, run.head.kind);
	else
		rc = print_explanation(&run, known, seen, err);
	if (!rc)
		kept_warning(&run);
	run_release(&run);
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

	for (size_t i = 0; !rc && i < o->arg_count; i++) {
		if (i)
			putchar('\n');
		rc = explain_one(o->args[i], &known, &seen, &err);
	}
	observation_release(&seen.observation);
	run_release(&seen.run);
	return rc < 0 ? message_error(&err) : 0;
}
