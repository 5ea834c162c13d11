/* blkassay targets: what may be tested here, what may not and why, and each one's token. */
#include <stdlib.h>

#include "base/error.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/contents.h"
#include "cli/message.h"
#include "cli/results.h"
#include "cli/session_keep.h"
#include "cli/target_list.h"
#include "findings/targets_view.h"

/* What a row of the view points at. */
struct behind {
	char used[1024];
	struct target_kept kept;
	struct text restore, holds;
};

static struct target row_of(const struct target_row *from, struct behind *b)
{
	const struct blockdev *d = &from->device;

	target_usage_format(b->used, sizeof b->used, from);
	target_kept_find(&b->kept, from);
	text_init(&b->restore);
	text_init(&b->holds);
	/* A disk that no run may write to is left alone. */
	if (from->openable && from->verdict.may_write && !d->partition)
		contents_add(&b->holds, d);
	if (*b->kept.path && !b->kept.in_use)
		keep_restore_command(&b->restore, b->kept.path, d->node);
	return (struct target){ .path = d->node,
		.partition = d->partition,
		.token = from->verdict.token,
		.may_read = from->openable,
		.may_write = from->verdict.may_write,
		.why_not = guard_reason_word(from->verdict.reason),
		.advice = from->verdict.sentence,
		.size_bytes = d->size_bytes,
		.vendor = d->vendor,
		.model = d->model,
		.serial = d->serial,
		.transport = d->transport,
		.link_bits_per_second = d->link_bits_per_second,
		.backing_file = d->backing_file,
		.removable = d->removable,
		.read_only = d->read_only,
		.logical_block_bytes = d->logical_block_bytes,
		.physical_block_bytes = d->physical_block_bytes,
		.request_limit_bytes = d->request_limit_bytes,
		.cache = !d->write_cache_known ? ""
			 : d->write_back       ? "write back"
					       : "write through",
		.holds = b->holds.bytes,
		.used_by = b->used,
		.kept_by = b->kept.run,
		.restore = b->restore.bytes };
}

/* Where no screen says it. */
static void warn_of_kept(const struct target *rows, size_t count)
{
	for (size_t i = 0; i < count; i++)
		if (*rows[i].restore)
			message_warning("'%s': its own data was saved by %s; if it was not put "
					"back since:\n"
					"    %s",
				rows[i].path, rows[i].kept_by, rows[i].restore);
}

static int show_rows(
	struct results *r, struct target *rows, const struct target_list *list, struct error *err)
{
	struct view v;
	int rc = targets_view(&v, rows, list->count, list->unused_loops, err);

	if (rc < 0)
		return rc;
	rc = results_show(r, &v, err);
	view_release(&v);
	if (!r->wants_text)
		warn_of_kept(rows, list->count);
	return rc < 0 ? rc : results_finish(r, err);
}

static int show(struct results *r, const struct target_list *list, struct error *err)
{
	struct target *rows = calloc(list->count + 1, sizeof *rows);
	struct behind *behind = calloc(list->count + 1, sizeof *behind);
	int rc;

	for (size_t i = 0; rows && behind && i < list->count; i++)
		rows[i] = row_of(&list->rows[i], &behind[i]);
	rc = rows && behind ? show_rows(r, rows, list, err)
			    : error_set(err, ERROR_IO, "out of memory");
	for (size_t i = 0; rows && behind && i < list->count; i++) {
		text_release(&behind[i].restore);
		text_release(&behind[i].holds);
	}
	free(behind);
	free(rows);
	return rc;
}

int cmd_targets(const struct options *o)
{
	struct target_list list = { 0 };
	struct results results;
	struct error err = { 0 };

	if (results_open(&results, o, &err) < 0)
		return message_error(&err);
	if (target_list_read(&list, NULL, &err) == 0)
		show(&results, &list, &err);
	results_release(&results);
	target_list_release(&list);
	return err.kind != ERROR_NONE ? message_error(&err) : 0;
}
