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

/* Nothing was to be written. */
static const char *judge_read_sweep(const struct job *job, int status)
{
	if (!file_is("card.img", card(), IMAGE_BYTES))
		return "a reading run changed the target";
	return judge_whole_record(job, status);
}

static const struct job jobs[] = {
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
