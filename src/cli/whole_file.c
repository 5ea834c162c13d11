/* Files that results go to. */
#include "cli/whole_file.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/error.h"
#include "base/own_file.h"
#include "base/text.h"

/* The first bytes of every record of ours. */
bool whole_file_is_record(const char *path)
{
	static const char magic[] = "1 blkassay-record ";
	char bytes[sizeof magic - 1];
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
	ssize_t n;

	if (fd < 0)
		return false;
	n = read(fd, bytes, sizeof bytes);
	close(fd);
	return n == (ssize_t)sizeof bytes && !memcmp(bytes, magic, sizeof bytes);
}

static int check_place(const char *path, struct error *err)
{
	struct stat st;

	if (stat(path, &st) < 0) {
		if (errno == ENOENT)
			return 0;
		return error_sys(err, ERROR_USAGE, errno, "cannot write '%s'", path);
	}
	if (!S_ISREG(st.st_mode))
		return error_set(err, ERROR_USAGE,
			"'%s' is not a regular file; name a file, or '-' for standard output",
			path);
	if (whole_file_is_record(path))
		return error_set(err, ERROR_USAGE,
			"'%s' is a run record, which a result does not replace; name another file",
			path);
	return 0;
}

int whole_file_open(struct whole_file *f, const char *path, struct error *err)
{
	int fd;

	*f = (struct whole_file){ 0 };
	if (strlen(path) >= sizeof f->path)
		return error_set(err, ERROR_USAGE,
			"an output path is longer than this tool takes (511 bytes)");
	text_copy(f->path, sizeof f->path, path);
	if (!strcmp(path, "-")) {
		f->file = stdout;
		return 0;
	}
	if (check_place(path, err) < 0)
		return -1;
	snprintf(f->temporary, sizeof f->temporary, "%s.%ld.part", path, (long)getpid());
	fd = open(f->temporary, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
	if (fd < 0)
		return error_sys(err, ERROR_USAGE, errno, "cannot write '%s'", path);
	f->file = fdopen(fd, "w");
	if (!f->file) {
		(void)own_file_unlink(fd, f->temporary);
		close(fd);
		return error_set(err, ERROR_IO, "out of memory");
	}
	return 0;
}

int whole_file_write(struct whole_file *f, struct text *t, struct error *err)
{
	if (t->failed || text_ran_out())
		return error_set(err, ERROR_IO, "out of memory for '%s'", f->path);
	if (fwrite(t->bytes, 1, t->length, f->file) != t->length)
		return error_sys(err, ERROR_IO, errno, "cannot write '%s'", f->path);
	text_reset(t);
	return 0;
}

/* Stored and closed, then put in its place by a second descriptor, which still says which file is ours. 0 or an errno;
 * ESTALE: it was moved away. */
static int put_in_place(const struct whole_file *f, FILE *file, int own)
{
	int failed = fflush(file) != 0 || fsync(own) < 0 ? errno : 0;

	if (fclose(file) != 0 && !failed)
		failed = errno;
	if (!failed) {
		int rc = own_file_rename(own, f->temporary, f->path);

		failed = rc > 0 ? ESTALE : -rc;
	}
	if (failed)
		(void)own_file_unlink(own, f->temporary);
	close(own);
	return failed;
}

int whole_file_finish(struct whole_file *f, struct error *err)
{
	FILE *file = f->file;
	int own, failed;

	if (!file || file == stdout) { /* the dispatcher checks stdout for every command */
		f->file = NULL;
		return 0;
	}
	/* It may have come there since, by another name of the same place. */
	if (whole_file_is_record(f->path)) {
		whole_file_drop(f);
		return error_set(err, ERROR_IO,
			"'%s' has become a run record, which a result does not replace", f->path);
	}
	own = fcntl(fileno(file), F_DUPFD_CLOEXEC, 0);
	if (own < 0) {
		failed = errno;
		whole_file_drop(f);
	} else {
		f->file = NULL;
		failed = put_in_place(f, file, own);
	}
	return failed ? error_sys(err, ERROR_IO, failed, "cannot write '%s'", f->path) : 0;
}

void whole_file_drop(struct whole_file *f)
{
	if (f->file && f->file != stdout) {
		(void)own_file_unlink(fileno(f->file), f->temporary);
		fclose(f->file);
	}
	f->file = NULL;
}
