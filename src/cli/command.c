/* The table of commands. */
#include "cli/command.h"

#include <string.h>

const struct command commands[] = {
	{ "targets", "", "what may be tested here, what may not and why",
		"Lists every block device with its consent token, and says for each whether a run "
		"may write to it. Reads only; works without root as far as it can.",
		0, 0, cmd_targets,
		{ OPTION_CSV_FILE, OPTION_PAGE, OPTION_JSON, OPTION_BRIEF, OPTION_END } },
	{ "sweep", "TARGET", "measure rate against request size",
		"Transfers at each request size with O_DIRECT, in passes interleaved in seeded "
		"random order, with all reads before the first write; appends every pass to a run "
		"record and prints a summary of it. Reads by default. Writing needs --erase, "
		"--keep-data or --create. Before writes are timed it looks at how the target "
		"stores them, for up to three minutes; a write rate is called stored only where a "
		"flush, reads that wait, or a full buffer show it. See blkassay-method(7).",
		1, 1, cmd_sweep,
		{ OPTION_DIRECTION, OPTION_ORDER, OPTION_SIZES, OPTION_IN_FLIGHT, OPTION_SECONDS,
			OPTION_PASSES, OPTION_REGION, OPTION_SEED, OPTION_LABEL, OPTION_OUT,
			OPTION_ERASE, OPTION_KEEP_DATA, OPTION_CREATE, OPTION_FIXED_DISK,
			OPTION_CSV_FILE, OPTION_PAGE, OPTION_JSON, OPTION_PHASES, OPTION_NO_PHASES,
			OPTION_BRIEF, OPTION_QUIET, OPTION_END } },
	{ "audit", "TARGET", "is this gadget's write-behind safe?",
		"Sets claims against behaviour: asks the target what it claims about its writes, "
		"tests each claim against what it does, and says of each promise: kept, broken, "
		"not shown or not asked, with the evidence and the firmware change that mends it. "
		"The first sentence is for a release note; exit status 1 when a promise is broken, "
		"4 when one that was asked about could not be shown. Overwrites up to 16 MiB of "
		"the region, and writes that much many times over. See blkassay-audit(7).",
		1, 1, cmd_audit,
		{ OPTION_ONLY, OPTION_WITH_EJECT, OPTION_PROVOKE, OPTION_SECONDS, OPTION_PHASES,
			OPTION_NO_PHASES, OPTION_REGION, OPTION_SEED, OPTION_LABEL, OPTION_OUT,
			OPTION_ERASE, OPTION_KEEP_DATA, OPTION_CREATE, OPTION_FIXED_DISK,
			OPTION_CSV_FILE, OPTION_PAGE, OPTION_JSON, OPTION_BRIEF, OPTION_QUIET,
			OPTION_END } },
	{ "verify", "TARGET", "write seeded patterns, read back, judge every block",
		"Writes stamped blocks over the whole region, then reads them back past the host's "
		"cache and says of each whether it is what was written, and if not, what it is: "
		"unreadable, blank, stale, misplaced, torn, shifted, bit error or foreign. Exit "
		"status 1 means damage, 4 that with --only read nothing bears the stamp of that "
		"--seed, so nothing is shown.",
		1, 1, cmd_verify,
		{ OPTION_ONLY, OPTION_SIZES, OPTION_ORDER, OPTION_REGION, OPTION_GENERATIONS,
			OPTION_SPOT, OPTION_SEED, OPTION_LABEL, OPTION_GIVE_UP_AFTER, OPTION_RESUME,
			OPTION_OUT, OPTION_ERASE, OPTION_KEEP_DATA, OPTION_CREATE,
			OPTION_FIXED_DISK, OPTION_CSV_FILE, OPTION_PAGE, OPTION_JSON, OPTION_BRIEF,
			OPTION_QUIET, OPTION_END } },
	{ "cut", "TARGET", "write with a journal until power or plug is cut",
		"Stamps the region, then writes and flushes at seeded random moments, and journals "
		"each promise of the target on this host, until the target vanishes, --seconds "
		"pass, or --cut-with has cut it at a random moment within --seconds. Then run: "
		"blkassay recheck JOURNAL TARGET. With --cycles, and always on a model, it waits "
		"for the target to come back and rechecks by itself. Switch the gadget's own "
		"low-voltage supply only (USB's 5 V, a hub port made for it, a bench supply), "
		"never mains and never other gear; discharge yourself before you touch cards and "
		"boards. Pulling a card under power can damage it: follow its maker's data sheet. "
		"See blkassay-cut(7).",
		1, 1, cmd_cut,
		{ OPTION_SECONDS, OPTION_CUT_WITH, OPTION_CYCLES, OPTION_REGION, OPTION_SEED,
			OPTION_LABEL, OPTION_OUT, OPTION_ERASE, OPTION_KEEP_DATA, OPTION_CREATE,
			OPTION_FIXED_DISK, OPTION_CSV_FILE, OPTION_PAGE, OPTION_JSON, OPTION_BRIEF,
			OPTION_QUIET, OPTION_END } },
	{ "recheck", "JOURNAL TARGET", "after the cut: which promises were kept",
		"Reads back the region of the journal's last cut and sorts each block: promised "
		"and there, promised and broken, not promised (old or new are fine, anything else "
		"is not), never written. Appends the verdict to the journal, where report shows "
		"it. Exit status 1 means a broken promise, 4 that none was tested: none was made, "
		"nothing was cut, or only after writing had ended. See blkassay-cut(7).",
		2, 2, cmd_recheck,
		{ OPTION_CSV_FILE, OPTION_PAGE, OPTION_JSON, OPTION_BRIEF, OPTION_QUIET,
			OPTION_END } },
	{ "report", "RUN...", "CSV, plain-text summary, page with charts",
		"Prints a plain-text summary of each record, or writes the files that are asked "
		"for instead. Takes records that were cut short, and says so. Several records go "
		"into one CSV or page, in the order given. On a page, sweeps with two labels are "
		"set against each other, the label named first as the base.",
		1, 64, cmd_report,
		{ OPTION_CSV_FILE, OPTION_PAGE, OPTION_JSON, OPTION_BRIEF, OPTION_QUIET,
			OPTION_END } },
	{ "explain", "RUN...", "what limits it, what to do next, what that would gain",
		"Says what limits each direction of a sweep, how much of a request's time it "
		"takes, and the rate without it; then fixed cost and streaming rate, what link and "
		"card allow, and copy times. It takes what you know of link and card, as rates "
		"like "
		"1.7MB/s or 480kB/s; without them more causes fit alike. With --model it also "
		"writes a gadget model that has these times, and says what the run could not tell: "
		"edit a line, sweep it, and see what the change would gain.",
		1, 64, cmd_explain,
		{ OPTION_LINK, OPTION_CARD_READ, OPTION_CARD_WRITE, OPTION_CARD_BUS, OPTION_COPY,
			OPTION_REQUEST, OPTION_AS, OPTION_MODEL, OPTION_CSV_FILE, OPTION_PAGE,
			OPTION_JSON, OPTION_BRIEF, OPTION_QUIET, OPTION_END } },
	{ "compare", "BASE... --against NEW...", "is the new build faster, slower, or neither?",
		"Sets sweeps of two builds against each other, point by point: change with its "
		"95 % interval, verdict corrected over all points, smallest change it could have "
		"seen. Several runs a side, taken in turn, tell builds apart; one a side tells "
		"two runs apart. Exit status is 0 whatever the verdicts; with --allow-slower it "
		"is 0 when the gate is passed, 1 when it fails and 4 when it is undecided: in too "
		"much noise, where the new side lacks points or met more failures, and where the "
		"sides may not be the two builds (one firmware revision under two labels and no "
		"difference, two revisions or a label on the wrong side, no gadget in common).",
		1, 64, cmd_compare,
		{ OPTION_AGAINST, OPTION_ALLOW_SLOWER, OPTION_ANYWAY, OPTION_CSV_FILE, OPTION_PAGE,
			OPTION_JSON, OPTION_BRIEF, OPTION_QUIET, OPTION_END } },
	{ "observe", "TARGET", "what the host really sends while the target is used",
		"Watches the kernel's counters and, as root, every request in its block trace, for "
		"--seconds or until Ctrl-C. Opens nothing and disturbs nothing: it works while the "
		"target is mounted and somebody copies files. Shows request sizes, order, times "
		"and flushes; 'explain RUN --as RECORD' weighs a sweep by them.",
		1, 1, cmd_observe,
		{ OPTION_SECONDS, OPTION_LABEL, OPTION_PHASES, OPTION_NO_PHASES, OPTION_OUT,
			OPTION_CSV_FILE, OPTION_PAGE, OPTION_JSON, OPTION_BRIEF, OPTION_QUIET,
			OPTION_END } },
	{ "restore", "SAVED TARGET", "put kept data back after an interrupted run",
		"Writes back what --keep-data saved (RECORD.kept), then reads all of it back. "
		"First it checks that the saved file is whole, and looks at all that it would "
		"write over: blocks that hold the saved data, or what its run wrote, are its own. "
		"Any other block was changed since, or this is another card: then it says how many "
		"and where, writes nothing and ends with 2, unless --overwrite-changed names the "
		"target. A target of another size is refused. Of a saved file that was damaged "
		"nothing is put back, unless --skip-damaged settles for what is whole; that ends "
		"with 3. After an interruption simply repeat it. The saved file stays; delete it "
		"when done.",
		2, 2, cmd_restore,
		{ OPTION_OVERWRITE_CHANGED, OPTION_SKIP_DAMAGED, OPTION_QUIET, OPTION_END } },
};

