#include "shim/judges.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "shim/files.h"

/* ---- before a run ---- */

void prepare_nothing(void)
{
}

void prepare_card(void)
{
	place_fill();
}

void prepare_cut_card(void)
{
	static const char *const argv[] = { KEPT_SWEEP, NULL };

	place_fill();
	job_tool_unplugged(2, argv);
	if (access("a.assay.kept", F_OK) < 0 || place_is_filled())
		file_die("making a card to be restored");
}

void prepare_written(void)
{
	place_fill();
	if (job_tool("verify", "@", "--erase", "@token", "--seed", "5", "--only", "write", "--out",
		    "w.assay", NULL) != 0)
		file_die("writing a card to be verified");
}

void prepare_damaged(void)
{
	prepare_written();
	place_damage(100);
}

static void sweep(const char *target, const char *path)
{
	if (job_tool("sweep", target, "--sizes", "32Ki,64Ki,128Ki", "--order", "sequential",
		    "--seconds", "0.001", "--passes", "3", "--out", path, NULL) != 0)
		file_die("making a record");
}

void prepare_record(void)
{
	place_fill();
	sweep("@", "a.assay");
}

static void copy(const char *from, const char *to)
{
	size_t n;
	char *bytes = file_read(from, &n);

	if (!bytes)
		file_die(from);
	file_write(to, bytes, n);
	free(bytes);
}

void prepare_two_records(void)
{
	copy("kept-sweep.assay", "a.assay");
	copy("kept-slow.assay", "b.assay");
}

void prepare_journal(void)
{
	static const char *const argv[] = { "cut", "@", "--erase", "@token", "--seed", "5",
		"--seconds", "60", "--out", "a.assay", NULL };

	place_fill();
	job_tool_unplugged(150, argv);
	if (!file_count("a.assay", " stored ") || !file_count("a.assay", "gone"))
		file_die("making a journal");
}

void prepare_broken_journal(void)
{
	prepare_journal();
	for (size_t block = 0; block < CARD_BYTES / 512; block++)
		place_damage(block);
}

/* ---- at the very beginning ---- */

void make_records(void)
{
	static const char model[] = FAULT_MODELS "/buoy-b.model";
	int status = 0;

	place_fill();
	status |= job_tool("sweep", "model:" FAULT_MODELS "/buoy-b.model", "--direction",
		"read,write", "--sizes", "4Ki..64Ki", "--order", "sequential", "--seconds", "0.2",
		"--passes", "6", "--out", "kept-sweep.assay", NULL);
	status |= job_tool("sweep", "model:" FAULT_MODELS "/buoy-a.model", "--direction",
		"read,write", "--sizes", "4Ki..64Ki", "--order", "sequential", "--seconds", "0.2",
		"--passes", "6", "--out", "kept-slow.assay", NULL);
	status |= job_tool("verify", "model:" FAULT_MODELS "/buoy-b.model", "--region", "0+512Ki",
		"--out", "kept-verify.assay", NULL);
	status |= job_tool(
		"audit", "model:" FAULT_MODELS "/buoy-d.model", "--out", "kept-audit.assay", NULL);
	if (status)
		file_die(model);
	if (place_token()[0] == 'c') /* an image: nothing can be observed */
		return;
	if (job_tool("observe", "@", "--seconds", "0.05", "--out", "kept-seen.assay", NULL) != 0)
		file_die("observing");
}

/* ---- after it ---- */

const char *judge_nothing(const struct job *job, int status)
{
	(void)job, (void)status;
	return NULL;
}

const char *judge_failed_sync(const struct job *job, int status)
{
	bool said = status != job->status || file_count("err", "blkassay: ") ||
		    file_count("err", "warning: ") ||
		    file_count("err", "the target is gone"); /* a cut needs no other words */

	return said ? NULL : "a sync failed, and nobody hears of it";
}

/* ---- the order of writes and syncs ---- */

struct order {
	const char *target; /* base name */
	bool announced; /* a line that announces writes is not yet synced */
	bool kept_seen, kept_open; /* kept data; not yet synced */
	bool folder_open; /* a new file's folder not yet synced */
	bool dirty; /* the target was written since its last flush */
	char folder[64]; /* base name of the current one */
};

