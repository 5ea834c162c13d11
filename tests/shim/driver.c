/* Runs one job of the tool again and again; each time the k-th library call of one kind fails, for every k until a run
 * is no longer touched. After each run the oracle of tests/shim/jobs.c says whether the outcome is one we can stand by.
 *
 *   driver [-f] [-v] [-k KIND] SHIM TOOL FOLDER JOB
 *
 *   SHIM    build/tests/fault.so      TOOL    build/blkassay     FOLDER  an empty one on a filesystem with O_DIRECT
 *   -f      full: every k, every error (else errors take turns, and late k are sampled)      -v  every run on stderr
 *   -k      calls of this kind alone (tests/shim/kinds.h) */
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "shim/files.h"
#include "shim/jobs.h"
#include "shim/judges.h"
#include "shim/kinds.h"
#include "shim/place.h"

enum { TIME_LIMIT_S = 20, CALLS_MAX = 100000, FULL_START = 12, COMPLAINTS_MAX = 12 };

struct fault {
	enum fault_kind kind;
	unsigned long nth;
	const char *name; /* of the error */
	int code; /* 0: short; -1: a lie */
	bool lasting;
};

/* Every error that each kind can meet; a device that went away stays away. */
static const struct fault errors[] = {
	{ .name = "EIO", .code = EIO },
	{ .name = "ENODEV", .code = ENODEV },
	{ .name = "ENOSPC", .code = ENOSPC },
	{ .name = "EINTR", .code = EINTR },
	{ .name = "EAGAIN", .code = EAGAIN },
	{ .name = "ENODEV from then on", .code = ENODEV, .lasting = true },
	{ .name = "short", .code = 0 },
	{ .name = "EINTR from then on", .code = EINTR, .lasting = true },
};
static const struct fault no_memory = { .name = "ENOMEM", .code = ENOMEM };
static const struct fault lying = { .name = "a flipped bit", .code = -1 };
static const struct fault no_thread = { .name = "EAGAIN", .code = EAGAIN };

static struct {
	const char *shim, *tool;
	bool full, verbose;
	int only; /* enum fault_kind; -1: all kinds */
	bool hasty; /* naps are cut short */
	unsigned long runs, complaints;
} driver;

static void die(const char *what)
{
	fprintf(stderr, "driver: %s: %s\n", what, strerror(errno));
	exit(3);
}

static void child_sends(const char *path, int fd)
{
	int file = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0666);

	if (file < 0 || dup2(file, fd) < 0)
		_exit(98);
	close(file);
}

static void child_arms(const struct fault *f)
{
	if (driver.hasty)
		setenv("FAULT_HASTE", "1", 1);
	char nth[24], code[12];

	snprintf(nth, sizeof nth, "%lu", f->nth);
	if (f->code > 0)
		snprintf(code, sizeof code, "%d", f->code);
	else
		snprintf(code, sizeof code, "%s", f->code ? "lie" : "short");
	setenv("FAULT_CALL", fault_kind_names[f->kind], 1);
	setenv("FAULT_NTH", nth, 1);
	setenv("FAULT_ERROR", code, 1);
	if (f->lasting)
		setenv("FAULT_LAST", "1", 1);
	setenv("FAULT_LOG", "hit", 1);
	if (!f->nth)
		setenv("FAULT_TRACE", "trace", 1);
	setenv("LD_PRELOAD", driver.shim, 1);
}

/* Waits for a child; stops it at the time limit. Returns what waitpid() told, or -1 for a child that had to be
 * stopped. */
static int wait_for(pid_t child)
{
	const struct timespec nap = { .tv_nsec = 1000000 };
	time_t end = time(NULL) + TIME_LIMIT_S;
	int status;

	while (waitpid(child, &status, WNOHANG) == 0) {
		if (time(NULL) >= end) {
			kill(child, SIGKILL);
			waitpid(child, &status, 0);
			return -1;
		}
		nanosleep(&nap, NULL);
	}
	return status;
}

