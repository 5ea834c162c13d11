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
	return one;
}

void finding_command(struct findings *f, struct finding *one, const char *command)
{
	one->command = pool_printf(f->pool, "%s", command);
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
