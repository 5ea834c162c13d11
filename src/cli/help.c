/* Help on the screen. */
#include "cli/help.h"

#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "cli/command.h"
#include "cli/options.h"
#include "cli/terminal.h"
#include "report/keys.h"
#include "report/layout.h"

enum { WIDEST = 79, NARROWEST = 40, OVERVIEW_AT = 27, OPTION_AT = 27 };

/* Not wider than the screen, where words still have room to stand beside a column of names. */
static size_t columns(void)
{
	unsigned n = terminal_columns(STDOUT_FILENO);

	return n > WIDEST ? WIDEST : n < NARROWEST ? NARROWEST : n;
}

/* words from the column `at` on, where the line stands already, wrapped under themselves. */
static void print_wrapped(FILE *out, const char *words, size_t at)
{
	struct text t;

	text_init(&t);
	layout_wrap(&t, words, at, at, columns());
	fputs(t.bytes, out);
	text_release(&t);
}

static void print_commands(FILE *out)
{
	for (size_t i = 0; i < command_count; i++) {
		const struct command *c = &commands[i];

		if (strlen(c->arguments) > 15) /* on a line of its own */
			fprintf(out, "  %-9s%s\n%*s", c->name, c->arguments, OVERVIEW_AT, "");
		else
			fprintf(out, "  %-9s%-15s ", c->name, c->arguments);
		print_wrapped(out, c->summary, OVERVIEW_AT);
	}
}

void help_print_overview(FILE *out, bool whole)
{
	fputs("usage: blkassay COMMAND [OPTION...] [ARGUMENT...]\n\n", out);
	print_wrapped(out,
		"Measures and verifies removable media. Nothing is written to a target unless "
		"--erase TOKEN names it, --keep-data saves it, or --create has just made it.",
		0);
	fputc('\n', out);
	print_commands(out);
	fputc('\n', out);
	print_wrapped(out,
		"'blkassay help COMMAND' tells more, 'blkassay COMMAND -h' in short; 'blkassay -V' "
		"tells its version.",
		0);
	if (!whole)
		return;
	fputc('\n', out);
	print_wrapped(out,
		"First steps: 'blkassay targets' shows what is there; 'blkassay sweep /dev/sdX' "
		"measures how fast it reads; 'blkassay explain RECORD' says what limits it. The "
		"manual, blkassay(1), has the rest: blkassay-method(7) how figures are computed, "
		"blkassay-audit(7) and blkassay-cut(7) how promises are tested.",
		0);
	fputc('\n', out);
	print_wrapped(out,
		"Exit status: 0 success, 1 the target or build failed the check, 2 usage or "
		"refused for safety, 3 the I/O or the machine failed, 4 not shown (too little was "
		"tested to say), 130 interrupted.",
		0);
}

static void print_option(FILE *out, const struct command *c, const struct option_spec *s)
{
	char left[40];

	snprintf(left, sizeof left, "--%s%s%s", s->name, s->value ? " " : "",
		s->value ? s->value : "");
	if (strlen(left) > OPTION_AT - 3)
		fprintf(out, "  %s\n%*s", left, OPTION_AT, "");
	else
		fprintf(out, "  %-24s ", left);
	print_wrapped(out, command_option_help(c, s->id), OPTION_AT);
}

static void print_summary(FILE *out, const struct command *c)
{
	size_t n = strlen(c->summary);

	fprintf(out, "usage: blkassay %s [OPTION...]%s%s\n\n%c%s%s\n\n", c->name,
		*c->arguments ? " " : "", c->arguments,
		c->summary[0] >= 'a' && c->summary[0] <= 'z' ? c->summary[0] - 'a' + 'A'
							     : c->summary[0],
		c->summary + 1, c->summary[n - 1] == '?' ? "" : ".");
}

void help_print_command(FILE *out, const struct command *c)
{
	print_summary(out, c);
	print_wrapped(out, c->details, 0);
	fputc('\n', out);
	for (size_t i = 0; c->options[i] != OPTION_END; i++)
		print_option(out, c, option_spec(c->options[i]));
	for (size_t i = 0; options_common[i] != OPTION_END; i++)
		print_option(out, c, option_spec(options_common[i]));
}

/* One word each, so that no line breaks between an option and its value. */
static void add_option(struct text *t, enum option_id id)
{
	const struct option_spec *s = option_spec(id);

	text_addf(t, "%s--%s%s%s", t->length ? " " : "", s->name, s->value ? "=" : "",
		s->value ? s->value : "");
}

void help_print_usage(FILE *out, const struct command *c)
{
	enum { INDENT = 2 };
	struct text t;

	text_init(&t);
	for (size_t i = 0; c->options[i] != OPTION_END; i++)
		add_option(&t, c->options[i]);
	for (size_t i = 0; options_common[i] != OPTION_END; i++)
		add_option(&t, options_common[i]);
	print_summary(out, c);
	fprintf(out, "%*s", INDENT, "");
	print_wrapped(out, t.bytes, INDENT);
	fprintf(out, "\n'blkassay help %s' explains them.\n", c->name);
	text_release(&t);
}

void help_print_keys(FILE *out)
{
	struct text t;

	text_init(&t);
	keys_add(&t);
	fputs(t.bytes, out);
	text_release(&t);
}
