/* One error, as a whole sentence for the user and a kind that becomes the exit status.
 * Layers below the command line fill it and return -1; only the command line prints it. */
#ifndef BASE_ERROR_H
#define BASE_ERROR_H

enum error_kind {
	ERROR_NONE = 0,
	ERROR_USAGE, /* the request makes no sense: exit 2 */
	ERROR_REFUSED, /* refused for safety: exit 2 */
	ERROR_IO, /* the I/O or the machine failed: exit 3 */
	ERROR_INTERRUPTED, /* the user asked to stop: exit 130 */
};

struct error {
	enum error_kind kind;
	int sys_errno; /* the errno behind it, 0 when there is none */
	char text[4096]; /* what failed, why, what to do: one line, no full stop; long paths fit */
};

/* Each fills *err and gives -1, so that a caller can say `return error_set(...)`; macros, so that compilers and analysers
 * see the -1. err may be NULL. What is not plain text (a hostile file name, a device's own words) becomes '?'.
 * error_sys adds ": <what the kernel said>"; sys_errno is positive. */
static inline int error_result(void)
{
	return -1;
}

#define error_set(err, kind, ...) (error_fill((err), (kind), __VA_ARGS__), error_result())
#define error_sys(err, kind, sys_errno, ...) \
	(error_fill_sys((err), (kind), (sys_errno), __VA_ARGS__), error_result())

void error_fill(struct error *err, enum error_kind kind, const char *fmt, ...)
	__attribute__((format(printf, 3, 4)));
void error_fill_sys(struct error *err, enum error_kind kind, int sys_errno, const char *fmt, ...)
	__attribute__((format(printf, 4, 5)));

/* Adds to the sentence, e.g. "; what to do". */
void error_add(struct error *err, const char *fmt, ...) __attribute__((format(printf, 2, 3)));

/* The exit status a kind stands for (0, 2, 3, 130). */
int error_exit_status(const struct error *err);

#endif
