/* Where a command's own files go. */
#include "cli/out_path.h"

#include <errno.h>
#include <limits.h>
#include <linux/magic.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <sys/sysmacros.h>
#include <sys/vfs.h>
#include <time.h>
#include <unistd.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "platform/blockdev.h"
#include "platform/clock.h"
#include "platform/hold.h"
#include "platform/usage.h"

static void folder_of(char out[PATH_MAX], const char *path)
{
	const char *slash = strrchr(path, '/');

	if (!slash)
		text_copy(out, PATH_MAX, ".");
	else
		snprintf(out, PATH_MAX, "%.*s", slash == path ? 1 : (int)(slash - path), path);
}

static bool exists(const char *path)
{
	struct stat st;

	return lstat(path, &st) == 0;
}

static void default_path(char *out, size_t room, const char *kind)
{
	time_t now = (time_t)clock_wall_seconds();
	char stamp[32];
	struct tm tm;

	gmtime_r(&now, &tm);
	strftime(stamp, sizeof stamp, "%Y%m%dT%H%M%SZ", &tm);
	snprintf(out, room, "blkassay-%s-%s.assay", kind, stamp);
	for (int i = 2; i < 100 && exists(out); i++)
		snprintf(out, room, "blkassay-%s-%s-%d.assay", kind, stamp, i);
}

int out_path_record(char *out, size_t room, const char *wanted, const char *kind, struct error *err)
{
	char folder[PATH_MAX];
	struct stat st;

	if (!wanted) {
		default_path(out, room, kind);
		return 0;
	}
	if (strlen(wanted) >= room)
		return error_set(
			err, ERROR_USAGE, "--out: the path is longer than %zu bytes", room - 1);
	text_copy(out, room, wanted);
	if (stat(wanted, &st) == 0 && S_ISDIR(st.st_mode))
		return error_set(err, ERROR_USAGE,
			"--out '%s' is a folder; name a file in it, such as '%s/%s.assay'", wanted,
			wanted, kind);
	folder_of(folder, wanted);
	if (stat(folder, &st) < 0 && errno == ENOENT)
		return error_set(err, ERROR_USAGE,
			"--out '%s': there is no folder '%s'; make it, or name another place",
			wanted, folder);
	return 0;
}

int out_path_check_new(const char *wanted, struct error *err)
{
	char folder[PATH_MAX];

	folder_of(folder, wanted ? wanted : "");
	if (wanted && exists(wanted))
		return error_set(err, ERROR_USAGE,
			"'%s' exists already, and a record never overwrites; name another --out",
			wanted);
	if (access(folder, W_OK | X_OK) < 0)
		return error_sys(err, ERROR_USAGE, errno,
			"no record can be written to '%s'; name a place with --out", folder);
	return 0;
}

static bool is_target(const char *path, const struct out_path_target *t)
{
	struct stat st, file;

	if (stat(path, &st) < 0)
		return !strcmp(path, t->name);
	if (t->device && S_ISBLK(st.st_mode))
		return st.st_rdev == makedev(t->device->major, t->device->minor);
	return t->file && hold_stat(t->file, &file) == 0 && st.st_dev == file.st_dev &&
	       st.st_ino == file.st_ino;
}

static bool lies_on(const char *folder, const struct out_path_target *t)
{
	struct stat file;

	if (t->device)
		return usage_path_lies_on_disk(NULL, folder, t->device->disk);
	return t->file && hold_stat(t->file, &file) == 0 &&
	       usage_path_lies_in_file(NULL, folder, &file);
}

int out_path_check_target(const char *path, const struct out_path_target *target, struct error *err)
{
	char folder[PATH_MAX];

	if (!target->device && !target->file)
		return 0;
	if (is_target(path, target))
		return error_set(err, ERROR_REFUSED,
			"'%s' is the target itself; send the output elsewhere with --out", path);
	folder_of(folder, path);
	if (lies_on(folder, target))
		return error_set(err, ERROR_REFUSED,
			"'%s' would lie on the target '%s'; send the output to another disk with "
			"--out",
			path, target->name);
	return 0;
}

int out_path_kept(char *out, size_t room, const char *record_path, struct error *err)
{
	if (strlen(record_path) + sizeof ".kept" > room)
		return error_set(err, ERROR_USAGE,
			"the record's path is too long to keep data next to it; name a shorter one "
			"with --out");
	snprintf(out, room, "%s.kept", record_path);
	return 0;
}

static bool lies_in_memory(const char *folder)
{
	struct statfs fs;

	return statfs(folder, &fs) == 0 &&
	       ((uint32_t)fs.f_type == TMPFS_MAGIC || (uint32_t)fs.f_type == RAMFS_MAGIC);
}

int out_path_check_kept(
	const char *path, const char *record_path, uint64_t bytes, struct error *err)
{
	char folder[PATH_MAX], need[SIZE_TEXT_MAX], have[SIZE_TEXT_MAX];
	struct statvfs fs;
	uint64_t room;

	if (exists(path))
		return error_set(err, ERROR_REFUSED,
			"'%s' exists already and may hold data kept by an interrupted run; restore "
			"it ('blkassay help restore'), or name another record with --out",
			path);
	folder_of(folder, path);
	if (lies_in_memory(folder))
		return error_set(err, ERROR_REFUSED,
			"'%s' would lie in memory, and kept data would be lost with the power; "
			"send the record to a disk with --out",
			path);
	if (statvfs(folder, &fs) < 0)
		return error_sys(err, ERROR_IO, errno, "cannot see how much room '%s' has", folder);
	room = (uint64_t)fs.f_bavail * fs.f_frsize;
	if (room < bytes)
		return error_set(err, ERROR_REFUSED,
			"not enough room to keep the target's data next to '%s': it takes %s, and "
			"%s are free; choose a smaller --region, or another disk with --out",
			record_path, size_format_decimal(need, (double)bytes),
			size_format_decimal(have, (double)room));
	return 0;
}