static bool is_one_of(const char *word, const char *const *words)
{
	while (*words && strcmp(word, *words) != 0)
		words++;
	return *words != NULL;
}

static const char *order_of_line(struct order *o, const char *kind)
{
	static const char *const announcements[] = { "plan", "verify-plan", "cycle", "intend",
		NULL };
	static const char *const promises[] = { "ready", "stored", NULL };

	o->announced |= is_one_of(kind, announcements);
	return o->dirty && is_one_of(kind, promises)
		       ? "a promise is in the journal before the target made it"
		       : NULL;
}

static const char *order_of_put(struct order *o)
{
	o->dirty = true;
	if (o->announced)
		return "writes to the target before the line that announces it is on the disk";
	if (o->kept_open)
		return "writes to the target before its kept data is on the disk";
	return o->kept_seen && o->folder_open
		       ? "writes to the target before the kept file's folder is on the disk"
		       : NULL;
}

static const char *order_of_event(
	struct order *o, const char *what, const char *name, const char *kind)
{
	bool sync = !strcmp(what, "sync");

	if (!strcmp(name, o->target)) {
		if (!sync)
			return order_of_put(o);
		o->dirty = false;
	} else if (strstr(name, ".kept")) {
		o->kept_seen = true;
		o->kept_open = !sync;
		o->folder_open |= !sync;
	} else if (!strcmp(name, "a.assay")) {
		if (!sync)
			return order_of_line(o, kind);
		o->announced = false;
	} else if (sync && !strcmp(name, o->folder)) {
		o->folder_open = false;
	}
	return NULL;
}

static void find_names(struct order *o)
{
	char path[4096];
	const char *slash;

	if (!getcwd(path, sizeof path))
		file_die("the current folder");
	slash = strrchr(path, '/');
	snprintf(o->folder, sizeof o->folder, "%s", slash + 1);
	slash = strrchr(place_target(), '/');
	o->target = slash ? slash + 1 : place_target();
	if (access("new.img", F_OK) == 0)
		o->target = "new.img";
}

const char *judge_order(const struct job *job)
{
	char *bytes = file_read("trace", NULL);
	struct order o = { 0 };
	const char *complaint = NULL;
	bool may_end_dirty = !strcmp(job->argv[0], "cut") || !strcmp(job->argv[0], "audit");

	find_names(&o);
	for (char *at = bytes; at && *at && !complaint;) {
		char *end = strchr(at, '\n'), what[16] = "", name[64] = "", kind[32] = "";

		*end = 0;
		if (sscanf(at, "%15s %63s %31s", what, name, kind) >= 2)
			complaint = order_of_event(&o, what, name, kind);
		at = end + 1;
	}
	free(bytes);
	if (!complaint && o.dirty && !may_end_dirty)
		complaint = "what it wrote is not flushed in the end";
	return complaint;
}

/* A reader that is content with the record. */
static const char *try_report(const char *path)
{
	int status;

	if (access(path, F_OK) < 0)
		return NULL;
	status = job_tool("report", path, NULL);
	if (status == -1)
		return "'report' crashes on the record";
	return status == 0 ? NULL : "'report' does not read the record";
}

const char *judge_record(const struct job *job, int status)
{
	const char *complaint = try_report("a.assay");

	if (complaint || status != job->status)
		return complaint;
	if (access("a.assay", F_OK) < 0)
		return "says it is fine but left no record";
	if (!file_count("a.assay", " end status=complete"))
		return "says it is fine but the record has no good end";
	return NULL;
}

/* A journal's judge is `recheck`. One cut off before its baseline is refused, one of a target that was not cut, or made no
 * promise, gives no verdict (4); none may accuse a card that lost nothing. */
