/* What every command's run record begins and ends with. */
#include "cli/record_run.h"

#include <string.h>
#include <sys/random.h>
#include <unistd.h>

#include "base/error.h"
#include "base/random.h"
#include "base/text.h"
#include "cli/session.h"
#include "platform/clock.h"

uint64_t record_run_seed(const struct options *o)
{
	uint32_t seed;

	if (o->given[OPTION_SEED])
		return o->number[OPTION_SEED];
	/* 32 bits: enough to differ, short enough to type again. */
	if (getrandom(&seed, sizeof seed, GRND_NONBLOCK) != (ssize_t)sizeof seed)
		seed = (uint32_t)random_mix(clock_now_ns());
	return seed;
}

int record_run_begin(struct record_writer *w, const char *path, const char *kind, uint64_t seed,
	const struct options *o, const struct session *s, struct error *err)
{
	struct run_head head = { .seed = seed };
	struct run_target target;

	text_copy(head.kind, sizeof head.kind, kind);
	text_copy(head.label, sizeof head.label, options_text(o, OPTION_LABEL, ""));
	text_copy(head.command, sizeof head.command, o->command_line);
	run_head_complete(&head);
	session_describe(s, &target);
	if (record_create(w, path, kind, err) < 0)
		return -1;
	if (run_write_head(w, &head, err) < 0 || run_write_target(w, &target, err) < 0) {
		record_close(w, NULL);
		unlink(path);
		return -1;
	}
	return 0;
}

int record_run_end(
	struct record_writer *w, int exit_status, const struct error *why, struct error *err)
{
	struct run_end end = { .exit_status = exit_status };
	int rc;

	text_copy(end.status, sizeof end.status,
		exit_status == 130               ? "interrupted"
		: why && why->kind != ERROR_NONE ? "failed"
						 : "complete");
	if (why && why->kind != ERROR_NONE)
		text_copy(end.reason, sizeof end.reason, why->text);
	rc = run_write_end(w, &end, err);
	if (record_close(w, rc < 0 ? NULL : err) < 0)
		rc = -1;
	return rc;
}
