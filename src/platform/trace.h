/* Every request a block device gets, from the kernel's block trace events (Linux Documentation/trace/events.rst).
 *
 * A trace instance of our own is used, with its own buffers and its own switches, so nobody else's tracing is touched;
 * it is reached through a mount that has no place in the file tree. Both are gone after trace_close; an instance left by
 * a killed process is removed by the next trace_open. */
#ifndef PLATFORM_TRACE_H
#define PLATFORM_TRACE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct error;
struct trace;

enum trace_kind { TRACE_ISSUE, TRACE_COMPLETE, TRACE_LOST };

struct trace_event {
	enum trace_kind kind;
	uint64_t at_ns; /* CLOCK_MONOTONIC, to the microsecond */
	bool read, write, discard; /* at most one; none of them, nor flush: something else */
	bool flush; /* asks for the cache to be emptied, alone or before the write */
	bool fua; /* to be stored before it is answered */
	uint64_t sector; /* of 512 bytes */
	uint64_t sectors;
	int error; /* of TRACE_COMPLETE: 0 or a negative errno */
	uint64_t lost; /* of TRACE_LOST: events the kernel had to drop, at least */
};

/* One line of trace output. False when it is none of these. Reads nothing past length. */
bool trace_parse(struct trace_event *out, const char *line, size_t length);

/* Begins to trace this whole disk. 0, or -1 with *err: no rights, a kernel without it. */
int trace_open(struct trace **out, unsigned major, unsigned minor, struct error *err);

/* The clock of the events. */
uint64_t trace_now_ns(void);

/* Hands over what has come; does not wait. 0 or a negative errno. */
int trace_read(
	struct trace *t, void (*event)(void *context, const struct trace_event *e), void *context);

/* Ends tracing and leaves tracefs as it was. Closing NULL does nothing. */
void trace_close(struct trace *t);

#endif