const char *judge_journal(const struct job *job, int status)
{
	const char *target = access("new.img", F_OK) == 0 ? "new.img" : "@";
	int checked;

	if (access("a.assay", F_OK) < 0)
		return status == job->status ? "says it is fine but left no journal" : NULL;
	if (job_tool("report", "a.assay", NULL) == -1)
		return "'report' crashes on the journal";
	checked = job_tool("recheck", "a.assay", target, NULL);
	if (checked == -1)
		return "'recheck' crashes on the journal";
	if (status == job->status && checked == 2)
		return "says it is fine but 'recheck' does not take the journal";
	return checked == 0 || checked == 2 || checked == 3 || checked == 4
		       ? NULL
		       : "'recheck' accuses a card that lost nothing";
}

const char *judge_read_sweep(const struct job *job, int status)
{
	return place_is_filled() ? judge_record(job, status) : "a reading run changed the target";
}

static const char *judge_put_back(void)
{
	if (place_is_filled())
		return NULL;
	if (access("a.assay.kept", F_OK) < 0)
		return "the card's data is lost: changed, and nothing saved";
	if (job_tool("restore", "a.assay.kept", "@", NULL) != 0)
		return "the card's data is changed, and 'restore' does not put it back";
	return place_is_filled() ? NULL : "'restore' says it is fine, but the data differs";
}

const char *judge_kept_run(const struct job *job, int status)
{
	const char *complaint;

	if (status == 0 && !place_is_filled())
		return "says it is fine but the card's data is changed";
	if (status != 0 && !place_is_filled() && !job_file_says("err", "restore 'a.assay.kept' '"))
		return "leaves the card changed without saying how to restore it";
	complaint = judge_put_back();
	return complaint ? complaint : judge_record(job, status);
}

const char *judge_restore(const struct job *job, int status)
{
	(void)job;
	if (status == 0 && !place_is_filled())
		return "says it is fine but the card's data is changed";
	return judge_put_back();
}

/* What was written is judged by a run that nothing disturbs. */
const char *judge_written(const struct job *job, int status)
{
	const char *target = access("new.img", F_OK) == 0 ? "new.img" : "@";

	if (status == 0 && job_tool("verify", target, "--seed", "5", "--only", "read", "--out",
				   "check.assay", NULL) != 0)
		return "says it is fine but what it wrote is not there";
	return judge_record(job, status);
}

const char *judge_failing(const struct job *job, int status)
{
	return status == 0 ? "calls what is broken fine" : judge_record(job, status);
}

const char *judge_gate(const struct job *job, int status)
{
	(void)job;
	return status == 0 ? "calls what is broken fine" : NULL;
}

const char *judge_refused(const struct job *job, int status)
{
	(void)job;
	if (!place_is_filled())
		return "wrote to what must not be written";
	return status < 2 ? "calls a refusal fine" : NULL;
}

/* The same file as the job makes without a fault; `apology`: a word on stderr that something is missing will do. */
static const char *compare(const char *whole, const char *said, bool apology)
{
	char *a = file_read(whole, NULL), *b = file_read(said, NULL);
	const char *complaint = NULL;

	if (!a)
		file_die(whole);
	if (!b || strcmp(a, b) != 0)
		complaint = apology && file_count("err", "blkassay: ")
				    ? NULL
				    : "says it is fine, but the result is another one";
	free(a);
	free(b);
	return complaint;
}

static const char *run_again(const struct job *job)
{
	return job_tool_again(job) == job->status ? NULL : "the same job has another end now";
}

const char *judge_output(const struct job *job, int status)
{
	const char *complaint = status == job->status ? run_again(job) : NULL;

	return complaint || status != job->status ? complaint : compare("after.out", "out", true);
}

static const char *judge_file(const struct job *job, int status, const char *path)
{
	const char *complaint;

	if (status != job->status)
		return NULL;
	if (rename(path, "said") < 0)
		return "says it is fine, but made no file";
	complaint = run_again(job);
	return complaint ? complaint : compare(path, "said", false);
}

const char *judge_csv(const struct job *job, int status)
{
	return judge_file(job, status, "a.csv");
}

const char *judge_json(const struct job *job, int status)
{
	return judge_file(job, status, "a.json");
}

const char *judge_page(const struct job *job, int status)
{
	return judge_file(job, status, "a.html");
}
