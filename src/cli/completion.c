/* Completion scripts for bash, zsh and fish. */
#include "cli/completion.h"

#include <string.h>

#include "base/promise.h"
#include "cli/command.h"
#include "cli/options.h"

/* Values worth offering; other options that take files offer them, the rest nothing. */
static const struct {
	enum option_id id;
	const char *words;
} values[] = {
	{ OPTION_DIRECTION, "read write read,write" },
	{ OPTION_ORDER, "sequential random sequential,random" },
	{ OPTION_ONLY, "write read" },
	{ OPTION_CARD_BUS, "spi:20MHz sd1:25MHz sd4:50MHz sd4ddr:50MHz mmc8:52MHz" },
	{ OPTION_COLOR, "auto always never" },
};

static const char *promise_names(void)
{
	static char names[512];
	size_t n = 0;

	for (int i = 0; i < PROMISE_IDS; i++)
		n += (size_t)snprintf(names + n, sizeof names - n, "%s%s", i ? " " : "",
			promise_row((enum promise_id)i)->name);
	return names;
}

static const char *value_words(const struct command *c, enum option_id id)
{
	if (id == OPTION_ONLY && !strcmp(c->name, "audit"))
		return promise_names();
	for (size_t i = 0; i < sizeof values / sizeof *values; i++)
		if (values[i].id == id)
			return values[i].words;
	return NULL;
}

static bool takes_file(const struct option_spec *s)
{
	static const char *const files[] = { "FILE", "RUN", "RECORD" };

	for (size_t i = 0; s->value && i < sizeof files / sizeof *files; i++)
		if (!strcmp(s->value, files[i]))
			return true;
	return false;
}

typedef void option_visitor(FILE *out, const struct command *c, const struct option_spec *s);

/* The options of a command, those of every command last as in its help. */
static void visit_options(FILE *out, const struct command *c, option_visitor *visit)
{
	for (size_t i = 0; c->options[i] != OPTION_END; i++)
		visit(out, c, option_spec(c->options[i]));
	for (size_t i = 0; options_common[i] != OPTION_END; i++)
		visit(out, c, option_spec(options_common[i]));
}

static void print_command_names(FILE *out)
{
	for (size_t i = 0; i < command_count; i++)
		fprintf(out, "%s ", commands[i].name);
}

/* s with a backslash before each of `special`, and as a single-quoted shell word's inside. */
static void print_escaped(FILE *out, const char *s, const char *special)
{
	for (; *s; s++) {
		if (*s == '\'')
			fputs("'\\''", out);
		else if (strchr(special, *s))
			fprintf(out, "\\%c", *s);
		else
			fputc(*s, out);
	}
}

/* ---- bash ---- */

static void bash_option(FILE *out, const struct command *c, const struct option_spec *s)
{
	(void)c;
	fprintf(out, "--%s ", s->name);
}

static void bash_value(FILE *out, const struct command *c, const struct option_spec *s)
{
	const char *words = value_words(c, s->id);

	if (!s->value || takes_file(s)) /* files are what readline offers by itself */
		return;
	fprintf(out, "\t%s:--%s) ", c->name, s->name);
	if (words)
		fprintf(out, "COMPREPLY=($(compgen -W \"%s\" -- \"$word\")); return ;;\n", words);
	else
		fputs("compopt +o default; return ;;\n", out);
}

static void bash_file(FILE *out, const struct command *c, const struct option_spec *s)
{
	if (takes_file(s))
		fprintf(out, "\t%s:--%s) return ;;\n", c->name, s->name);
}

static void print_bash(FILE *out)
{
	fputs("# Completion of blkassay for bash, made by 'blkassay help --completion bash'.\n"
	      "_blkassay()\n{\n"
	      "\tlocal word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}\n"
	      "\tlocal command=${COMP_WORDS[1]} options=\n\tCOMPREPLY=()\n"
	      "\tif [ \"$COMP_CWORD\" = 1 ]; then\n\t\tcompopt +o default\n"
	      "\t\tCOMPREPLY=($(compgen -W \"",
		out);
	print_command_names(out);
	fputs("help --help --version -V\" -- \"$word\"))\n\t\treturn\n\tfi\n"
	      "\tcase $command:$before in\n",
		out);
	for (size_t i = 0; i < command_count; i++) {
		visit_options(out, &commands[i], bash_value);
		visit_options(out, &commands[i], bash_file);
	}
	fputs("\thelp:--completion) COMPREPLY=($(compgen -W \"bash zsh fish\" -- \"$word\")); "
	      "return ;;\n\tesac\n\tcase $command in\n",
		out);
	for (size_t i = 0; i < command_count; i++) {
		fprintf(out, "\t%s) options=\"", commands[i].name);
		visit_options(out, &commands[i], bash_option);
		fputs("\" ;;\n", out);
	}
	fputs("\thelp) compopt +o default; COMPREPLY=($(compgen -W \"", out);
	print_command_names(out);
	fputs("--completion\" -- \"$word\")); return ;;\n\tesac\n"
	      "\tcase $word in\n"
	      "\t-*) COMPREPLY=($(compgen -W \"$options\" -- \"$word\")) ;;\n\tesac\n}\n"
	      "complete -o default -F _blkassay blkassay\n",
		out);
}

