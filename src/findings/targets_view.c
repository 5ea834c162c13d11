/* What may be tested here. */
#include "findings/targets_view.h"

#include "base/size.h"
#include "base/text.h"
#include "findings/link.h"

enum { PATHS_NAMED = 4 };

enum { WRITABLE, NONE_WRITABLE, NOTHING, KEPT, CLOSED, LOOPS };

const struct finding_code targets_codes[] = {
	[WRITABLE] = { "writable", FINDING_PLAIN, true,
		"there are targets that a run may write to, given consent",
		"targets writable_targets" },
	[NONE_WRITABLE] = { "none-writable", FINDING_CAUTION, true,
		"there are targets, but none may be written to: each says why",
		"targets writable_targets" },
	[NOTHING] = { "nothing", FINDING_CAUTION, true, "there is nothing that could be tested",
		NULL },
	[KEPT] = { "kept-data", FINDING_CAUTION, false,
		"a run saved a target's own data, and is still going or may not have put it back; "
		"the command does it",
		"path saved_by command" },
	[CLOSED] = { "not-readable", FINDING_CAUTION, false,
		"targets that this user may not even open", "targets" },
	[LOOPS] = { "loops-left-out", FINDING_PLAIN, false,
		"loop devices without a file, which are not listed", "loop_devices" },
};

const size_t targets_code_count = sizeof targets_codes / sizeof *targets_codes;

/* ---- what is said of all of them ---- */

/* ": /dev/sdb, /dev/sdc and 2 more" */
static const char *writable_words(
	struct pool *p, const struct target *rows, size_t count, size_t writable)
{
	const char *words = ":";
	size_t named = 0;

	for (size_t i = 0; i < count && named < PATHS_NAMED; i++)
		if (rows[i].may_write)
			words = pool_printf(p, "%s%s %s", words, named++ ? "," : "", rows[i].path);
	return writable > named ? pool_printf(p, "%s and %zu more", words, writable - named)
				: words;
}

static void add_verdict(struct findings *f, const struct target *rows, size_t count)
{
	struct finding *one;
	size_t writable = 0;

	for (size_t i = 0; i < count; i++)
		writable += rows[i].may_write;
	if (!count) {
		finding_add(f, &targets_codes[NOTHING],
			"There is no block device here that could be tested. Image files and "
			"gadget models can be: just name them.");
		return;
	}
	if (writable)
		one = finding_add(f, &targets_codes[WRITABLE],
			"%zu of %zu target%s may be written to, with --erase TOKEN or "
			"--keep-data%s. Reading needs no token.",
			writable, count, text_plural(count),
			writable_words(f->pool, rows, count, writable));
	else
		one = finding_add(f, &targets_codes[NONE_WRITABLE],
			"No target here may be written to; each says why below. Reading needs no "
			"token.");
	finding_figure(one, "targets", value_count(count));
	finding_figure(one, "writable_targets", value_count(writable));
}

static void add_limits(
	struct findings *f, const struct target *rows, size_t count, size_t unused_loops)
{
	size_t closed = 0;

	for (size_t i = 0; i < count; i++)
		closed += !rows[i].may_read;
	if (closed)
		finding_figure(finding_add(f, &targets_codes[CLOSED],
				       "%zu of these cannot be opened by this user: a run needs "
				       "root, or the group that owns them (often 'disk').",
				       closed),
			"targets", value_count(closed));
	if (unused_loops)
		finding_figure(
			finding_add(f, &targets_codes[LOOPS],
				"%zu loop device%s without a file %s left out.", unused_loops,
				text_plural(unused_loops), unused_loops == 1 ? "is" : "are"),
			"loop_devices", value_count(unused_loops));
}

static void add_kept(struct findings *f, const struct target *t)
{
	struct finding *one;

	if (!*t->kept_by)
		return;
	one = finding_add(f, &targets_codes[KEPT],
		*t->restore ? "'%s': its own data was saved by %s. If it was not put back since, "
			      "put it back:"
			    : "'%s': its own data is saved by %s, which is still going.",
		t->path, t->kept_by);
	finding_figure(one, "path", value_text(t->path));
	finding_figure(one, "saved_by", value_text(t->kept_by));
	if (*t->restore)
		finding_command(f, one, t->restore);
	else
		finding_figure(one, "command", value_text(NULL));
}

/* ---- what is said of one, for people ---- */

static const char *amount_words(struct pool *p, uint64_t bytes)
{
	char size[SIZE_TEXT_MAX];

	return bytes ? pool_printf(p, "%s", size_format_decimal(size, (double)bytes)) : "no size";
}

