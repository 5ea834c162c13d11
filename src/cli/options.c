/* The option table and the parsing of a command line against a command's part of it. */
#include "cli/options.h"

#include <errno.h>
#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "base/size.h"
#include "base/suggest.h"
#include "base/text.h"

static const struct option_spec specs[OPTION_ID_COUNT] = {
	{ OPTION_DIRECTION, "direction", "LIST", OPTION_IS_TEXT, 0, 0,
		"read, write or read,write (default: read)" },
	{ OPTION_ORDER, "order", "LIST", OPTION_IS_TEXT, 0, 0,
		"sequential, random or both with a comma (default: both)" },
	{ OPTION_SIZES, "sizes", "SIZES", OPTION_IS_TEXT, 0, 0,
		"request sizes: a doubling range 512..1Mi or a list 512,4Ki,24Ki" },
	{ OPTION_IN_FLIGHT, "in-flight", "N", OPTION_IS_COUNT, 1, 64,
		"requests kept open at once (default: 1)" },
	{ OPTION_SECONDS, "seconds", "S", OPTION_IS_SECONDS, 1, 604800000, "how long, in seconds" },
	{ OPTION_PASSES, "passes", "N", OPTION_IS_COUNT, 1, 100000,
		"repetitions of every point (default: 5)" },
	{ OPTION_REGION, "region", "START+LENGTH", OPTION_IS_TEXT, 0, 0,
		"the byte range that may be touched, e.g. 0+64Mi (default: the whole target)" },
	{ OPTION_SEED, "seed", "N", OPTION_IS_COUNT, 0, UINT64_MAX,
		"seed of offsets, data and order (default: from the clock, and shown)" },
	{ OPTION_LABEL, "label", "TEXT", OPTION_IS_TEXT, 0, 0,
		"what was tested, e.g. the firmware build; kept in the record" },
	{ OPTION_PHASES, "phases", NULL, OPTION_IS_FLAG, 0, 0,
		"show where the time of a request goes, and load the kernel's USB monitor for it "
		"where it is missing (default: where the monitor is there)" },
	{ OPTION_NO_PHASES, "no-phases", NULL, OPTION_IS_FLAG, 0, 0,
		"do not watch the bus for it" },
	{ OPTION_OUT, "out", "FILE", OPTION_IS_TEXT, 0, 0,
		"where the run record goes (default: blkassay-KIND-TIME.assay here)" },
	{ OPTION_ERASE, "erase", "TOKEN", OPTION_IS_TEXT, 0, 0,
		"consent to overwrite the target that has this token ('blkassay targets' shows it; "
		"of an image, a run without consent does)" },
	{ OPTION_KEEP_DATA, "keep-data", NULL, OPTION_IS_FLAG, 0, 0,
		"save the region to a side file first and put it back at the end; the file stays "
		"when the run found a device at fault" },
	{ OPTION_CREATE, "create", "SIZE", OPTION_IS_SIZE, 512, UINT64_C(1) << 62,
		"make the target: a new image file of this size; an existing file is refused" },
	{ OPTION_FIXED_DISK, "fixed-disk", NULL, OPTION_IS_FLAG, 0, 0,
		"allow writing to a disk that is not removable (never the system disk)" },
	{ OPTION_QUIET, "quiet", NULL, OPTION_IS_FLAG, 0, 0,
		"no notes and no progress; warnings and errors stay" },
	{ OPTION_CSV_FILE, "csv", "FILE", OPTION_IS_TEXT, 0, 0,
		"write CSV to FILE ('-' for stdout)" },
	{ OPTION_PAGE, "page", "FILE", OPTION_IS_TEXT, 0, 0,
		"write one self-contained HTML page with charts to FILE ('-' for stdout)" },
	{ OPTION_JSON, "json", "FILE", OPTION_IS_TEXT, 0, 0,
		"write JSON to FILE ('-' for stdout); see blkassay-json(5)" },
	{ OPTION_LINK, "link", "RATE", OPTION_IS_TEXT, 0, 0,
		"rate of the link as you measured it, e.g. 1.0MB/s (default: the ceiling of the "
		"link the record names)" },
	{ OPTION_CARD_READ, "card-read", "RATE", OPTION_IS_TEXT, 0, 0,
		"rate at which the card alone reads, measured on the device, e.g. 1.7MB/s" },
	{ OPTION_CARD_WRITE, "card-write", "RATE", OPTION_IS_TEXT, 0, 0,
		"rate at which the card alone writes, measured on the device" },
	{ OPTION_CARD_BUS, "card-bus", "KIND:CLOCK", OPTION_IS_TEXT, 0, 0,
		"bus of the card, a ceiling where its rate is not known: spi:20MHz, sd1:25MHz, "
		"sd4:50MHz, sd4ddr:50MHz, mmc8:52MHz" },
	{ OPTION_COPY, "copy", "SIZE", OPTION_IS_SIZE, 1, UINT64_C(1) << 62,
		"how long a file of this size takes, e.g. 50MB" },
	{ OPTION_REQUEST, "request", "SIZE", OPTION_IS_SIZE, 512, UINT64_C(1) << 30,
		"the size the host usually asks for (default: 4Ki)" },
	{ OPTION_AGAINST, "against", NULL, OPTION_IS_FLAG, 0, 0,
		"ends the runs of the base; those of the new build follow" },
	{ OPTION_ALLOW_SLOWER, "allow-slower", "PERCENT", OPTION_IS_TEXT, 0, 0,
		"release gate: exit 1 when a point is shown to be slower by more than this" },
	{ OPTION_ANYWAY, "anyway", NULL, OPTION_IS_FLAG, 0, 0,
		"compare also what was measured under different conditions, and let a gate pass "
		"though labels, firmware or gadgets are doubtful; all that is named" },
	{ OPTION_CUT_WITH, "cut-with", "COMMAND", OPTION_IS_TEXT, 0, 0,
		"shell command that cuts the power, run at a seeded random moment" },
	{ OPTION_CYCLES, "cycles", "N", OPTION_IS_COUNT, 1, 10000,
		"cut and recheck so many times (default: 1)" },
	{ OPTION_AS, "as", "RECORD", OPTION_IS_TEXT, 0, 0,
		"weigh the sweep by the requests that 'observe' saw" },
	{ OPTION_MODEL, "model", "FILE", OPTION_IS_TEXT, 0, 0,
		"write a gadget model with the times of the run; edit a line and sweep it" },
	{ OPTION_WITH_EJECT, "with-eject", NULL, OPTION_IS_FLAG, 0, 0,
		"also send PREVENT and eject, and load again (some gadgets need a replug then)" },
	{ OPTION_PROVOKE, "provoke", NULL, OPTION_IS_FLAG, 0, 0,
		"wait while you make the card fail, as long as --seconds says (default: 60)" },
	{ OPTION_ONLY, "only", "WHAT", OPTION_IS_TEXT, 0, 0,
		"write, or read: one half now, the other later or in another reader, with the same "
		"--seed (default: both)" },
	{ OPTION_GENERATIONS, "generations", "N", OPTION_IS_COUNT, 1, 1000,
		"write and judge everything N times, so that lost overwrites show (default: 1)" },
	{ OPTION_SPOT, "spot", "N", OPTION_IS_COUNT, 4, 4096,
		"only N places, all written before any is read: shows a false capacity in seconds; "
		"the summary says whether N was enough to show any" },
	{ OPTION_RESUME, "resume", "RUN", OPTION_IS_TEXT, 0, 0,
		"go on with this record where it stopped" },
	{ OPTION_GIVE_UP_AFTER, "give-up-after", "N", OPTION_IS_COUNT, 1, UINT64_MAX,
		"stop after N failed requests (default: 1000)" },
	{ OPTION_OVERWRITE_CHANGED, "overwrite-changed", "TOKEN", OPTION_IS_TEXT, 0, 0,
		"put the data back although the target with this token holds something else by "
		"now, which is lost then" },
	{ OPTION_SKIP_DAMAGED, "skip-damaged", NULL, OPTION_IS_FLAG, 0, 0,
		"put back what is whole of a damaged saved file, and say what is not" },
	{ OPTION_BRIEF, "brief", NULL, OPTION_IS_FLAG, 0, 0, "text shows the verdict alone" },
	{ OPTION_COLOR, "color", "WHEN", OPTION_IS_TEXT, 0, 0,
		"colour in text: auto, always or never (default: auto, on a terminal, unless "
		"NO_COLOR is set)" },
	{ OPTION_HELP, "help", NULL, OPTION_IS_FLAG, 0, 0,
		"what this command does and takes; -h shows it in short" },
};

