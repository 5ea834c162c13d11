/* Commands as they were seen on the bus of an observed disk. */
#include "findings/observe_view.h"

#include "base/size.h"

#define ROW(function, expression) COLUMN_VALUE(function, struct observed_commands, r, expression)

static const char *const deeds[] = { [OBSERVED_READ] = "read",
	[OBSERVED_WRITE] = "write",
	[OBSERVED_FLUSH] = "flush",
	[OBSERVED_OTHER] = "other" };

static const char *const phases[] = { [RUN_PHASE_COMMAND] = "command",
	[RUN_PHASE_DATA] = "data",
	[RUN_PHASE_STATUS] = "status",
	[RUN_PHASE_HOST] = "host" };

static struct value each(const struct observed_commands *c, enum run_phase phase)
{
	return value_if(c->commands > 0,
		value_seconds((double)c->phase_ns[phase] / 1e9 / (double)c->commands));
}

static bool has_data(const struct observed_commands *c)
{
	return c->of == OBSERVED_READ || c->of == OBSERVED_WRITE;
}

ROW(row_of, value_word(deeds[r->of]))
ROW(row_upto, value_if(has_data(r), value_bytes(r->upto_bytes)))
ROW(row_commands, value_count(r->commands))
ROW(row_bytes, value_bytes_decimal(r->bytes))
ROW(row_command, each(r, RUN_PHASE_COMMAND))
ROW(row_data, each(r, RUN_PHASE_DATA))
ROW(row_status, each(r, RUN_PHASE_STATUS))
ROW(row_host, each(r, RUN_PHASE_HOST))
ROW(row_longest, value_ns(r->longest_ns))

static const struct column columns[] = {
	{ "of", "command", "read, write, flush (SYNCHRONIZE CACHE) or other", 9, true, NULL,
		row_of },
	{ "upto_bytes", "up to", "moved at most this much, and more than half of it", 9, false,
		NULL, row_upto },
	{ "commands", "count", "commands of that kind and size", 8, false, NULL, row_commands },
	{ "bytes", NULL, "bytes that they moved", 0, false, NULL, row_bytes },
	{ "command_seconds", "taken in",
		"mean time from the host offering the command to the device taking it", 9, false,
		NULL, row_command },
	{ "data_seconds", "data", "mean time of its data", 9, false, NULL, row_data },
	{ "status_seconds", "status", "mean time from the host asking for the status to its coming",
		9, false, NULL, row_status },
	{ "host_seconds", "host",
		"mean time between these; what passed between commands is not in it", 9, false,
		NULL, row_host },
	{ "longest_seconds", "longest", "the longest of these commands", 9, false, NULL,
		row_longest },
};

const struct table_spec observe_commands_spec = { .key = "commands",
	.meaning = "commands of one kind and about one size, as they were seen on the bus; none "
		   "when it was not watched",
	.row_bytes = sizeof(struct observed_commands),
	TABLE_COLUMNS(columns) };

/* ---- what most of the time was ---- */

struct largest {
	enum observed_deed of;
	enum run_phase phase;
	uint64_t ns, all_ns;
};

static struct largest find_largest(const struct observation *o)
{
	uint64_t sums[OBSERVED_OTHER + 1][RUN_PHASE_COUNT] = { 0 };
	struct largest best = { .ns = 0 };

	for (size_t i = 0; i < o->command_count; i++)
		for (int k = 0; k < RUN_PHASE_COUNT; k++) {
			uint64_t *sum = &sums[o->commands[i].of][k];

			*sum += o->commands[i].phase_ns[k];
			best.all_ns += o->commands[i].phase_ns[k];
			if (*sum > best.ns)
				best = (struct largest){ o->commands[i].of, (enum run_phase)k, *sum,
					best.all_ns };
		}
	return best;
}

static const char *meaning(const struct largest *l)
{
	if (l->phase == RUN_PHASE_HOST)
		return "the host's own, between the phases of commands";
	if (l->phase == RUN_PHASE_COMMAND)
		return "the device not yet ready for them, or the bus slow to bring them";
	if (l->phase == RUN_PHASE_DATA)
		return l->of == OBSERVED_WRITE
			       ? "the link carrying the data, or the device not taking it"
			       : "the link carrying the data, or the device "
				 "fetching it";
	/* Whether a flush stores is not to be seen here. */
	return l->of == OBSERVED_READ    ? "the device's, after the data had passed, or the bus's"
	       : l->of == OBSERVED_WRITE ? "the device's, after it had the data, or the bus's"
	       : l->of == OBSERVED_FLUSH
		       ? "the device's before it answered, storing what it held where it stores"
		       : "the device's before it answered, or the bus's";
}

void observe_commands_add(
	struct findings *f, const struct observation *o, const struct finding_code *code)
{
	struct largest l = find_largest(o);
	char time[SIZE_TEXT_MAX];
	struct finding *one;

	if (!l.ns)
		return;
	one = finding_add(f, code,
		"Of the %s that commands took on the bus, %.2g %% were in the %s phase of %s: %s.",
		duration_format(time, (double)l.all_ns / 1e9),
		(double)l.ns / (double)l.all_ns * 100, phases[l.phase],
		l.of == OBSERVED_FLUSH   ? "flushes"
		: l.of == OBSERVED_OTHER ? "other commands"
		: l.of == OBSERVED_READ  ? "reads"
					 : "writes",
		meaning(&l));
	finding_figure(one, "of", value_word(deeds[l.of]));
	finding_figure(one, "phase", value_word(phases[l.phase]));
	finding_figure(one, "seconds", value_ns(l.ns));
	finding_figure(one, "all_seconds", value_ns(l.all_ns));
}