/* Runs the tool with the words of argv; output in the files `out` and `err` of this folder. */
static int run(const char *const *argv, const char *out, const char *err, const struct fault *f)
{
	char *words[JOB_WORDS_MAX + 2] = { (char *)(uintptr_t)driver.tool };
	pid_t child;

	for (int i = 0; argv[i]; i++)
		words[i + 1] = (char *)(uintptr_t)(!strcmp(argv[i], "@")        ? place_target()
						   : !strcmp(argv[i], "@token") ? place_token()
										: argv[i]);
	child = fork();
	if (child < 0)
		die("fork");
	if (child == 0) {
		int null = open("/dev/null", O_RDONLY);

		if (null < 0 || dup2(null, 0) < 0)
			_exit(98);
		child_sends(out, 1);
		child_sends(err, 2);
		if (f)
			child_arms(f);
		execv(driver.tool, words);
		_exit(98);
	}
	return wait_for(child);
}

int job_tool(const char *word, ...)
{
	const char *argv[JOB_WORDS_MAX + 1] = { word };
	va_list ap;
	int n = 1, status;

	va_start(ap, word);
	while (n < JOB_WORDS_MAX && (argv[n] = va_arg(ap, const char *)) != NULL)
		n++;
	va_end(ap);
	status = run(argv, "after.out", "after.err", NULL);
	return status >= 0 && WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

int job_tool_again(const struct job *job)
{
	int status = run(job->argv, "after.out", "after.err", NULL);

	return status >= 0 && WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

int job_tool_unplugged(unsigned long nth, const char *const *argv)
{
	const struct fault f = {
		.kind = FAULT_PWRITE, .nth = nth, .code = ENODEV, .lasting = true
	};
	int status = run(argv, "after.out", "after.err", &f);

	unlink("hit");
	return status >= 0 && WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/* Lines that say what failed. A second one is due when kept data is left behind: it says how to get it back. */
static size_t count_errors(void)
{
	size_t all = file_count("err", "blkassay: ");

	return all > 1 && file_count("err", "run: blkassay restore ") ? all - 1 : all;
}

/* What nobody may ever see, whatever the job. NULL: fine so far. */
static const char *common_complaint(const struct job *job, int status, bool hit)
{
	static char text[120];

	if (status == -1)
		return "hangs";
	if (WIFSIGNALED(status)) {
		snprintf(text, sizeof text, "killed by signal %d", WTERMSIG(status));
		return text;
	}
	status = WEXITSTATUS(status);
	if (!hit && status != job->status) {
		snprintf(text, sizeof text, "exit %d without any fault", status);
		return text;
	}
	/* Not shown: of an audit or a cut whose target shows little without a fault either. */
	if (status == 4 && job->status == 4)
		return NULL;
	if (status > 3) {
		snprintf(text, sizeof text, "exit %d, which means nothing here", status);
		return text;
	}
	if (status >= 2 && !file_count("err", "blkassay: "))
		return "fails without a word";
	if (status >= 2 && count_errors() != 1)
		return "fails with more than one error line";
	return NULL;
}

static void complain(const struct job *job, const struct fault *f, int status, const char *what)
{
	char call[64] = "no call";

	job_first_line("hit", call, sizeof call);
	driver.complaints++;
	printf("%s: %s number %lu (%s) fails with %s: %s", job->name, fault_kind_names[f->kind],
		f->nth, call, f->name, what);
	if (status >= 0 && WIFEXITED(status))
		printf(" (exit %d)", WEXITSTATUS(status));
	putchar('\n');
	if (driver.complaints <= 5)
		job_copy_to_stdout("err");
}

/* One run with one fault; returns whether the fault was met. */
static bool try_fault(const struct job *job, const struct fault *f)
{
	const char *complaint;
	bool hit;
	int status;

	job_clear();
	job->prepare();
	status = run(job->argv, "out", "err", f);
	hit = access("hit", F_OK) == 0;
	complaint = common_complaint(job, status, hit);
	if (!complaint)
		complaint = job->judge(job, WEXITSTATUS(status));
	if (!complaint && hit && f->kind == FAULT_SYNC)
		complaint = judge_failed_sync(job, WEXITSTATUS(status));
	driver.runs++;
	if (driver.verbose)
		fprintf(stderr, "%s %lu %s: status %x%s\n", fault_kind_names[f->kind], f->nth,
			f->name, (unsigned)status, hit ? "" : ", not met");
	if (complaint)
		complain(job, f, status, complaint);
	return hit;
}

static size_t error_count(enum fault_kind kind)
{
	if (kind == FAULT_MEMORY || kind == FAULT_THREAD)
		return 1;
	if (kind == FAULT_PREAD)
		return sizeof errors / sizeof *errors; /* the last of them is a lie */
	if (kind == FAULT_READ || kind == FAULT_WRITE || kind == FAULT_PWRITE)
		return sizeof errors / sizeof *errors - 1;
	return sizeof errors / sizeof *errors - 2;
}

static struct fault error_of(enum fault_kind kind, size_t index)
{
	bool lies = kind == FAULT_PREAD && index + 1 == sizeof errors / sizeof *errors;
	struct fault f = kind == FAULT_MEMORY   ? no_memory
			 : kind == FAULT_THREAD ? no_thread
			 : lies                 ? lying
						: errors[index];

	f.kind = kind;
	return f;
}

/* All errors at call k, or in the quick run just the one whose turn it is. */
static bool try_call(const struct job *job, enum fault_kind kind, unsigned long k)
{
	size_t count = error_count(kind);
	bool hit = false;

	for (size_t i = 0; i < count; i++) {
		struct fault f = error_of(kind, i);

		if (!driver.full && (i + k) % count)
			continue;
		f.nth = k;
		hit |= try_fault(job, &f);
	}
	return hit;
}

static void try_kind(const struct job *job, enum fault_kind kind)
{
	unsigned long k = 1, start = job->slow ? 2 : FULL_START;

	while (k < CALLS_MAX && try_call(job, kind, k))
		k += driver.full || k < start ? 1 : 1 + (job->slow ? k * 3 : k / 4);
}

/* Without a fault the job must do what the table says, else the rest would prove nothing; and in the right order. */
static void try_untouched(const struct job *job)
{
	struct fault none = { .kind = FAULT_CLOSE, .nth = 0, .name = "nothing", .code = EIO };

	const char *complaint;

	if (try_fault(job, &none))
		die("a fault was met where none was asked for");
	if ((complaint = judge_order(job)) != NULL)
		complain(job, &none, job->status << 8, complaint);
}

static int kind_of(const char *name)
{
	for (int k = 0; k < FAULT_KINDS; k++)
		if (!strcmp(name, fault_kind_names[k]))
			return k;
	fprintf(stderr, "driver: there is no kind of call '%s'\n", name);
	exit(2);
}

int main(int argc, char **argv)
{
	const struct job *job;
	int option;

	driver.only = -1;
	while ((option = getopt(argc, argv, "fvk:")) != -1) {
		driver.full |= option == 'f';
		driver.verbose |= option == 'v';
		if (option == 'k')
			driver.only = kind_of(optarg);
	}
	if (argc - optind != 4 || (job = job_find(argv[optind + 3])) == NULL) {
		fprintf(stderr, "usage: driver [-f] [-v] [-k KIND] SHIM TOOL FOLDER JOB; jobs:");
		job_list(stderr);
		return 2;
	}
	driver.shim = argv[optind];
	driver.tool = argv[optind + 1];
	driver.hasty = job->slow;
	/* Without memory setlocale(3) leaves it at that, and text keeps to plain characters, as it should: no complaint. */
	setenv("LC_ALL", "C", 1);
	if (chdir(argv[optind + 2]) < 0)
		die(argv[optind + 2]);
	if (!place_make(job->place)) {
		printf("%-16s SKIPPED: needs root and loop devices\n", job->name);
		return 0;
	}
	if (job->once)
		job->once();
	try_untouched(job);
	for (int kind = 0; kind < FAULT_KINDS && driver.complaints < COMPLAINTS_MAX; kind++)
		if (driver.only < 0 || driver.only == kind)
			try_kind(job, (enum fault_kind)kind);
	printf("%-16s %6lu runs, %lu complaints\n", job->name, driver.runs, driver.complaints);
	return driver.complaints ? 1 : 0;
}