const enum option_id options_common[] = { OPTION_COLOR, OPTION_HELP, OPTION_END };

const struct option_spec *option_spec(enum option_id id)
{
	return &specs[id];
}

uint64_t options_number(const struct options *o, enum option_id id, uint64_t otherwise)
{
	return o->given[id] ? o->number[id] : otherwise;
}

const char *options_text(const struct options *o, enum option_id id, const char *otherwise)
{
	return o->given[id] ? o->text[id] : otherwise;
}

static int in_range(uint64_t n, const struct option_spec *s)
{
	return n >= s->min && n <= s->max ? 0 : -ERANGE;
}

/* Whole numbers and sizes; says what would have been right. */
static int parse_whole(
	const struct option_spec *s, const char *value, uint64_t *out, struct error *err)
{
	bool size = s->type == OPTION_IS_SIZE;
	int rc = size ? size_parse(value, out) : number_parse_u64(value, out);

	if (!rc)
		rc = in_range(*out, s);
	if (rc == -ERANGE)
		return error_set(err, ERROR_USAGE,
			"--%s '%s' is out of range; it takes %llu to %llu", s->name, value,
			(unsigned long long)s->min, (unsigned long long)s->max);
	if (rc < 0)
		return error_set(err, ERROR_USAGE, "--%s '%s' is not a %s", s->name, value,
			size ? "size; write it like 512, 4Ki, 1Mi or 50MB" : "whole number");
	return 0;
}