/* Where an option's own help is too general for the command. */
static const struct option_note {
	const char *command;
	enum option_id id;
	const char *help;
} notes[] = {
	{ "sweep", OPTION_SIZES,
		"request sizes: a doubling range 512..1Mi or a list 512,4Ki,24Ki (default: "
		"doubling from a block up to the largest request that the kernel sends)" },
	{ "sweep", OPTION_SECONDS,
		"how long each pass takes at least, in seconds (default: 1, and up to 10 until it "
		"holds 30 requests); storing what was written comes on top" },
	{ "audit", OPTION_ONLY,
		"ask about these promises only, with commas between, as blkassay-audit(7) lists "
		"them (default: all)" },
	{ "audit", OPTION_PHASES,
		"judge flushes by what the bus shows of them, and load the kernel's USB monitor "
		"for it where it is missing (default: where the monitor is there)" },
	{ "audit", OPTION_SECONDS, "how long --provoke waits, in seconds (default: 60)" },
	{ "verify", OPTION_SIZES,
		"request sizes: a doubling range 512..1Mi or a list 512,4Ki,24Ki (default: 64Ki)" },
	{ "verify", OPTION_ORDER, "sequential, random or both with a comma (default: sequential)" },
	{ "cut", OPTION_SECONDS,
		"how long to write, or within which --cut-with cuts, in seconds (default: 10 with "
		"--cut-with or a model, else until the target is gone)" },
	{ "observe", OPTION_SECONDS, "how long to observe, in seconds (default: until Ctrl-C)" },
};

const size_t command_count = sizeof commands / sizeof *commands;

const struct command *command_find(const char *name)
{
	for (size_t i = 0; i < command_count; i++)
		if (!strcmp(commands[i].name, name))
			return &commands[i];
	return NULL;
}

const char *command_option_help(const struct command *c, enum option_id id)
{
	for (size_t i = 0; i < sizeof notes / sizeof *notes; i++)
		if (notes[i].id == id && !strcmp(notes[i].command, c->name))
			return notes[i].help;
	return option_spec(id)->help;
}
