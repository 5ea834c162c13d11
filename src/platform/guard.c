/* The verdict on a target. */
#include "platform/guard.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/checksum.h"
#include "base/error.h"
#include "base/text.h"

static const char *const words[] = {
	[GUARD_FINE] = "fine",
	[GUARD_SYSTEM] = "system",
	[GUARD_MOUNTED] = "mounted",
	[GUARD_SWAP] = "swap",
	[GUARD_HELD] = "held",
	[GUARD_ALIAS] = "alias",
	[GUARD_READ_ONLY] = "read-only",
	[GUARD_EMPTY] = "empty",
	[GUARD_AMBIGUOUS] = "ambiguous",
	[GUARD_FIXED] = "fixed",
	[GUARD_UNKNOWN] = "unknown",
};

const char *guard_reason_word(enum guard_reason reason)
{
	return words[reason];
}

static bool is_plain(char c)
{
	return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
	       c == '.' || c == '_';
}

/* Runs of anything else become one '-', none at either end: the token can be typed and pasted without quotes. */
static size_t add_slug(char *out, size_t at, size_t room, const char *text)
{
	size_t start = at;
	bool gap = false;

	for (; *text; text++) {
		if (!is_plain(*text)) {
			gap = at > start;
			continue;
		}
		if (gap && at + 1 < room)
			out[at++] = '-';
		gap = false;
		if (at + 1 < room)
			out[at++] = *text;
	}
	out[at] = 0;
	return at;
}

static const char *base_name(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash ? slash + 1 : path;
}

void guard_token_of_name(char out[GUARD_TOKEN_MAX], const char *name)
{
	/* All of it strange characters: there must be a token all the same. */
	if (!add_slug(out, 0, GUARD_TOKEN_MAX, name))
		text_copy(out, GUARD_TOKEN_MAX, "model");
}

/* Room is left for the path's checksum, the size and the partition. */
enum { TOKEN_NAME_ROOM = GUARD_TOKEN_MAX - 60 };

static size_t add_image(char *out, const char *place)
{
	size_t n = add_slug(out, 0, TOKEN_NAME_ROOM, base_name(place));

	if (!n)
		n = add_slug(out, 0, TOKEN_NAME_ROOM, "image");
	return n + (size_t)snprintf(out + n, GUARD_TOKEN_MAX - n, "-%08x",
			   checksum_crc32(0, place, strlen(place)));
}

void guard_token_of_image(char out[GUARD_TOKEN_MAX], const char *place)
{
	add_image(out, place);
}

/* Where the name ends in NAME[-CRC32], or for a loop device in NAME[-CRC32]-SIZE[-partN]; *tail: where size and
 * partition begin. */
static size_t name_length(const char *token, bool loop, const char **tail)
{
	const char *end = token + strlen(token);

	if (loop) {
		const char *part = strstr(token, "-part");

		end = part && part[5 + strspn(part + 5, "0123456789")] == 0 ? part : end;
		while (end > token && *--end != '-')
			;
	}
	*tail = end;
	if (end - token > 9 && end[-9] == '-' && strspn(end - 8, "0123456789abcdef") >= 8)
		end -= 9;
	return (size_t)(end - token);
}

bool guard_token_has_same_name(const char *a, const char *b, bool loop)
{
	const char *tail_a, *tail_b;
	size_t n = name_length(a, loop, &tail_a), m = name_length(b, loop, &tail_b);

	/* An old token whose name ends like a checksum is all name. */
	return !strcmp(tail_a, tail_b) &&
	       ((n == m && !strncmp(a, b, n)) || (n == (size_t)(tail_b - b) && !strncmp(a, b, n)) ||
		       (m == (size_t)(tail_a - a) && !strncmp(a, b, m)));
}

static size_t add_identity(char *out, const struct blockdev *d)
{
	enum { ROOM = TOKEN_NAME_ROOM };
	size_t n = 0;

	if (*d->backing_file)
		return add_image(out, d->backing_file);
	if (*d->serial)
		n = add_slug(out, 0, ROOM, d->serial);
	if (!n && (*d->vendor || *d->model)) {
		char both[sizeof d->vendor + sizeof d->model + 1];

		snprintf(both, sizeof both, "%s %s", d->vendor, d->model);
		n = add_slug(out, 0, ROOM, both);
	}
	return n ? n : add_slug(out, 0, ROOM, d->disk);
}

/* The number at the end of a partition's name: sdb1, mmcblk0p2. */
static const char *partition_number(const char *name)
{
	const char *digits = name + strlen(name);

	while (digits > name && digits[-1] >= '0' && digits[-1] <= '9')
		digits--;
	return digits;
}

void guard_token_of_device(char out[GUARD_TOKEN_MAX], const struct blockdev *d)
{
	size_t n = add_identity(out, d);

	snprintf(out + n, GUARD_TOKEN_MAX - n, "-%llu%s%s", (unsigned long long)d->size_bytes,
		d->partition ? "-part" : "", d->partition ? partition_number(d->name) : "");
}

__attribute__((format(printf, 3, 4))) static void refuse(
	struct guard_verdict *v, enum guard_reason reason, const char *fmt, ...)
{
	va_list args;

	v->may_write = false;
	v->reason = reason;
	va_start(args, fmt);
	vsnprintf(v->sentence, sizeof v->sentence, fmt, args);
	va_end(args);
}