static int parse_seconds(
	const struct option_spec *s, const char *value, uint64_t *ns, struct error *err)
{
	double seconds;

	if (number_parse_decimal(value, &seconds) < 0)
		return error_set(err, ERROR_USAGE,
			"--%s '%s' is not a number of seconds; write it like 2 or 0.5", s->name,
			value);
	if (seconds * 1000 < (double)s->min || seconds * 1000 > (double)s->max)
		return error_set(err, ERROR_USAGE,
			"--%s '%s' is out of range; it takes %g to %g seconds", s->name, value,
			(double)s->min / 1000, (double)s->max / 1000);
	*ns = (uint64_t)(seconds * 1e9 + 0.5);
	return 0;
}

static int take_option(struct options *o, enum option_id id, const char *value, struct error *err)
{
	const struct option_spec *s = &specs[id];

	if (o->given[id] && (s->type != OPTION_IS_FLAG || id == OPTION_AGAINST))
		return error_set(err, ERROR_USAGE, "--%s is given twice", s->name);
	o->given[id] = true;
	o->text[id] = value;
	if (id == OPTION_AGAINST)
		o->against = o->arg_count;
	if (s->type == OPTION_IS_FLAG)
		return 0;
	if (!*value)
		return error_set(err, ERROR_USAGE, "--%s is empty; it takes %s", s->name, s->value);
	if (s->type == OPTION_IS_SECONDS)
		return parse_seconds(s, value, &o->number[id], err);
	if (s->type == OPTION_IS_TEXT)
		return 0;
	return parse_whole(s, value, &o->number[id], err);
}