static const char *title_words(struct pool *p, const struct target *t)
{
	return pool_printf(p, "%s, %s%s%s%s%s%s%s", t->path, amount_words(p, t->size_bytes),
		*t->vendor ? ", " : "", t->vendor, *t->model ? (*t->vendor ? " " : ", ") : "",
		t->model, *t->serial ? ", serial " : "", t->serial);
}

static const char *link_words(struct pool *p, const struct target *t)
{
	const char *name = link_name(t->transport, t->link_bits_per_second);
	const char *rate = t->link_bits_per_second ? pool_printf(p, ", %g Mb/s",
							     (double)t->link_bits_per_second / 1e6)
						   : "";

	return pool_printf(p, "%s%s%s%s%s, %s%s%s%s", t->transport, rate, *name ? " (" : "", name,
		*name ? ")" : "", t->removable ? "removable" : "not removable",
		t->read_only ? ", read-only" : "", *t->backing_file ? ", on the file " : "",
		t->backing_file);
}

static const char *transfer_words(struct pool *p, const struct target *t)
{
	char size[SIZE_TEXT_MAX];
	const char *words;

	if (!t->logical_block_bytes)
		return "";
	words = pool_printf(p, "blocks of %s", size_format(size, t->logical_block_bytes));
	if (t->physical_block_bytes && t->physical_block_bytes != t->logical_block_bytes)
		words = pool_printf(
			p, "%s (%s physical)", words, size_format(size, t->physical_block_bytes));
	if (t->request_limit_bytes)
		words = pool_printf(p, "%s, requests of up to %s", words,
			size_format(size, t->request_limit_bytes));
	return *t->cache ? pool_printf(p, "%s, cache %s", words, t->cache) : words;
}

static const char *writing_words(struct pool *p, const struct target *t)
{
	return t->may_write ? "yes, with --erase TOKEN or --keep-data"
			    : pool_printf(p, "no, %s: %s", t->why_not, t->advice);
}

/* rows: its partitions follow it. */
static const char *partition_words(struct pool *p, const struct target *rows, size_t count)
{
	const char *words = "";

	for (size_t i = 0; i < count && rows[i].partition; i++)
		words = pool_printf(p, "%s%s%s, %s, token %s", words, *words ? "; " : "",
			rows[i].path, amount_words(p, rows[i].size_bytes), rows[i].token);
	return words;
}

static void word_all(struct pool *p, struct target *rows, size_t count)
{
	for (size_t i = 0; i < count; i++) {
		struct target *t = &rows[i];

		t->title = title_words(p, t);
		t->link = link_words(p, t);
		t->transfers = transfer_words(p, t);
		t->users = *t->used_by ? t->used_by : "nothing";
		t->writing = writing_words(p, t);
		t->partitions = partition_words(p, t + 1, count - i - 1);
	}
}

/* ---- the table ---- */

#define TARGET(function, expression) COLUMN_VALUE(function, struct target, r, expression)

TARGET(target_path, value_text(r->path))
TARGET(target_kind, value_word(r->partition ? "partition" : "disk"))
TARGET(target_token, value_word(r->token))
TARGET(target_may_read, value_flag(r->may_read))
TARGET(target_may_write, value_flag(r->may_write))
TARGET(target_why_not, value_if(!r->may_write, value_code(r->why_not)))
TARGET(target_size, value_if(r->size_bytes, value_bytes_decimal(r->size_bytes)))
TARGET(target_vendor, value_text(r->vendor))
TARGET(target_model, value_text(r->model))
TARGET(target_serial, value_text(r->serial))
TARGET(target_transport, value_text(r->transport))
TARGET(target_link, value_if(r->link_bits_per_second, value_count(r->link_bits_per_second)))
TARGET(target_backing, value_text(r->backing_file))
TARGET(target_removable, value_flag(r->removable))
TARGET(target_read_only, value_flag(r->read_only))
TARGET(target_logical, value_if(r->logical_block_bytes, value_bytes(r->logical_block_bytes)))
TARGET(target_physical, value_if(r->physical_block_bytes, value_bytes(r->physical_block_bytes)))
TARGET(target_limit, value_if(r->request_limit_bytes, value_bytes(r->request_limit_bytes)))
TARGET(target_cache, value_text(r->cache))
TARGET(target_used_by, value_text(r->used_by))
TARGET(target_holds, value_text(r->holds))
TARGET(target_advice, value_text(r->may_write ? "" : r->advice))
TARGET(target_title, value_text(r->title))
TARGET(target_link_words, value_text(r->link))
TARGET(target_transfers, value_text(r->transfers))
TARGET(target_users, value_text(r->users))
TARGET(target_writing, value_text(r->writing))
TARGET(target_partitions, value_text(r->partitions))

