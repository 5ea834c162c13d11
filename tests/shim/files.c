/* Files of the fault sweep: read, compare, clear away. */
#include "shim/files.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "shim/jobs.h"

void file_die(const char *path)
{
	fprintf(stderr, "driver: %s: %s\n", path, strerror(errno));
	exit(3);
}

char *file_read(const char *path, size_t *length)
{
	FILE *f = fopen(path, "rb");
	char *bytes = malloc(FILE_READ_MAX + 1);
	size_t n;

	if (!bytes)
		file_die("memory");
	if (!f) {
		free(bytes);
		return NULL;
	}
	n = fread(bytes, 1, FILE_READ_MAX, f);
	fclose(f);
	bytes[n] = 0;
	if (length)
		*length = n;
	return bytes;
}

void file_write(const char *path, const void *bytes, size_t length)
{
	FILE *f = fopen(path, "wb");

	if (!f || fwrite(bytes, 1, length, f) != length || fclose(f) != 0)
		file_die(path);
}

bool file_is(const char *path, const void *bytes, size_t length)
{
	size_t n;
	char *got = file_read(path, &n);
	bool same = got && n == length && memcmp(got, bytes, n) == 0;

	free(got);
	return same;
}

size_t file_count(const char *path, const char *text)
{
	char *bytes = file_read(path, NULL);
	size_t count = 0;

	for (const char *at = bytes; at && (at = strstr(at, text)) != NULL; at++)
		count++;
	free(bytes);
	return count;
}

bool file_find(char *out, size_t room, const char *part)
{
	DIR *dir = opendir(".");
	struct dirent *e;
	bool found = false;

	if (!dir)
		file_die(".");
	while (!found && (e = readdir(dir)) != NULL)
		if (strstr(e->d_name, part)) {
			snprintf(out, room, "%s", e->d_name);
			found = true;
		}
	closedir(dir);
	return found;
}

void job_clear(void)
{
	DIR *dir = opendir(".");
	struct dirent *e;

	if (!dir)
		file_die(".");
	while ((e = readdir(dir)) != NULL)
		if (e->d_name[0] != '.' && strncmp(e->d_name, "kept-", 5) != 0 &&
			unlink(e->d_name) < 0)
			file_die(e->d_name);
	closedir(dir);
}

int job_file_says(const char *path, const char *text)
{
	return file_count(path, text) > 0;
}

void job_first_line(const char *path, char *out, size_t room)
{
	char *bytes = file_read(path, NULL);

	if (!bytes)
		return;
	snprintf(out, room, "%.*s", (int)strcspn(bytes, "\n"), bytes);
	free(bytes);
}

void job_copy_to_stdout(const char *path)
{
	char *bytes = file_read(path, NULL);

	printf("%s", bytes ? bytes : "");
	free(bytes);
}
