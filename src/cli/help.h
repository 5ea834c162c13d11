/* Help on the screen; all of it from the tables of commands and options. */
#ifndef CLI_HELP_H
#define CLI_HELP_H

#include <stdbool.h>
#include <stdio.h>

struct command;

/* The commands, a line each; whole: first steps and exit statuses as well. */
void help_print_overview(FILE *out, bool whole);

/* -h: what it takes, nothing explained. */
void help_print_usage(FILE *out, const struct command *c);

/* --help: everything. */
void help_print_command(FILE *out, const struct command *c);

/* Codes and keys of the JSON, for programs: the man page is made from it. */
void help_print_keys(FILE *out);

#endif
