/* What `cut` and `recheck` share: judging a target against a journal and saying so. */
#ifndef CLI_CUT_VERDICT_H
#define CLI_CUT_VERDICT_H

#include <stdbool.h>

struct error;
struct journal_plug;
struct recheck_result;
struct session;

/* Reads back and judges. 0 with *out to be released, or -1 with *err. Shows progress. */
int cut_verdict(
	struct session *s, const char *journal_path, struct recheck_result *out, struct error *err);

/* How the target is plugged in now. */
void cut_verdict_plug(struct journal_plug *out, const struct session *s);

/* Appends the result to the journal. 0, or -1 with *err. */
int cut_verdict_record(const char *journal_path, const struct recheck_result *r, struct error *err);

#endif