/* ---- zsh ---- */

static void zsh_option(FILE *out, const struct command *c, const struct option_spec *s)
{
	const char *words = value_words(c, s->id);

	fprintf(out, " \\\n\t\t'--%s%s[", s->name, s->value ? "=" : "");
	print_escaped(out, command_option_help(c, s->id), "[]:");
	fputc(']', out);
	if (s->value) {
		fputc(':', out);
		print_escaped(out, s->value, ":");
		fputs(words ? ":(" : takes_file(s) ? ":_files" : ":", out);
		print_escaped(out, words ? words : "", ":");
		fputs(words ? ")" : "", out);
	}
	fputc('\'', out);
}

static void print_zsh(FILE *out)
{
	fputs("#compdef blkassay\n"
	      "# Completion of blkassay for zsh, made by 'blkassay help --completion zsh'.\n"
	      "_blkassay()\n{\n\tlocal -a commands\n\tcommands=(\n",
		out);
	for (size_t i = 0; i < command_count; i++) {
		fprintf(out, "\t\t'%s:", commands[i].name);
		print_escaped(out, commands[i].summary, "");
		fputs("'\n", out);
	}
	fputs("\t\t'help:what there is'\n\t)\n\tif (( CURRENT == 2 )); then\n"
	      "\t\t_describe command commands\n\t\treturn\n\tfi\n"
	      "\tcase $words[2] in\n",
		out);
	for (size_t i = 0; i < command_count; i++) {
		fprintf(out, "\t%s) shift words; (( CURRENT-- )); _arguments", commands[i].name);
		visit_options(out, &commands[i], zsh_option);
		if (*commands[i].arguments)
			fprintf(out, " \\\n\t\t'*:%s:_files'", commands[i].arguments);
		fputs(" ;;\n", out);
	}
	fputs("\thelp) _describe command commands ;;\n\tesac\n}\n_blkassay \"$@\"\n", out);
}

/* ---- fish ---- */

/* s inside a single-quoted word of fish. */
static void print_fish_quoted(FILE *out, const char *s)
{
	for (; *s; s++)
		fprintf(out, *s == '\'' || *s == '\\' ? "\\%c" : "%c", *s);
}

static void fish_option(FILE *out, const struct command *c, const struct option_spec *s)
{
	const char *words = value_words(c, s->id);

	fprintf(out, "complete -c blkassay -n '__fish_seen_subcommand_from %s' -l %s", c->name,
		s->name);
	if (s->value)
		fputs(takes_file(s) ? " -r -F" : " -x", out);
	if (words)
		fprintf(out, " -a '%s'", words);
	fputs(" -d '", out);
	print_fish_quoted(out, command_option_help(c, s->id));
	fputs("'\n", out);
}

static void print_fish(FILE *out)
{
	fputs("# Completion of blkassay for fish, made by 'blkassay help --completion fish'.\n",
		out);
	for (size_t i = 0; i < command_count; i++) {
		fprintf(out, "complete -c blkassay -n '__fish_use_subcommand' -f -a %s -d '",
			commands[i].name);
		print_fish_quoted(out, commands[i].summary);
		fputs("'\n", out);
		visit_options(out, &commands[i], fish_option);
	}
	fputs("complete -c blkassay -n '__fish_use_subcommand' -f -a help -d 'what there is'\n",
		out);
	fputs("complete -c blkassay -n '__fish_seen_subcommand_from help' -f -a '", out);
	print_command_names(out);
	fputs("'\n", out);
}

bool completion_print(FILE *out, const char *shell)
{
	static const struct {
		const char *shell;
		void (*print)(FILE *out);
	} shells[] = { { "bash", print_bash }, { "zsh", print_zsh }, { "fish", print_fish } };

	for (size_t i = 0; i < sizeof shells / sizeof *shells; i++) {
		if (strcmp(shells[i].shell, shell) != 0)
			continue;
		shells[i].print(out);
		return true;
	}
	return false;
}
