/* A verify run's lines in a record, beside those that every run has. */
#ifndef RECORD_VERIFY_LINES_H
#define RECORD_VERIFY_LINES_H

#include "base/damage.h"
#include "record/run.h"

enum { VERIFY_RECORD_SIZES = 16, VERIFY_RECORD_SPOTS = 4096 };

struct verify_record_plan {
	uint64_t region_start, region_bytes;
	uint64_t sizes[VERIFY_RECORD_SIZES];
	uint64_t size_count;
	bool sequential, random;
	uint64_t rewrites; /* generations asked for */
	bool write, read;
	uint64_t spots[VERIFY_RECORD_SPOTS]; /* offsets; none: the whole region */
	uint64_t spot_count;
	uint64_t give_up_after;
	bool kept_data;
};

struct verify_record_failures { /* of one direction */
	uint64_t requests, retries, blocks, first_offset, first_errno;
};

struct verify_record_state {
	uint64_t pass, next; /* pass from 0; the first request of it not done */
	bool reading;
	uint64_t passes; /* in all */
	struct verify_record_failures reads, writes;
	uint64_t flush_errno;
	uint64_t written_bytes, read_bytes, write_ns, flush_ns, read_ns;
	uint64_t device_errors; /* errors and resets by the kernel's count; 0: none or unknown */
	/* Misplaced blocks written anew at the end, which of them changed the place they were from, and which left it alone. */
	uint64_t places_tried, places_same, places_apart;
	uint64_t range_count; /* lines of ranges that hold */
	char outcome[16]; /* running, complete, interrupted, gave up, failed */
	struct damage_totals totals;
};

struct verify_record {
	struct run run;
	bool planned; /* there was a verify-plan; else only the head and the end are known */
	bool stated; /* there was a verify-state */
	struct verify_record_plan plan;
	struct verify_record_state state;
	struct damage_range *ranges;
	size_t range_count;
};

extern const struct line_kind kind_verify_plan, kind_verify_range, kind_verify_state,
	kind_verify_resume;

int verify_write_plan(
	struct record_writer *w, const struct verify_record_plan *p, struct error *err);
int verify_write_range(struct record_writer *w, const struct damage_range *r, struct error *err);
/* Synced. */
int verify_write_state(
	struct record_writer *w, const struct verify_record_state *s, struct error *err);
int verify_write_resume(struct record_writer *w, struct error *err);

/* The whole record of a verify run. 0, or -1 with *err (no record, or one of another kind). */
int verify_load(struct verify_record *v, const char *path, struct error *err);
void verify_record_release(struct verify_record *v);

#endif
