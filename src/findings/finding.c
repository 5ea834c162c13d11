/* Findings: collecting them. */
#include "findings/finding.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static struct finding *next(struct findings *f)
{
	if (f->count == f->room) {
		size_t room = f->room ? 2 * f->room : 16;
		struct finding *grown = pool_alloc(f->pool, room, sizeof *grown);

		if (!grown)
			return &f->spare;
		if (f->count)
			memcpy(grown, f->list, f->count * sizeof *grown);
		f->list = grown;
		f->room = room;
	}
	return &f->list[f->count++];
}

/* Memory may have run out: then there is no sentence. */
static bool is_said(const struct findings *f, const char *sentence)
{
	for (size_t i = 0; sentence && i + 1 < f->count; i++)
		if (f->list[i].sentence && !strcmp(f->list[i].sentence, sentence))
			return true;
	return false;
}

struct finding *finding_add(
	struct findings *f, const struct finding_code *code, const char *fmt, ...)
{
	struct finding *one = next(f);
	char sentence[2048];
	va_list args;

	va_start(args, fmt);
	vsnprintf(sentence, sizeof sentence, fmt, args);
	va_end(args);
	*one = (struct finding){ .code = code, .sentence = pool_printf(f->pool, "%s", sentence) };
	one->again = is_said(f, one->sentence);
	return one;
}

void finding_command(struct findings *f, struct finding *one, const char *command)
{
	one->command = pool_printf(f->pool, "%s", command);
	one->again = false;
	finding_figure(one, "command", value_text(one->command));
}

void finding_figure(struct finding *f, const char *key, struct value value)
{
	if (f->figure_count < FINDING_FIGURES_MAX)
		f->figures[f->figure_count++] = (struct figure){ key, value };
}

const char *finding_kind_name(enum finding_kind kind)
{
	return kind == FINDING_CAUTION ? "caution" : "finding";
}
