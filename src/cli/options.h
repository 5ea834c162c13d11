/* Options, described once: parsing, help, completion and the check against the man page all read this table. */
#ifndef CLI_OPTIONS_H
#define CLI_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct error;

enum option_id {
	OPTION_DIRECTION,
	OPTION_ORDER,
	OPTION_SIZES,
	OPTION_IN_FLIGHT,
	OPTION_SECONDS,
	OPTION_PASSES,
	OPTION_REGION,
	OPTION_SEED,
	OPTION_LABEL,
	OPTION_PHASES,
	OPTION_NO_PHASES,
	OPTION_OUT,
	OPTION_ERASE,
	OPTION_KEEP_DATA,
	OPTION_CREATE,
	OPTION_FIXED_DISK,
	OPTION_QUIET,
	OPTION_CSV_FILE,
	OPTION_PAGE,
	OPTION_JSON,
	OPTION_LINK, /* explain: what the user knows of link and card */
	OPTION_CARD_READ,
	OPTION_CARD_WRITE,
	OPTION_CARD_BUS,
	OPTION_COPY,
	OPTION_REQUEST,
	OPTION_AGAINST, /* compare: runs after it are the other side; see options.against */
	OPTION_ALLOW_SLOWER,
	OPTION_ANYWAY,
	OPTION_CUT_WITH,
	OPTION_CYCLES,
	OPTION_AS, /* explain: the observation whose mix of requests counts */
	OPTION_MODEL, /* explain */
	OPTION_WITH_EJECT,
	OPTION_PROVOKE,
	OPTION_ONLY, /* audit, verify */
	OPTION_GENERATIONS,
	OPTION_SPOT,
	OPTION_RESUME,
	OPTION_GIVE_UP_AFTER,
	OPTION_OVERWRITE_CHANGED, /* restore */
	OPTION_SKIP_DAMAGED, /* restore */
	OPTION_BRIEF,
	OPTION_COLOR,
	OPTION_HELP,
	OPTION_ID_COUNT,
	OPTION_END = OPTION_ID_COUNT, /* ends a command's list */
};

enum option_type {
	OPTION_IS_FLAG, /* no value */
	OPTION_IS_TEXT, /* any non-empty text; the command looks closer */
	OPTION_IS_COUNT, /* whole number within min..max */
	OPTION_IS_SIZE, /* a size (base/size.h) within min..max */
	OPTION_IS_SECONDS, /* decimal seconds within min..max */
};

struct option_spec {
	enum option_id id;
	const char *name; /* without the dashes */
	const char *value; /* NULL for a flag */
	enum option_type type;
	uint64_t min, max; /* counts and sizes; seconds: in ms */
	const char *help; /* one line, with the default */
};

/* A command line, checked against the command's list. Values point into argv. */
struct options {
	bool given[OPTION_ID_COUNT];
	bool help_short; /* help was asked for by -h */
	const char *text[OPTION_ID_COUNT];
	uint64_t number[OPTION_ID_COUNT]; /* counts, sizes; seconds in ns */
	const char **args; /* what is no option, in order */
	size_t arg_count;
	size_t against; /* args from here on followed --against; arg_count when there was none */
	const char *command_line; /* as typed, for the record */
};

const struct option_spec *option_spec(enum option_id id);

/* What every command takes beside its own list, ended by OPTION_END. */
extern const enum option_id options_common[];

/* allowed: ids ended by OPTION_END. 0, or -1 with *err of kind ERROR_USAGE. */
int options_parse(
	struct options *o, int argc, char **argv, const enum option_id *allowed, struct error *err);
void options_release(struct options *o);

uint64_t options_number(const struct options *o, enum option_id id, uint64_t otherwise);
const char *options_text(const struct options *o, enum option_id id, const char *otherwise);

#endif
