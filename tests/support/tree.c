/* Unpacking of recorded trees. */
#include "support/tree.h"

#include <check.h>
#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char root[256];

static void make_folders(char *path)
{
	for (char *c = path + strlen(root) + 1; (c = strchr(c, '/')); c++) {
		*c = 0;
		mkdir(path, 0777);
		*c = '/';
	}
}

static size_t unescape(char *text)
{
	char *to = text;
	unsigned byte;

	for (const char *from = text; *from;) {
		if (sscanf(from, "\\x%2x", &byte) == 1) {
			*to++ = (char)byte;
			from += 4;
		} else {
			*to++ = *from++;
		}
	}
	return (size_t)(to - text);
}

static void write_file(char *path, const char *bytes, size_t length)
{
	FILE *f;

	make_folders(path);
	f = fopen(path, "w");
	ck_assert_msg(f != NULL, "cannot make %s", path);
	ck_assert_uint_eq(fwrite(bytes, 1, length, f), length);
	fclose(f);
}

static void take_line(char *line)
{
	char path[4400], *mark;

	line[strcspn(line, "\n")] = 0;
	if (!*line || *line == '#')
		return;
	if ((mark = strstr(line, " -> "))) {
		*mark = 0;
		snprintf(path, sizeof path, "%s/%s", root, line);
		make_folders(path);
		ck_assert_int_eq(symlink(mark + 4, path), 0);
	} else if ((mark = strstr(line, " = "))) {
		*mark = 0;
		snprintf(path, sizeof path, "%s/%s", root, line);
		write_file(path, mark + 3, unescape(mark + 3));
	} else {
		snprintf(path, sizeof path, "%s/%s", root, line);
		make_folders(path);
	}
}

/* The tests run from the top of the source tree. */
const char *tree_unpack(const char *name)
{
	char path[256], line[4096];
	FILE *f;

	snprintf(root, sizeof root, "/tmp/blkassay-tree-XXXXXX");
	ck_assert_ptr_nonnull(mkdtemp(root));
	snprintf(path, sizeof path, "tests/data/%s", name);
	f = fopen(path, "r");
	ck_assert_msg(f != NULL, "cannot open %s: run the tests from the top folder", path);
	while (fgets(line, sizeof line, f))
		take_line(line);
	fclose(f);
	return root;
}

void tree_put(const char *path, const char *content)
{
	char full[2048];

	snprintf(full, sizeof full, "%s/%s", root, path);
	write_file(full, content, strlen(content));
}

void tree_link(const char *path, const char *to)
{
	char full[2048];

	snprintf(full, sizeof full, "%s/%s", root, path);
	remove(full);
	make_folders(full);
	ck_assert_int_eq(symlink(to, full), 0);
}

static int remove_one(const char *path, const struct stat *st, int type, struct FTW *ftw)
{
	(void)st, (void)type, (void)ftw;
	return remove(path);
}

void tree_remove(void)
{
	nftw(root, remove_one, 16, FTW_DEPTH | FTW_PHYS);
}
