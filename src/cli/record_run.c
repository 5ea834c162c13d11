/* What every command's run record begins and ends with. */
#include "cli/record_run.h"

#include <string.h>
#include <sys/random.h>

#include "base/error.h"
#include "base/random.h"
#include "base/text.h"
#include "cli/session.h"
#include "medium/medium.h"
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

void record_run_target(struct run_target *out, const struct medium_traits *t, const char *token)
{
	static const char *const caches[] = { "unknown", "write through", "write back" };
	static const char *const kinds[] = { "device", "image", "model", "memory" };

	*out = (struct run_target){ .size_bytes = t->size_bytes,
		.logical_block_bytes = t->logical_block_bytes,
		.physical_block_bytes = t->physical_block_bytes,
		.request_limit_bytes = t->request_limit_bytes,
		.link_bits_per_second = t->link_bits_per_second,
		.fua = t->fua,
		.removable = t->removable,
		.read_only = t->read_only,
		.modelled = t->virtual_clock,
		.disk_sequence = t->disk_sequence };
	text_copy(out->kind, sizeof out->kind, kinds[t->kind]);
	text_copy(out->path, sizeof out->path, t->path);
	text_copy(out->name, sizeof out->name, t->name);
	text_copy(out->vendor, sizeof out->vendor, t->vendor);
	text_copy(out->model, sizeof out->model, t->model);
	text_copy(out->serial, sizeof out->serial, t->serial);
	text_copy(out->revision, sizeof out->revision, t->revision);
	text_copy(out->usb_release, sizeof out->usb_release, t->usb_release);
	text_copy(out->not_known, sizeof out->not_known, t->not_known);
	text_copy(out->transport, sizeof out->transport, t->transport);
	text_copy(out->token, sizeof out->token, token);
	text_copy(out->cache, sizeof out->cache, caches[t->cache]);
}

static int begin(struct record_writer *w, const char *path, struct run_head *head,
	const struct run_target *target, struct error *err)
{
	run_head_complete(head);
	if (record_create(w, path, head->kind, err) < 0)
		return -1;
	if (run_write_head(w, head, err) < 0 || run_write_target(w, target, err) < 0) {
		record_discard(w);
		return -1;
	}
	return 0;
}

static struct run_head head_of(const char *kind, uint64_t seed, const struct options *o)
{
	struct run_head head = { .seed = seed };

	text_copy(head.kind, sizeof head.kind, kind);
	text_copy(head.label, sizeof head.label, options_text(o, OPTION_LABEL, ""));
	text_copy(head.command, sizeof head.command, o->command_line);
	return head;
}

int record_run_begin_on(struct record_writer *w, const char *path, const char *kind, uint64_t seed,
	const struct options *o, const struct run_target *target, struct error *err)
{
	struct run_head head = head_of(kind, seed, o);

	return begin(w, path, &head, target, err);
}

int record_run_begin(struct record_writer *w, const char *path, const char *kind, uint64_t seed,
	const struct options *o, struct session *s, struct error *err)
{
	struct run_head head = head_of(kind, seed, o);
	struct run_target target;

	record_run_target(&target, s->traits, s->token);
	if (begin(w, path, &head, &target, err) < 0)
		return -1;
	text_copy(s->run.id, sizeof s->run.id, head.id);
	text_copy(s->run.kind, sizeof s->run.kind, kind);
	s->run.seed = seed;
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