static bool any_holds(const struct table *t)
{
	const struct target *rows = t->rows;

	for (size_t i = 0; i < t->count; i++)
		if (*rows[i].holds)
			return true;
	return false;
}

static const struct column columns[] = {
	{ NULL, "target", "what it is", 0, true, NULL, target_title },
	{ "path", NULL, "its node", 0, true, NULL, target_path },
	{ "kind", NULL, "disk, or a partition of the disk before it", 0, true, NULL, target_kind },
	{ NULL, "link", "how it is connected", 0, true, NULL, target_link_words },
	{ NULL, "transfers", "what it transfers", 0, true, NULL, target_transfers },
	{ NULL, "used by", "mounts, swap and holders of the whole disk", 0, true, NULL,
		target_users },
	{ NULL, "holds", "filesystems on it", 0, true, any_holds, target_holds },
	{ "token", "token", "names it in --erase", 0, true, NULL, target_token },
	{ NULL, "may write", "whether a run may, and why not", 0, true, NULL, target_writing },
	{ NULL, "partitions", "of it", 0, true, NULL, target_partitions },
	{ "may_read", NULL, "whether this user may open it", 0, true, NULL, target_may_read },
	{ "may_write", NULL, "whether a run may write to it, given consent", 0, true, NULL,
		target_may_write },
	{ "why_not", NULL,
		"system, mounted, swap, held, alias, read-only, empty, ambiguous, fixed (not "
		"removable) or unknown; null: it may be written to",
		0, true, NULL, target_why_not },
	{ "size_bytes", NULL, "its capacity, as stated", 0, false, NULL, target_size },
	{ "vendor", NULL, "as the device says", 0, true, NULL, target_vendor },
	{ "model", NULL, "as the device says", 0, true, NULL, target_model },
	{ "serial", NULL, "as the device says", 0, true, NULL, target_serial },
	{ "transport", NULL, "usb, mmc, ata, nvme, loop, ...", 0, true, NULL, target_transport },
	{ "link_bits_per_second", NULL, "signalling rate", 0, false, NULL, target_link },
	{ "backing_file", NULL, "of a loop device", 0, true, NULL, target_backing },
	{ "removable", NULL, "as the kernel sees it, or by its transport", 0, true, NULL,
		target_removable },
	{ "read_only", NULL, "as the kernel sees it", 0, true, NULL, target_read_only },
	{ "logical_block_bytes", NULL, "least that it transfers", 0, false, NULL, target_logical },
	{ "physical_block_bytes", NULL, "that it stores at once", 0, false, NULL, target_physical },
	{ "request_limit_bytes", NULL, "the kernel splits larger requests", 0, false, NULL,
		target_limit },
	{ "cache", NULL, "write back or write through, as the kernel sees it", 0, true, NULL,
		target_cache },
	{ "used_by", NULL, "mounts, swap and holders of the whole disk; null: nothing", 0, true,
		NULL, target_used_by },
	{ "advice", NULL, "why it may not be written to and what to do, in a sentence", 0, true,
		NULL, target_advice },
	{ "holds", NULL, "filesystems on it, by their marks; null: not looked at", 0, true, NULL,
		target_holds },
};

const struct table_spec targets_spec = { .key = "targets",
	.meaning = "a disk, or one of its partitions",
	.csv = CSV_BARE,
	.blocks = true,
	.row_bytes = sizeof(struct target),
	TABLE_COLUMNS(columns) };

/* ---- all of it ---- */

/* Partitions are told with their disk. */
static void add_section(struct view *v, const struct target *rows, size_t count)
{
	struct target *disks = pool_alloc(&v->pool, count, sizeof *disks);
	size_t n = 0;

	for (size_t i = 0; disks && i < count; i++)
		if (!rows[i].partition)
			disks[n++] = rows[i];
	if (n)
		view_section(v, (struct section){ .on = ON_SCREENS,
					.level = 2,
					.heading = "Targets",
					.table = { &targets_spec, disks, n } });
}

int targets_view(
	struct view *v, struct target *rows, size_t count, size_t unused_loops, struct error *err)
{
	view_begin(v, "targets");
	v->title = "Targets";
	word_all(&v->pool, rows, count);
	add_verdict(&v->findings, rows, count);
	for (size_t i = 0; i < count; i++)
		add_kept(&v->findings, &rows[i]);
	add_limits(&v->findings, rows, count, unused_loops);
	view_table(v, &targets_spec, rows, count);
	add_section(v, rows, count);
	return view_end(v, err);
}
