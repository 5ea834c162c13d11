/* blkassay targets: what may be tested here, what may not and why, and each one's token. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/kept_search.h"
#include "cli/message.h"
#include "cli/screen.h"
#include "cli/session_keep.h"
#include "cli/target_list.h"
#include "findings/link.h"
#include "integrity/kept.h"
#include "report/csv.h"
#include "report/layout.h"

enum { INDENT = 12 };

static const char *cache_name(const struct blockdev *d)
{
	return !d->write_cache_known ? "" : d->write_back ? "write back" : "write through";
}

/* ---- kept data ---- */

/* Saved data that names this target. By name alone: listing targets reads nothing of them. */
struct row_kept {
	struct kept_identity target;
	char path[4400]; /* full; "": none */
	char run[64];
	bool in_use;
};

static bool take_kept(void *context, const struct kept *k, const char *path)
{
	const struct kept_identity *id = kept_identity(k);
	struct row_kept *r = context;

	if (!kept_is_named(id, &r->target))
		return true;
	text_copy(r->path, sizeof r->path, path);
	snprintf(r->run, sizeof r->run, "%s%s%s", *id->run ? id->kind : "an earlier run",
		*id->run ? " " : "", id->run);
	r->in_use = kept_in_use(k);
	return false;
}

static void find_kept(struct row_kept *r, const struct target_row *row)
{
	struct kept_folders *f = calloc(1, sizeof *f);

	*r = (struct row_kept){ .target = { .size_bytes = row->device.size_bytes } };
	if (!f)
		return;
	text_copy(r->target.token, sizeof r->target.token, row->verdict.token);
	text_copy(r->target.place, sizeof r->target.place, row->device.backing_file);
	kept_folders_add(f, ".");
	kept_folders_add_of(f, row->device.backing_file);
	kept_search(f, take_kept, r);
	free(f);
}

/* ---- CSV ---- */

static void add_number(struct text *t, uint64_t n, bool known)
{
	text_adds(t, ",");
	if (known)
		text_addf(t, "%" PRIu64, n);
}

static void add_field(struct text *t, const char *value)
{
	text_adds(t, ",");
	csv_add_field(t, value, true);
}

static void add_csv_row(struct text *t, const struct target_row *row)
{
	const struct blockdev *d = &row->device;
	char used[1024];

	csv_add_field(t, d->node, false);
	add_field(t, d->partition ? "partition" : "disk");
	add_number(t, d->size_bytes, true);
	add_field(t, d->vendor);
	add_field(t, d->model);
	add_field(t, d->serial);
	add_field(t, d->transport);
	add_number(t, d->link_bits_per_second, d->link_bits_per_second != 0);
	add_field(t, d->removable ? "yes" : "no");
	add_number(t, d->logical_block_bytes, d->logical_block_bytes != 0);
	add_number(t, d->physical_block_bytes, d->physical_block_bytes != 0);
	add_number(t, d->request_limit_bytes, d->request_limit_bytes != 0);
	add_field(t, cache_name(d));
	target_usage_format(used, sizeof used, row);
	add_field(t, used);
	text_adds(t, ","); /* tokens are plain: no quotes, no apostrophe */
	csv_add_field(t, row->verdict.token, false);
	add_field(t, row->verdict.may_write ? "yes" : "no");
	add_field(t, guard_reason_word(row->verdict.reason));
	text_adds(t, "\r\n");
}

static void add_csv(struct text *t, const struct target_list *list)
{
	text_adds(t, "device,kind,size_bytes,vendor,model,serial,transport,link_bits_per_second,"
		     "removable,logical_block_bytes,physical_block_bytes,request_limit_bytes,"
		     "cache,used_by,token,may_write,reason\r\n");
	for (size_t i = 0; i < list->count; i++)
		add_csv_row(t, &list->rows[i]);
}

/* ---- for people ---- */

static void add_line(struct text *t, const char *name, const char *value, size_t columns)
{
	text_addf(t, "  %-*s", INDENT - 2, name);
	layout_wrap(t, value, INDENT, INDENT, columns);
}

static void add_identity(struct text *t, const struct blockdev *d, size_t columns)
{
	char size[SIZE_TEXT_MAX];
	struct text line;
	size_t indent = strlen(d->node) + 2;

	text_init(&line);
	text_adds(&line,
		d->size_bytes ? size_format_decimal(size, (double)d->size_bytes) : "no size");
	if (*d->vendor)
		text_addf(&line, ", %s", d->vendor);
	if (*d->model)
		text_addf(&line, "%s%s", *d->vendor ? " " : ", ", d->model);
	if (*d->serial)
		text_addf(&line, ", serial %s", d->serial);
	text_addf(t, "%s  ", d->node);
	layout_wrap(t, line.bytes, indent, indent, columns);
	text_release(&line);
}

static void add_path(struct text *t, const struct blockdev *d, size_t columns)
{
	const char *name = link_name(d->transport, d->link_bits_per_second);
	struct text line;

	text_init(&line);
	text_adds(&line, d->transport);
	if (d->link_bits_per_second)
		text_addf(&line, ", %g Mb/s", (double)d->link_bits_per_second / 1e6);
	if (*name)
		text_addf(&line, " (%s)", name);
	if (*d->backing_file)
		text_addf(&line, ", on the file %s", d->backing_file);
	text_adds(&line, d->removable ? ", removable" : ", not removable");
	if (d->read_only)
		text_adds(&line, ", read-only");
	add_line(t, "path", line.bytes, columns);
	text_release(&line);
}

