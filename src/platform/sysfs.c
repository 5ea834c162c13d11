/* Attributes of a sysfs tree. */
#include "platform/sysfs.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/number.h"
#include "base/text.h"

int sysfs_path(char out[SYSFS_PATH_MAX], const char *fmt, ...)
{
	va_list args;
	int n;

	va_start(args, fmt);
	n = vsnprintf(out, SYSFS_PATH_MAX, fmt, args);
	va_end(args);
	return n < 0 || n >= SYSFS_PATH_MAX ? -ENAMETOOLONG : 0;
}

long sysfs_read_bytes(const char *dir, const char *name, void *out, size_t room)
{
	char path[SYSFS_PATH_MAX];
	ssize_t n;
	int fd, saved;

	if (sysfs_path(path, "%s/%s", dir, name) < 0)
		return -ENAMETOOLONG;
	fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
	if (fd < 0)
		return -errno;
	do
		n = read(fd, out, room);
	while (n < 0 && errno == EINTR);
	saved = errno;
	close(fd);
	return n < 0 ? -saved : n;
}

void sysfs_clean_text(char *text)
{
	char *to = text;
	bool blank = true; /* at the start blanks are dropped */

	for (const char *from = text; *from; from++) {
		unsigned char c = (unsigned char)*from;

		if (c == ' ' || c == '\t' || c == '\n') {
			if (!blank)
				*to++ = ' ';
			blank = true;
		} else if (c >= 0x20 && c != 0x7f && (c & 0xc0) != 0x80) {
			/* The bytes after the first of a UTF-8 character are dropped by the test above. */
			*to++ = c < 0x80 ? (char)c : '?';
			blank = false;
		}
	}
	if (blank && to > text)
		to--;
	*to = 0;
}

int sysfs_read_text(const char *dir, const char *name, char *out, size_t room)
{
	char bytes[512];
	long n = sysfs_read_bytes(dir, name, bytes, sizeof bytes - 1);

	out[0] = 0;
	if (n < 0)
		return (int)n;
	bytes[n] = 0;
	sysfs_clean_text(bytes);
	text_copy(out, room, bytes);
	return 0;
}

int sysfs_read_line(const char *dir, const char *name, char *out, size_t room)
{
	long n = sysfs_read_bytes(dir, name, out, room - 1);

	if (n < 0)
		return (int)n;
	if (n > 0 && out[n - 1] == '\n')
		n--;
	out[n] = 0;
	return 0;
}

int sysfs_read_number(const char *dir, const char *name, uint64_t *out)
{
	char text[32];
	int rc = sysfs_read_text(dir, name, text, sizeof text);

	return rc < 0 ? rc : number_parse_u64(text, out);
}

int sysfs_each_entry(const char *dir, bool may_lack, int (*visit)(void *context, const char *name),
	void *context)
{
	struct dirent *entry;
	DIR *d = opendir(dir);
	int rc = 0;

	if (!d)
		return may_lack && errno == ENOENT ? 0 : -errno;
	while (!rc && (errno = 0, entry = readdir(d)))
		if (entry->d_name[0] != '.')
			rc = visit(context, entry->d_name);
	if (!rc)
		rc = -errno; /* what readdir left when it returned nothing */
	closedir(d);
	return rc;
}

int sysfs_is_partition(const char *dir)
{
	char number[16];
	int rc = sysfs_read_text(dir, "partition", number, sizeof number);

	return rc == -ENOENT || rc == -ENOTDIR ? 0 : rc < 0 ? rc : 1;
}

bool sysfs_parse_device_number(const char *text, unsigned *major, unsigned *minor)
{
	const char *colon = strchr(text, ':');
	char first[16];
	uint64_t a, b;

	if (!colon || (size_t)(colon - text) >= sizeof first)
		return false;
	memcpy(first, text, (size_t)(colon - text));
	first[colon - text] = 0;
	if (number_parse_u64(first, &a) < 0 || number_parse_u64(colon + 1, &b) < 0 ||
		a > UINT_MAX || b > UINT_MAX)
		return false;
	*major = (unsigned)a;
	*minor = (unsigned)b;
	return true;
}

bool sysfs_read_link_name(const char *dir, const char *name, char *out, size_t room)
{
	char path[SYSFS_PATH_MAX], to[SYSFS_PATH_MAX];
	const char *slash;
	ssize_t n;

	if (sysfs_path(path, "%s/%s", dir, name) < 0)
		return false;
	n = readlink(path, to, sizeof to - 1);
	if (n <= 0)
		return false;
	to[n] = 0;
	slash = strrchr(to, '/');
	text_copy(out, room, slash ? slash + 1 : to);
	return true;
}
