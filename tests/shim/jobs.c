#include "shim/jobs.h"

#include <string.h>

#include "shim/judges.h"

#define QUICK                                                                                    \
	"--sizes", "64Ki,256Ki", "--seconds", "0.001", "--passes", "1", "--order", "sequential", \
		"--out", "a.assay"
#define MODEL(name) "model:" FAULT_MODELS "/" name ".model"
/* What every refusal is tried with: consent that fits. */
#define ERASE "sweep", "@", "--direction", "write", "--erase", "@token", QUICK

static const struct job jobs[] = {
	/* Long ones first, so that two processors finish together. */
	{ "audit-loop", 4,
		{ "audit", "@", "--erase", "@token", "--seed", "5", "--out", "a.assay", NULL },
		prepare_card, judge_record, PLACE_LOOP, true, NULL },
	{ "audit-model", 1,
		{ "audit", MODEL("fault-loses-writes"), "--seed", "5", "--out", "a.assay", NULL },
		prepare_nothing, judge_failing, PLACE_IMAGE, true, NULL },

	/* Image files. */
	{ "verify", 0,
		{ "verify", "new.img", "--create", "512Ki", "--seed", "5", "--out", "a.assay",
			NULL },
		prepare_nothing, judge_written, PLACE_IMAGE, false, NULL },
	{ "verify-write", 0,
		{ "verify", "new.img", "--create", "512Ki", "--seed", "5", "--only", "write",
			"--out", "a.assay", NULL },
		prepare_nothing, judge_written, PLACE_IMAGE, false, NULL },
	{ "verify-damaged", 1,
		{ "verify", "@", "--seed", "5", "--only", "read", "--csv", "d.csv", "--out",
			"a.assay", NULL },
		prepare_damaged, judge_failing, PLACE_IMAGE, false, NULL },
	{ "cut", 0,
		{ "cut", "new.img", "--create", "512Ki", "--seed", "5", "--seconds", "0.05",
			"--out", "a.assay", NULL },
		prepare_nothing, judge_journal, PLACE_IMAGE, false, NULL },
	{ "sweep-kept", 0, { KEPT_SWEEP, NULL }, prepare_card, judge_kept_run, PLACE_IMAGE, false,
		NULL },
	{ "restore", 0, { "restore", "a.assay.kept", "@", NULL }, prepare_cut_card, judge_restore,
		PLACE_IMAGE, false, NULL },
	{ "sweep-read", 0, { "sweep", "@", QUICK, NULL }, prepare_card, judge_read_sweep,
		PLACE_IMAGE, false, NULL },
	{ "sweep-write", 0,
		{ "sweep", "new.img", "--create", "512Ki", "--direction", "read,write",
			"--in-flight", "2", QUICK, NULL },
		prepare_nothing, judge_record, PLACE_IMAGE, false, NULL },

	/* Loop devices: ioctl, sysfs, counters. */
	{ "loop-sweep", 0, { "sweep", "@", QUICK, NULL }, prepare_card, judge_read_sweep,
		PLACE_LOOP, false, NULL },
	{ "loop-kept", 0, { KEPT_SWEEP, NULL }, prepare_card, judge_kept_run, PLACE_LOOP, false,
		NULL },
	{ "loop-verify", 0,
		{ "verify", "@", "--erase", "@token", "--seed", "5", "--out", "a.assay", NULL },
		prepare_card, judge_written, PLACE_LOOP, false, NULL },
	{ "loop-verify-kept", 0,
		{ "verify", "@", "--keep-data", "--seed", "5", "--out", "a.assay", NULL },
		prepare_card, judge_kept_run, PLACE_LOOP, false, NULL },
	{ "loop-restore", 0, { "restore", "a.assay.kept", "@", NULL }, prepare_cut_card,
		judge_restore, PLACE_LOOP, false, NULL },
	{ "loop-cut", 0,
		{ "cut", "@", "--erase", "@token", "--seed", "5", "--seconds", "0.05", "--out",
			"a.assay", NULL },
		prepare_card, judge_journal, PLACE_LOOP, false, NULL },
	/* What the limit takes away was never promised, so no cut shows what a flush is worth. */
	{ "loop-recheck", 4, { "recheck", "a.assay", "@", NULL }, prepare_journal, judge_nothing,
		PLACE_LOOP, false, NULL },
	{ "loop-recheck-bad", 1, { "recheck", "a.assay", "@", NULL }, prepare_broken_journal,
		judge_gate, PLACE_LOOP, false, NULL },
	{ "observe", 0, { "observe", "@", "--seconds", "0.05", "--out", "a.assay", NULL },
		prepare_card, judge_record, PLACE_LOOP, false, NULL },

	/* What must never be written, whatever part of finding that out fails. */
	{ "held", 2, { ERASE, NULL }, prepare_card, judge_refused, PLACE_HELD, false, NULL },
	{ "held-image", 2, { ERASE, NULL }, prepare_card, judge_refused, PLACE_HELD_IMAGE, false,
		NULL },
	{ "beside", 2, { ERASE, NULL }, prepare_card, judge_refused, PLACE_BESIDE, false, NULL },
	{ "alias", 2, { ERASE, NULL }, prepare_card, judge_refused, PLACE_ALIAS, false, NULL },
	{ "twin", 2, { ERASE, NULL }, prepare_card, judge_refused, PLACE_TWIN, false, NULL },

	/* Models, records, lists. */
	{ "model-verify", 1,
		{ "verify", MODEL("fault-false-capacity"), "--spot", "64", "--seed", "5", "--out",
			"a.assay", NULL },
		prepare_nothing, judge_failing, PLACE_IMAGE, false, NULL },
	{ "model-cut", 1,
		{ "cut", MODEL("fault-ignores-flush"), "--region", "0+512Ki", "--seed", "4",
			"--cycles", "3", "--seconds", "1", "--out", "a.assay", NULL },
		prepare_nothing, judge_gate, PLACE_IMAGE, false, NULL },
	{ "report", 0, { "report", "a.assay", NULL }, prepare_record, judge_output, PLACE_IMAGE,
		false, NULL },
	{ "report-all", 0,
		{ "report", "kept-sweep.assay", "kept-verify.assay", "kept-audit.assay",
			"kept-seen.assay", NULL },
		prepare_nothing, judge_output, PLACE_LOOP, false, make_records },
	{ "csv", 0, { "report", "kept-sweep.assay", "--csv", "a.csv", NULL }, prepare_nothing,
		judge_csv, PLACE_IMAGE, false, make_records },
	{ "page", 0,
		{ "report", "kept-sweep.assay", "kept-verify.assay", "kept-audit.assay",
			"kept-seen.assay", "--page", "a.html", NULL },
		prepare_nothing, judge_page, PLACE_LOOP, false, make_records },
	{ "json", 0,
		{ "report", "kept-sweep.assay", "kept-verify.assay", "kept-audit.assay",
			"kept-seen.assay", "--json", "a.json", NULL },
		prepare_nothing, judge_json, PLACE_LOOP, false, make_records },
	{ "compare", 1,
		{ "compare", "a.assay", "--against", "b.assay", "--allow-slower", "5", NULL },
		prepare_two_records, judge_gate, PLACE_IMAGE, false, make_records },
	{ "compare-csv", 0,
		{ "compare", "a.assay", "--against", "b.assay", "--csv", "a.csv", NULL },
		prepare_two_records, judge_csv, PLACE_IMAGE, false, make_records },
	{ "explain", 0, { "explain", "kept-sweep.assay", "--card-read", "1.7MB/s", NULL },
		prepare_nothing, judge_output, PLACE_IMAGE, false, make_records },
	{ "explain-as", 0, { "explain", "kept-sweep.assay", "--as", "kept-seen.assay", NULL },
		prepare_nothing, judge_output, PLACE_LOOP, false, make_records },
	{ "targets", 0, { "targets", NULL }, prepare_nothing, judge_nothing, PLACE_LOOP, false,
		NULL },
	{ "targets-json", 0, { "targets", "--json", "a.json", NULL }, prepare_nothing,
		judge_nothing, PLACE_TWIN, false, NULL },
	{ "targets-csv", 0, { "targets", "--csv", "a.csv", NULL }, prepare_nothing, judge_nothing,
		PLACE_TWIN, false, NULL },
	{ "help", 0, { "help", "sweep", NULL }, prepare_nothing, judge_output, PLACE_IMAGE, false,
		NULL },
};

const struct job *job_find(const char *name)
{
	for (size_t i = 0; i < sizeof jobs / sizeof *jobs; i++)
		if (!strcmp(jobs[i].name, name))
			return &jobs[i];
	return NULL;
}

void job_list(FILE *out)
{
	for (size_t i = 0; i < sizeof jobs / sizeof *jobs; i++)
		fprintf(out, " %s", jobs[i].name);
	fputc('\n', out);
}
