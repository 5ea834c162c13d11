/* From the options of `verify`, or from the record it goes on with, to a plan. */
#ifndef CLI_VERIFY_PLAN_H
#define CLI_VERIFY_PLAN_H

#include "cli/lists.h"
#include "cli/options.h"
#include "integrity/verify.h"
#include "record/verify_lines.h"

struct session;

/* What was asked for, before the target is known. */
struct verify_request {
	bool write, read;
	bool orders[2]; /* sequential, random */
	struct size_list sizes; /* none: the default */
	uint32_t generations;
	uint32_t spots; /* 0: the whole region */
	uint64_t give_up_after;
};

/* 0, or -1 with *err. */
int verify_request_parse(struct verify_request *r, const struct options *o, struct error *err);

/* spots: room for VERIFY_RECORD_SPOTS offsets, which the plan then points to. Checks sizes against the target. */
int verify_plan_make(struct verify_plan *p, uint64_t *spots, const struct verify_request *r,
	const struct session *s, uint64_t seed, struct error *err);

/* The same plan again. Refuses a record whose target is another one, or that has nothing left to do. */
int verify_plan_resume(
	struct verify_plan *p, struct verify_record *v, const struct session *s, struct error *err);

void verify_plan_describe(struct verify_record_plan *out, const struct verify_plan *p, bool kept);

/* Blocks of this very seed on the target would hide lost writes: refuses to write over them. */
int verify_plan_check_seed(const struct verify_plan *p, struct session *s, struct error *err);

#endif
