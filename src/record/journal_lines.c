/* The lines of a journal, described once. */
#include "record/journal_lines.h"

#include "record/field.h"

#define HERE struct journal_cycle_line
static const struct field cycle_fields[] = {
	FIELD("number", number, "of the cut, from 1"),
	FIELD("seed", seed, "of the writes and in every stamp"),
	FIELD("region_start", region_start, "bytes from the start of the target"),
	FIELD("region_bytes", region_bytes, ""),
	FIELD("block_bytes", block_bytes, "of a stamp"),
	FIELD("promise", promise,
		"flushed: the target may write behind, so only a flush promises; acknowledged: the "
		"kernel treats it as write through, so every answered write promises"),
	FIELD_WHEN("disk_sequence", disk_sequence, plug_known,
		"the kernel's count of disks, 0 when unknown"),
	FIELD("boot", boot, "names the host's boot; with the one before, one plugging-in"),
	FIELD_NS("at_seconds", at_ns, ""),
};
#undef HERE
const struct line_kind kind_cycle = LINE_KIND("cycle", cycle_fields,
	"One cut begins. A journal may hold several, and recheck judges by the last.",
	.synced = true);

#define HERE struct journal_moment_line
static const struct field moment_fields[] = {
	FIELD_NS("at_seconds", at_ns, ""),
};
#undef HERE
const struct line_kind kind_ready = LINE_KIND("ready", moment_fields,
	"The baseline, generation 1 of every block of the region, is written and flushed.",
	.synced = true);
const struct line_kind kind_pull = LINE_KIND(
	"pull", moment_fields, "The command of --cut-with is about to start.", .synced = true);

#define HERE struct journal_intend_line
static const struct field intend_fields[] = {
	FIELD("first", first,
		"number of the first write, counted from 2; it is the generation of its blocks"),
	FIELD_AS("writes", FIELD_IS_SERIES, writes, "offset and length, in bytes", .shape = "cc"),
	FIELD_NS("at_seconds", at_ns, ""),
};
#undef HERE
const struct line_kind kind_intend = LINE_KIND("intend", intend_fields,
	"These writes, and the numbers that follow, may be sent from now on.", .synced = true);

#define HERE struct journal_done_line
static const struct field done_fields[] = {
	FIELD("write", write, "its number"),
	FIELD("stored", stored,
		"1: stored when it returned (FUA, or a flush by the kernel), and the line is "
		"synced"),
	FIELD_NS("sent_seconds", sent_ns, ""),
	FIELD_NS("at_seconds", at_ns, ""),
};
#undef HERE
const struct line_kind kind_done =
	LINE_KIND("done", done_fields, "A write was answered without an error.");

#define HERE struct journal_flush_line
static const struct field flush_fields[] = {
	FIELD("through", through, "after this write"),
	FIELD_NS("at_seconds", at_ns, ""),
};
#undef HERE
const struct line_kind kind_flush = LINE_KIND("flush", flush_fields, "A flush was sent.");
const struct line_kind kind_stored = LINE_KIND("stored", flush_fields,
	"It returned: every write up to that one is promised.", .synced = true);

#define HERE struct journal_stop_line
static const struct field stop_fields[] = {
	FIELD("reason", reason,
		"gone: the target stopped answering; time; interrupted; remains: the command "
		"ended and the target still answers; failed: a request failed and the target "
		"still answers"),
	FIELD("errno", code, "of the request that failed; 0: none, or it ended early"),
	FIELD("device_errors", device_errors,
		"errors and resets of the device that the kernel counted between the baseline and "
		"the end; of a target that is gone by then, those before the last 64 writes"),
	FIELD_NS("at_seconds", at_ns, ""),
};
#undef HERE
const struct line_kind kind_stop = LINE_KIND("stop", stop_fields,
	"Writing ended. A journal whose writer was killed has no such line; the last one then "
	"stands for the moment of the cut.",
	.synced = true, .closes = true);