static const struct usage_item *first_item(const struct usage *u, enum usage_kind kind, bool system)
{
	for (size_t i = 0; i < u->count; i++)
		if (u->items[i].kind == kind && u->items[i].system >= system)
			return &u->items[i];
	return NULL;
}

/* true when what uses it forbids writing; `what` is how the sentence calls the target. */
static bool refuse_used(struct guard_verdict *v, const char *what, const struct usage *u)
{
	const struct usage_item *mount = first_item(u, USAGE_MOUNT, u->system);
	const struct usage_item *holder = first_item(u, USAGE_HOLDER, false);

	if (u->system)
		refuse(v, GUARD_SYSTEM,
			"'%s' is the system's own disk: it holds '%s' (or this program), and is "
			"never written to, whatever the options; name another target",
			what, mount ? mount->by : "/");
	else if (*u->system_below)
		refuse(v, GUARD_SYSTEM,
			"'%s' lies on the system's own disk '/dev/%s', and is never written to, "
			"whatever the options; name another target",
			what, u->system_below);
	else if (u->mounted)
		refuse(v, GUARD_MOUNTED, "'%s' is in use: %s%sis mounted on '%s'; unmount it", what,
			mount ? mount->device : "", mount ? " " : "", mount ? mount->by : "?");
	else if (u->swap)
		refuse(v, GUARD_SWAP, "'%s' is in use as swap; turn that off with swapoff first",
			what);
	else if (u->held)
		refuse(v, GUARD_HELD, "'%s' is in use: '%s' is built on %s; detach that first",
			what, holder ? holder->by : "another device",
			holder && holder->beside ? "the same file" : "it");
	else if (*u->alias_of)
		refuse(v, GUARD_ALIAS,
			"'%s' is only another name for '/dev/%s'; detach it and name that one",
			what, u->alias_of);
	return !v->may_write;
}

static bool same_device(const struct blockdev *a, const struct blockdev *b)
{
	return a->major == b->major && a->minor == b->minor;
}

/* Another disk of the same identity and size. Compared by whole disk, so that partitions are covered. */
static const struct blockdev *find_twin(
	const struct blockdev *d, const struct blockdev *all, size_t count)
{
	char mine[GUARD_TOKEN_MAX], other[GUARD_TOKEN_MAX];
	const struct blockdev *disk = NULL;

	for (size_t i = 0; i < count; i++)
		if (!strcmp(all[i].name, d->disk))
			disk = &all[i];
	if (!disk)
		return NULL;
	guard_token_of_device(mine, disk);
	for (size_t i = 0; i < count; i++) {
		if (same_device(&all[i], disk))
			continue;
		guard_token_of_device(other, &all[i]);
		if (!strcmp(mine, other))
			return &all[i];
	}
	return NULL;
}

void guard_judge_device(struct guard_verdict *out, const struct blockdev *d,
	const struct blockdev *all, size_t count, const struct usage *usage, bool fixed_allowed)
{
	const struct blockdev *twin = find_twin(d, all, count);

	*out = (struct guard_verdict){ .may_write = true, .reason = GUARD_FINE };
	guard_token_of_device(out->token, d);
	if (!usage)
		refuse(out, GUARD_UNKNOWN,
			"cannot find out what uses '%s', so it is not written to", d->node);
	else if (refuse_used(out, d->node, usage))
		return;
	else if (!d->size_bytes)
		refuse(out, GUARD_EMPTY, "'%s' has no size: no card is in it, or it is not set up",
			d->node);
	else if (d->read_only)
		refuse(out, GUARD_READ_ONLY,
			"'%s' is read-only; look for a write-protect switch or setting", d->node);
	else if (twin)
		refuse(out, GUARD_AMBIGUOUS,
			"'%s' and '%s' have the same token '%s', so consent could mean either; "
			"unplug or detach one of them",
			d->node, twin->node, out->token);
	else if (!d->removable && strcmp(d->transport, "loop") != 0 && !fixed_allowed)
		refuse(out, GUARD_FIXED,
			"'%s' is not removable; if you are sure, allow it with --fixed-disk",
			d->node);
}

void guard_judge_image(
	struct guard_verdict *out, const char *path, const char *place, const struct usage *usage)
{
	*out = (struct guard_verdict){ .may_write = true, .reason = GUARD_FINE };
	guard_token_of_image(out->token, place);
	if (!usage)
		refuse(out, GUARD_UNKNOWN,
			"cannot find out what uses '%s', so it is not written to", path);
	else
		refuse_used(out, path, usage);
}

int guard_check_device(struct guard_verdict *out, const struct usage_sources *src,
	const struct blockdev *d, bool fixed_allowed, struct error *err)
{
	const char *sysfs = src ? src->sysfs : NULL;
	struct blockdev *all;
	struct usage usage;
	size_t count;
	bool known;

	if (blockdev_list(&all, &count, sysfs, err) < 0)
		return -1;
	known = usage_read(&usage, src, d->disk, NULL) == 0;
	if (!known && !blockdev_exists(sysfs, d->major, d->minor)) {
		free(all);
		return error_set(err, ERROR_IO,
			"'%s' is gone: the kernel no longer has such a device; check cable and "
			"power",
			d->node);
	}
	guard_judge_device(out, d, all, count, known ? &usage : NULL, fixed_allowed);
	free(all);
	return 0;
}