static struct option long_option(enum option_id id)
{
	return (struct option){ .name = specs[id].name,
		.has_arg = specs[id].value ? required_argument : no_argument,
		.val = 256 + (int)id };
}

/* getopt's own table, made from ours; val is the id + 256. */
static void fill_long_options(struct option *longs, const enum option_id *allowed)
{
	size_t n = 0;

	for (; allowed[n] != OPTION_END; n++)
		longs[n] = long_option(allowed[n]);
	for (size_t i = 0; options_common[i] != OPTION_END; i++)
		longs[n++] = long_option(options_common[i]);
}

/* Calls visit with each option that is allowed. */
typedef void spec_visitor(void *context, const struct option_spec *s);

static void visit_allowed(const enum option_id *allowed, spec_visitor *visit, void *context)
{
	for (size_t i = 0; allowed[i] != OPTION_END; i++)
		visit(context, &specs[allowed[i]]);
	for (size_t i = 0; options_common[i] != OPTION_END; i++)
		visit(context, &specs[options_common[i]]);
}

struct guess {
	struct suggest near;
	struct text begun; /* "--page, --passes": options that begin with it */
	size_t begun_count, length;
};

static void guess_try(void *context, const struct option_spec *s)
{
	struct guess *g = context;

	suggest_try(&g->near, s->name);
	if (strncmp(s->name, g->near.word, g->length) != 0)
		return;
	text_addf(&g->begun, "%s--%s", g->begun_count ? ", " : "", s->name);
	g->begun_count++;
}

/* word: as typed, with the dashes and perhaps "=VALUE". */
static int unknown_option(const enum option_id *allowed, const char *word, struct error *err)
{
	char name[SUGGEST_LONGEST + 1];
	struct guess g = { 0 };

	snprintf(name, sizeof name, "%.*s", (int)strcspn(word + strspn(word, "-"), "="),
		word + strspn(word, "-"));
	suggest_begin(&g.near, name);
	g.length = strlen(name);
	text_init(&g.begun);
	visit_allowed(allowed, guess_try, &g);
	if (g.begun_count > 1 && g.length)
		error_set(err, ERROR_USAGE, "option '%s' is ambiguous: %s", word, g.begun.bytes);
	else if (g.near.nearest)
		error_set(err, ERROR_USAGE,
			"this command has no option '%s'; did you mean '--%s'? See its --help",
			word, g.near.nearest);
	else
		error_set(
			err, ERROR_USAGE, "this command has no option '%s'; see its --help", word);
	text_release(&g.begun);
	return -1;
}

int options_parse(
	struct options *o, int argc, char **argv, const enum option_id *allowed, struct error *err)
{
	struct option longs[OPTION_ID_COUNT + 2] = { 0 };
	int code;

	*o = (struct options){ .args = calloc((size_t)argc + 1, sizeof *o->args),
		.against = SIZE_MAX };
	if (!o->args)
		return error_set(err, ERROR_IO, "out of memory");
	fill_long_options(longs, allowed);
	optind = 0; /* glibc: start afresh */
	/* '-': what is no option comes as code 1, in order; ':': a missing value is told apart. */
	while ((code = getopt_long(argc, argv, "-:h", longs, NULL)) != -1) {
		if (code == 1)
			o->args[o->arg_count++] = optarg;
		else if (code == 'h')
			o->given[OPTION_HELP] = o->help_short = true;
		else if (code == ':')
			return error_set(
				err, ERROR_USAGE, "option '%s' needs a value", argv[optind - 1]);
		else if (code == '?')
			return unknown_option(allowed, argv[optind - 1], err);
		else if (take_option(o, (enum option_id)(code - 256), optarg, err) < 0)
			return -1;
	}
	while (optind < argc) /* after "--" */
		o->args[o->arg_count++] = argv[optind++];
	if (o->against > o->arg_count)
		o->against = o->arg_count;
	return 0;
}

void options_release(struct options *o)
{
	free(o->args);
	o->args = NULL;
}
