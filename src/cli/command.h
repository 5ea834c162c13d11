/* The table of commands. Dispatch, help and completion read it. */
#ifndef CLI_COMMAND_H
#define CLI_COMMAND_H

#include <stddef.h>

#include "cli/options.h"

enum { COMMAND_OPTIONS_MAX = 24 };

struct command {
	const char *name;
	const char *arguments; /* "TARGET", "RUN...", "" */
	const char *summary; /* one line */
	const char *details; /* one paragraph for `help COMMAND`, without line breaks */
	size_t min_args, max_args;
	int (*run)(const struct options *o); /* returns the exit status */
	enum option_id options[COMMAND_OPTIONS_MAX];
};

extern const struct command commands[];
extern const size_t command_count;

const struct command *command_find(const char *name); /* NULL when there is none */

/* What an option means to this command. */
const char *command_option_help(const struct command *c, enum option_id id);

/* One per file cmd_*.c */
int cmd_sweep(const struct options *o);
int cmd_verify(const struct options *o);
int cmd_targets(const struct options *o);
int cmd_restore(const struct options *o);
int cmd_audit(const struct options *o);
int cmd_report(const struct options *o);
int cmd_explain(const struct options *o);
int cmd_compare(const struct options *o);
int cmd_cut(const struct options *o);
int cmd_recheck(const struct options *o);
int cmd_observe(const struct options *o);

#endif
