#include "shim/jobs.h"

#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "shim/files.h"

enum { IMAGE_BYTES = 512 * 1024 };

/* A card with data on it, the same each time. */
static const unsigned char *card(void)
{
	static unsigned char bytes[IMAGE_BYTES];
	uint32_t x = 12345;

	for (size_t i = 0; i < sizeof bytes; i++) {
		x = x * 1664525 + 1013904223; /* any generator does */
		bytes[i] = (unsigned char)(x >> 24);
	}
	return bytes;
}

static void prepare_nothing(void)
{
}

static void prepare_card(void)
{
	file_write("card.img", card(), IMAGE_BYTES);
}

/* What a run record must be like whenever there is one: `report` reads it. */
static const char *judge_record(const char *path)
{
	int status;

	if (access(path, F_OK) < 0)
		return NULL;
	status = job_tool("report", path, NULL);
	if (status == -1)
		return "'report' crashes on the record";
	return status == 0 ? NULL : "'report' does not read the record";
}

static const char *judge_whole_record(const struct job *job, int status)
{
	const char *complaint = judge_record("a.run");

	if (complaint || status != job->status)
		return complaint;
	if (access("a.run", F_OK) < 0)
		return "says it is fine but left no record";
	if (!file_count("a.run", " end status=complete"))
		return "says it is fine but the record has no good end";
	return NULL;
}

/* A journal's judge is `recheck`. One cut off before its baseline is refused, one before its first promise gives no verdict (3);
 * none may accuse a card that lost nothing. */
static const char *judge_journal(const struct job *job, int status)
{
	int checked;

	if (access("a.run", F_OK) < 0)
		return status == job->status ? "says it is fine but left no journal" : NULL;
	if (job_tool("report", "a.run", NULL) == -1)
		return "'report' crashes on the journal";
	checked = job_tool("recheck", "a.run", "new.img", NULL);
	if (checked == -1)
		return "'recheck' crashes on the journal";
	if (status == job->status)
		return checked == 0 ? NULL : "says it is fine but 'recheck' does not agree";
	return checked == 0 || checked == 2 || checked == 3
		       ? NULL
		       : "'recheck' accuses a card that lost nothing";
}

/* Nothing was to be written. */
static const char *judge_read_sweep(const struct job *job, int status)
{
	if (!file_is("card.img", card(), IMAGE_BYTES))
		return "a reading run changed the target";
	return judge_whole_record(job, status);
}

/* Kept data: the card is as it was, or what is needed to make it so is there. */
static const char *judge_kept(const char *saved)
{
	if (file_is("card.img", card(), IMAGE_BYTES))
		return NULL;
	if (access(saved, F_OK) < 0)
		return "the card's data is lost: changed, and nothing saved";
	if (job_tool("restore", saved, "card.img", NULL) != 0)
		return "the card's data is changed, and 'restore' does not put it back";
	return file_is("card.img", card(), IMAGE_BYTES)
		       ? NULL
		       : "'restore' says it is fine, but the data differs";
}

static const char *judge_kept_sweep(const struct job *job, int status)
{
	const char *complaint;

	if (status == 0 && !file_is("card.img", card(), IMAGE_BYTES))
		return "says it is fine but the card's data is changed";
	if (status != 0 && !file_is("card.img", card(), IMAGE_BYTES) &&
		!job_file_says("err", "restore 'a.run.kept' 'card.img'"))
		return "leaves the card changed without saying how to restore it";
	complaint = judge_kept("a.run.kept");
	return complaint ? complaint : judge_whole_record(job, status);
}

#define KEPT_SWEEP                                                                      \
	"sweep", "card.img", "--keep-data", "--direction", "write", "--sizes", "128Ki", \
		"--seconds", "0.001", "--passes", "1", "--order", "sequential", "--out", "a.run"

/* A card whose run was cut off in the middle: the data saved, the card overwritten. */
static void prepare_cut_card(void)
{
	static const char *const argv[] = { KEPT_SWEEP, NULL };

	prepare_card();
	job_tool_unplugged(2, argv);
	if (access("a.run.kept", F_OK) < 0 || file_is("card.img", card(), IMAGE_BYTES))
		file_die("making a card to be restored");
}

static const char *judge_restore(const struct job *job, int status)
{
	(void)job;
	if (status == 0 && !file_is("card.img", card(), IMAGE_BYTES))
		return "says it is fine but the card's data is changed";
	return judge_kept("a.run.kept");
}

/* Written by one half of verify, then one block overwritten: what a reading run must find each time. */
static void prepare_written(void)
{
	if (job_tool("verify", "card.img", "--create", "512Ki", "--seed", "5", "--only", "write",
		    "--out", "w.run", NULL) != 0)
		file_die("writing a card to be verified");
}