static void add_requests(struct text *t, const struct blockdev *d, size_t columns)
{
	char a[SIZE_TEXT_MAX];
	struct text line;

	if (!d->logical_block_bytes)
		return;
	text_init(&line);
	text_addf(&line, "blocks of %s", size_format(a, d->logical_block_bytes));
	if (d->physical_block_bytes && d->physical_block_bytes != d->logical_block_bytes)
		text_addf(&line, " (%s inside)", size_format(a, d->physical_block_bytes));
	if (d->request_limit_bytes)
		text_addf(&line, ", requests of up to %s", size_format(a, d->request_limit_bytes));
	if (d->write_cache_known)
		text_addf(&line, ", cache %s", cache_name(d));
	add_line(t, "transfers", line.bytes, columns);
	text_release(&line);
}

static void add_verdict(struct text *t, const struct target_row *row, size_t columns)
{
	char line[GUARD_SENTENCE_MAX + 32];

	if (row->verdict.may_write)
		snprintf(line, sizeof line, "yes, with --erase TOKEN or --keep-data");
	else
		snprintf(line, sizeof line, "no, %s: %s", guard_reason_word(row->verdict.reason),
			row->verdict.sentence);
	add_line(t, "may write", line, columns);
}

/* The command stands in a line of its own, to be copied. */
static void add_kept(struct text *t, const struct target_row *row, size_t columns)
{
	struct row_kept kept;
	char line[160];

	find_kept(&kept, row);
	if (!*kept.path)
		return;
	snprintf(line, sizeof line,
		kept.in_use ? "its own is saved by %s, which is still going"
			    : "its own was saved by %s; if it was not put back since:",
		kept.run);
	add_line(t, "kept data", line, columns);
	if (kept.in_use)
		return;
	text_addf(t, "%*s", INDENT, "");
	keep_restore_command(t, kept.path, row->device.node);
	text_adds(t, "\n");
}

static void add_disk(struct text *t, const struct target_row *row, size_t columns)
{
	char used[1024];

	if (t->length)
		text_adds(t, "\n");
	add_identity(t, &row->device, columns);
	add_path(t, &row->device, columns);
	add_requests(t, &row->device, columns);
	target_usage_format(used, sizeof used, row);
	add_line(t, "used by", *used ? used : "nothing", columns);
	add_line(t, "token", row->verdict.token, columns);
	add_verdict(t, row, columns);
	add_kept(t, row, columns);
}

static void add_partition(struct text *t, const struct target_row *row, size_t columns)
{
	char size[SIZE_TEXT_MAX], line[256];

	snprintf(line, sizeof line, "%s, %s, token %s", row->device.name,
		size_format_decimal(size, (double)row->device.size_bytes), row->verdict.token);
	add_line(t, "partition", line, columns);
}

static void add_text(struct text *t, const struct target_list *list)
{
	struct text_style style;

	screen_style(&style);
	for (size_t i = 0; i < list->count; i++) {
		if (list->rows[i].device.partition)
			add_partition(t, &list->rows[i], style.columns);
		else
			add_disk(t, &list->rows[i], style.columns);
	}
	if (!list->count)
		text_adds(t, "no block device that could be tested\n");
}

/* Beside the list for scripts, which has no room for it. */
static void warn_of_kept(const struct target_list *list)
{
	for (size_t i = 0; i < list->count; i++) {
		struct row_kept kept;
		struct text command;

		find_kept(&kept, &list->rows[i]);
		if (!*kept.path || kept.in_use)
			continue;
		text_init(&command);
		keep_restore_command(&command, kept.path, list->rows[i].device.node);
		message_warning(
			"'%s': its own data was saved by %s; if it was not put back since:\n"
			"  %s",
			list->rows[i].device.node, kept.run, command.bytes);
		text_release(&command);
	}
}

/* What could not be seen, or was left out. */
static void say_limits(const struct target_list *list)
{
	size_t closed = 0;

	for (size_t i = 0; i < list->count; i++)
		closed += !list->rows[i].openable;
	if (list->unused_loops)
		message_note("%zu loop device%s without a file left out", list->unused_loops,
			list->unused_loops == 1 ? "" : "s");
	if (closed)
		message_note("%zu of these cannot be opened by this user; a run needs root or the "
			     "group that\nowns them (often 'disk')",
			closed);
}

int cmd_targets(const struct options *o)
{
	struct target_list list;
	struct error err = { 0 };
	struct text t;

	if (target_list_read(&list, NULL, &err) < 0)
		return message_error(&err);
	text_init(&t);
	if (o->given[OPTION_CSV_FLAG])
		add_csv(&t, &list);
	else
		add_text(&t, &list);
	if (t.failed)
		error_set(&err, ERROR_IO, "out of memory");
	else
		fwrite(t.bytes, 1, t.length, stdout); /* checked when the program ends */
	if (o->given[OPTION_CSV_FLAG])
		warn_of_kept(&list);
	say_limits(&list);
	text_release(&t);
	target_list_release(&list);
	return err.kind != ERROR_NONE ? message_error(&err) : 0;
}
