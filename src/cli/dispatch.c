/* Which command runs, with what, and what its exit status is. */
#include "cli/dispatch.h"

#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/shell.h"
#include "base/suggest.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/completion.h"
#include "cli/help.h"
#include "cli/message.h"
#include "cli/terminal.h"
#include "platform/interrupt.h"

static int unknown_command(const char *name)
{
	struct error err = { 0 };
	struct suggest near;

	if (*name == '-') {
		error_set(&err, ERROR_USAGE,
			"'%s' is not a command, and the command comes first: blkassay COMMAND "
			"[OPTION...] [ARGUMENT...]; 'blkassay help' lists them",
			name);
		return message_error(&err);
	}
	suggest_begin(&near, name);
	for (size_t i = 0; i < command_count; i++)
		suggest_try(&near, commands[i].name);
	suggest_try(&near, "help");
	if (near.nearest)
		error_set(&err, ERROR_USAGE,
			"there is no command '%s'; did you mean '%s'? 'blkassay help' lists them",
			name, near.nearest);
	else
		error_set(&err, ERROR_USAGE, "there is no command '%s'; 'blkassay help' lists them",
			name);
	return message_error(&err);
}

static int help_completion(const char *shell)
{
	struct error err = { 0 };

	if (shell && completion_print(stdout, shell))
		return 0;
	error_set(&err, ERROR_USAGE, "help --completion takes bash, zsh or fish, not '%s'",
		shell ? shell : "");
	return message_error(&err);
}

static int help(int argc, char **argv)
{
	const struct command *c;

	if (argc < 2) {
		help_print_overview(stdout, true);
		return 0;
	}
	if (!strcmp(argv[1], "--completion"))
		return help_completion(argc > 2 ? argv[2] : NULL);
	if (!strcmp(argv[1], "--keys")) {
		help_print_keys(stdout);
		return 0;
	}
	c = command_find(argv[1]);
	if (!c)
		return unknown_command(argv[1]);
	help_print_command(stdout, c);
	return 0;
}

static int take_common(const struct options *o, struct error *err)
{
	const char *colour = options_text(o, OPTION_COLOR, "auto");

	if (terminal_set_colour(colour) < 0)
		return error_set(
			err, ERROR_USAGE, "--color takes auto, always or never, not '%s'", colour);
	terminal_set_brief(o->given[OPTION_BRIEF]);
	message_set_quiet(o->given[OPTION_QUIET]);
	return 0;
}

static int show_help(const struct command *c, const struct options *o)
{
	if (o->help_short)
		help_print_usage(stdout, c);
	else
		help_print_command(stdout, c);
	return 0;
}

static int check_arguments(const struct command *c, const struct options *o, struct error *err)
{
	if (o->arg_count >= c->min_args && o->arg_count <= c->max_args)
		return 0;
	if (o->arg_count > c->max_args)
		return error_set(err, ERROR_USAGE, "%s: unexpected argument '%s'; it takes %s",
			c->name, o->args[c->max_args], *c->arguments ? c->arguments : "none");
	return error_set(err, ERROR_USAGE,
		"%s: an argument is missing; it takes %s; 'blkassay help %s' tells more", c->name,
		c->arguments, c->name);
}

static int run_command(const struct command *c, int argc, char **argv, const char *command_line)
{
	struct error err = { 0 };
	struct options o;
	int status;

	if (options_parse(&o, argc, argv, c->options, &err) < 0) {
		status = message_error(&err);
	} else if (o.given[OPTION_HELP]) {
		status = show_help(c, &o);
	} else if (take_common(&o, &err) < 0 || check_arguments(c, &o, &err) < 0) {
		status = message_error(&err);
	} else {
		o.command_line = command_line;
		interrupt_install();
		status = c->run(&o);
	}
	options_release(&o);
	return status;
}

/* A result cut short by a full disk or a closed pipe must not end in 0. */
static int check_stdout(int status)
{
	struct error err = { 0 };
	bool failed = ferror(stdout);

	if (fflush(stdout) != 0)
		failed = true;
	if (failed)
		error_set(&err, ERROR_IO,
			"cannot write the whole result to standard output; what is there is "
			"incomplete");
	else if (text_ran_out())
		error_set(&err, ERROR_IO, "out of memory; the result is incomplete");
	if (err.kind == ERROR_NONE || status >= 2) /* then nothing whole was promised */
		return status;
	return message_error(&err);
}

/* So that what a record holds can be pasted. */
static void join_command_line(struct text *t, int argc, char **argv)
{
	text_adds(t, "blkassay");
	for (int i = 1; i < argc; i++) {
		text_adds(t, " ");
		shell_add_typed(t, argv[i], false);
	}
}

int cli_main(int argc, char **argv)
{
	const struct command *c;
	struct text line;
	int status;

	if (argc < 2) {
		help_print_overview(stderr, false);
		return 2;
	}
	if (!strcmp(argv[1], "help"))
		return check_stdout(help(argc - 1, argv + 1));
	if (!strcmp(argv[1], "--help"))
		return check_stdout(help(1, argv + 1));
	if (!strcmp(argv[1], "-h")) {
		help_print_overview(stdout, false);
		return check_stdout(0);
	}
	if (!strcmp(argv[1], "--version") || !strcmp(argv[1], "-V")) {
		printf("blkassay %s\n", BLKASSAY_VERSION);
		return check_stdout(0);
	}
	c = command_find(argv[1]);
	if (!c)
		return unknown_command(argv[1]);
	text_init(&line);
	join_command_line(&line, argc, argv);
	status = check_stdout(run_command(c, argc - 1, argv + 1, line.bytes));
	text_release(&line);
	return status;
}