static void prepare_damaged(void)
{
	size_t n;
	char *bytes;

	prepare_written();
	bytes = file_read("card.img", &n);
	memset(bytes + 100 * 512, 0, 512);
	file_write("card.img", bytes, n);
	free(bytes);
}

/* What was written is judged by a run that nothing disturbs. */
static const char *judge_written(const struct job *job, int status)
{
	if (status == 0 && job_tool("verify", "new.img", "--seed", "5", "--only", "read", "--out",
				   "check.run", NULL) != 0)
		return "says it is fine but what it wrote is not there";
	return judge_whole_record(job, status);
}

static const char *judge_damaged(const struct job *job, int status)
{
	if (status == 0)
		return "calls a damaged card fine";
	return judge_whole_record(job, status);
}

/* Records to report on. */
static void prepare_record(void)
{
	prepare_card();
	if (job_tool("sweep", "card.img", "--sizes", "32Ki,64Ki,128Ki", "--order", "sequential",
		    "--seconds", "0.001", "--passes", "3", "--out", "a.run", NULL) != 0)
		file_die("making a record");
}

/* The same record, reported without a fault: a good end means the same text, or a word about what is missing. */
static const char *judge_report(const struct job *job, int status)
{
	char *whole, *said;
	const char *complaint = NULL;

	(void)job;
	if (status != 0)
		return NULL;
	job_tool("report", "a.run", NULL);
	whole = file_read("after.out", NULL);
	said = file_read("out", NULL);
	if (!whole || !said || strcmp(whole, said) != 0)
		complaint = file_count("err", "blkassay: ")
				    ? NULL
				    : "says it is fine, but the report is another one";
	free(whole);
	free(said);
	return complaint;
}

static const char *judge_csv(const struct job *job, int status)
{
	char *whole, *said;
	const char *complaint = NULL;

	(void)job;
	if (status != 0)
		return NULL;
	job_tool("report", "a.run", "--csv", "b.csv", NULL);
	whole = file_read("b.csv", NULL);
	said = file_read("a.csv", NULL);
	if (!whole || !said || strcmp(whole, said) != 0)
		complaint = "says it is fine, but the CSV is not whole";
	free(whole);
	free(said);
	return complaint;
}

static const char *judge_nothing(const struct job *job, int status)
{
	(void)job, (void)status;
	return NULL;
}

static const struct job jobs[] = {
	{ "verify", 0,
		{ "verify", "new.img", "--create", "512Ki", "--seed", "5", "--out", "a.run", NULL },
		prepare_nothing, judge_written, NULL },
	{ "verify-write", 0,
		{ "verify", "new.img", "--create", "512Ki", "--seed", "5", "--only", "write",
			"--out", "a.run", NULL },
		prepare_nothing, judge_written, NULL },
	{ "verify-damaged", 1,
		{ "verify", "card.img", "--seed", "5", "--only", "read", "--damage", "d.csv",
			"--out", "a.run", NULL },
		prepare_damaged, judge_damaged, NULL },
	{ "report", 0, { "report", "a.run", NULL }, prepare_record, judge_report, NULL },
	{ "csv", 0, { "report", "a.run", "--csv", "a.csv", NULL }, prepare_record, judge_csv,
		NULL },
	{ "explain", 0, { "explain", "a.run", NULL }, prepare_record, judge_nothing, NULL },
	{ "targets", 0, { "targets", NULL }, prepare_nothing, judge_nothing, NULL },
	{ "cut", 0,
		{ "cut", "new.img", "--create", "512Ki", "--seed", "5", "--seconds", "0.05",
			"--out", "a.run", NULL },
		prepare_nothing, judge_journal, NULL },
	{ "sweep-kept", 0, { KEPT_SWEEP, NULL }, prepare_card, judge_kept_sweep, NULL },
	{ "restore", 0, { "restore", "a.run.kept", "card.img", NULL }, prepare_cut_card,
		judge_restore, NULL },

	{ "sweep-read", 0,
		{ "sweep", "card.img", "--sizes", "64Ki,256Ki", "--seconds", "0.001", "--passes",
			"1", "--order", "sequential", "--out", "a.run", NULL },
		prepare_card, judge_read_sweep, NULL },
	{ "sweep-write", 0,
		{ "sweep", "new.img", "--create", "512Ki", "--direction", "read,write", "--sizes",
			"128Ki", "--in-flight", "2", "--seconds", "0.001", "--passes", "1", "--out",
			"a.run", NULL },
		prepare_nothing, judge_whole_record, NULL },
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
