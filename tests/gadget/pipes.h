/* The two bulk endpoints of a FunctionFS function, by asynchronous I/O: whoever waits on them, or just sleeps, can be
 * woken. One thread transfers, any may wake it. */
#ifndef GADGET_PIPES_H
#define GADGET_PIPES_H

#include <linux/aio_abi.h>
#include <stdbool.h>
#include <stddef.h>

struct error;

enum pipe { PIPE_IN, PIPE_OUT }; /* as the host sees it */

struct pipes {
	int fd[2]; /* by enum pipe */
	int done, wake; /* event counters: a transfer ended; somebody wants attention */
	aio_context_t context;
	struct iocb transfer;
	bool busy;
	long result; /* of the last transfer: bytes or a negative errno */
};

/* folder: where FunctionFS is mounted, descriptors already written. 0, or -1 with *err. */
int pipes_open(struct pipes *p, const char *folder, struct error *err);
void pipes_close(struct pipes *p);

/* One transfer at a time; n may be 0. Reads take whole packets, so n is a multiple of their size. 0 or a negative errno. */
int pipes_start(struct pipes *p, enum pipe which, void *buf, size_t n);
/* Takes the transfer back, if there is one, and waits until it is. */
void pipes_cancel(struct pipes *p);

enum pipes_event { PIPES_DONE, PIPES_TIME, PIPES_WOKEN };
/* Returns when the transfer under way ended, t (clock_ns; INFINITY: never) came, or somebody woke it. */
enum pipes_event pipes_wait(struct pipes *p, double t);
void pipes_wake(struct pipes *p);

/* Halts an endpoint until the host clears it. 0 or a negative errno; -EAGAIN while something waits in it. */
int pipes_stall(struct pipes *p, enum pipe which);

#endif
