/* What was odd about a pass: a row each, from which records, CSV, JSON and their pages follow. What a sweep says of passes
 * that have one stands in findings/sweep_findings.c. */
#ifndef RECORD_PASS_FLAG_H
#define RECORD_PASS_FLAG_H

#include <stddef.h>
#include <stdint.h>

enum run_pass_bit {
	RUN_PASS_BIT_FOREIGN_IO,
	RUN_PASS_BIT_SPLIT,
	RUN_PASS_BIT_MERGED,
	RUN_PASS_BIT_WRAPPED,
	RUN_PASS_BIT_SHORT,
	RUN_PASS_BIT_ERRORS,
	RUN_PASS_BIT_CUT,
	RUN_PASS_BIT_TAIL,
	RUN_PASS_BIT_RESETS,
	RUN_PASS_BIT_HOST,
	RUN_PASS_FLAGS, /* how many there are */
};

enum run_pass_flag {
	RUN_PASS_FOREIGN_IO = 1 << RUN_PASS_BIT_FOREIGN_IO,
	RUN_PASS_SPLIT = 1 << RUN_PASS_BIT_SPLIT,
	RUN_PASS_MERGED = 1 << RUN_PASS_BIT_MERGED,
	RUN_PASS_WRAPPED = 1 << RUN_PASS_BIT_WRAPPED,
	RUN_PASS_SHORT = 1 << RUN_PASS_BIT_SHORT,
	RUN_PASS_ERRORS = 1 << RUN_PASS_BIT_ERRORS,
	RUN_PASS_CUT = 1 << RUN_PASS_BIT_CUT,
	RUN_PASS_TAIL = 1 << RUN_PASS_BIT_TAIL,
	RUN_PASS_RESETS = 1 << RUN_PASS_BIT_RESETS,
	RUN_PASS_HOST = 1 << RUN_PASS_BIT_HOST,
};

/* A pass with one of these is in no figure of any view: what it timed is not the target at this point's work. */
enum {
	RUN_PASS_UNUSABLE = RUN_PASS_FOREIGN_IO | RUN_PASS_ERRORS | RUN_PASS_CUT | RUN_PASS_RESETS |
			    RUN_PASS_HOST
};

struct run_pass_flag_row {
	const char *name; /* "foreign-io" */
	const char *meaning;
};

/* Their names by bit, ended by NULL, for the field of a record. */
extern const char *const run_pass_flag_words[RUN_PASS_FLAGS + 1];

const struct run_pass_flag_row *run_pass_flag_row(enum run_pass_bit bit);

/* "split+short"; "" for none. What fits is whole. */
void run_pass_flags_format(char *out, size_t room, uint32_t flags);

#endif
