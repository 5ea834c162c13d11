/* The jobs of the fault sweep: what the tool is asked to do, and what may be true afterwards. Everything happens in the
 * current folder, in files with fixed names. */
#ifndef SHIM_JOBS_H
#define SHIM_JOBS_H

#include <stddef.h>
#include <stdio.h>

#include "shim/place.h"

enum { JOB_WORDS_MAX = 24 };

struct job {
	const char *name;
	int status; /* exit status without a fault */
	/* without the tool's own name; "@" the target, "@token" its token */
	const char *argv[JOB_WORDS_MAX];
	void (*prepare)(void); /* before each run, in an empty folder */
	/* After a run that ended with this exit status: a complaint, or NULL. */
	const char *(*judge)(const struct job *job, int status);
	enum place place;
	bool slow; /* a run takes long: its naps are cut short, and fewer calls fail */
	/* at the very beginning: makes files named kept-..., which stay; may be NULL */
	void (*once)(void);
};

const struct job *job_find(const char *name);
void job_list(FILE *out);

/* The same names in every job: a.assay is the record, new.img an image that a run makes, a.assay.kept the saved data. */

/* The tool without any fault, words up to NULL; output in after.out and after.err. Its exit status; -1: it crashed. */
int job_tool(const char *word, ...) __attribute__((sentinel));

/* The job's own words, without any fault. */
int job_tool_again(const struct job *job);

/* The same, with every write to the target failing from the nth on (ENODEV), as after an unplug. */
int job_tool_unplugged(unsigned long nth, const char *const *argv);

/* Removes everything in the current folder that does not begin with "kept-". */
void job_clear(void);
int job_file_says(const char *path, const char *text);
void job_first_line(const char *path, char *out, size_t room);
void job_copy_to_stdout(const char *path);

#endif
