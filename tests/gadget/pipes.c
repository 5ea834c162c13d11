/* The two bulk endpoints. */
#include "gadget/pipes.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <stdint.h>
#include <stdio.h>
#include <sys/eventfd.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

#include "base/error.h"
#include "gadget/clock.h"

/* O_NONBLOCK: an endpoint that no host has enabled answers instead of waiting for one. */
static int open_endpoint(const char *folder, const char *name, struct error *err)
{
	char path[256];
	int fd;

	snprintf(path, sizeof path, "%s/%s", folder, name);
	fd = open(path, O_RDWR | O_CLOEXEC | O_NONBLOCK);
	return fd >= 0 ? fd
		       : error_sys(err, ERROR_IO, errno, "cannot open the endpoint '%s'", path);
}

int pipes_open(struct pipes *p, const char *folder, struct error *err)
{
	*p = (struct pipes){ .fd = { -1, -1 } };
	p->done = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
	p->wake = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
	if (p->done < 0 || p->wake < 0 || syscall(SYS_io_setup, 1, &p->context) < 0) {
		error_sys(err, ERROR_IO, errno, "cannot set up asynchronous I/O");
		pipes_close(p);
		return -1;
	}
	p->fd[PIPE_IN] = open_endpoint(folder, "ep1", err);
	p->fd[PIPE_OUT] = p->fd[PIPE_IN] < 0 ? -1 : open_endpoint(folder, "ep2", err);
	if (p->fd[PIPE_OUT] >= 0)
		return 0;
	pipes_close(p);
	return -1;
}

void pipes_close(struct pipes *p)
{
	pipes_cancel(p);
	if (p->context)
		syscall(SYS_io_destroy, p->context);
	for (int i = 0; i < 2; i++)
		if (p->fd[i] >= 0)
			close(p->fd[i]);
	if (p->done >= 0)
		close(p->done);
	if (p->wake >= 0)
		close(p->wake);
}

int pipes_start(struct pipes *p, enum pipe which, void *buf, size_t n)
{
	struct iocb *list[] = { &p->transfer };

	p->transfer = (struct iocb){ .aio_fildes = (uint32_t)p->fd[which],
		.aio_lio_opcode = which == PIPE_IN ? IOCB_CMD_PWRITE : IOCB_CMD_PREAD,
		.aio_buf = (uintptr_t)buf,
		.aio_nbytes = n,
		.aio_flags = IOCB_FLAG_RESFD,
		.aio_resfd = (uint32_t)p->done };
	if (syscall(SYS_io_submit, p->context, 1, list) != 1)
		return -errno;
	p->busy = true;
	return 0;
}

static void drain(int counter)
{
	uint64_t count;

	while (read(counter, &count, sizeof count) < 0 && errno == EINTR)
		;
}

/* Takes the result, if it is there, or waits for it. */
static bool take_result(struct pipes *p, bool wait)
{
	struct timespec now = { 0, 0 };
	struct io_event event;
	long n;

	do
		n = syscall(SYS_io_getevents, p->context, 1, 1, &event, wait ? NULL : &now);
	while (n != 1 && wait);
	if (n != 1)
		return false;
	p->result = (long)event.res;
	p->busy = false;
	return true;
}

void pipes_cancel(struct pipes *p)
{
	struct io_event event;

	if (!p->busy)
		return;
	syscall(SYS_io_cancel, p->context, &p->transfer, &event);
	take_result(p, true);
}

/* False: nothing happened in that time. The counter of a transfer that was taken back may come late and mean nothing. */
static bool poll_until(struct pipes *p, double t, struct pollfd fds[2])
{
	double left = fmax(t - clock_ns(), 0);
	struct timespec timeout = { 0, 0 };

	if (isfinite(t)) {
		timeout.tv_sec = (time_t)(left / 1e9);
		timeout.tv_nsec = (long)(left - (double)timeout.tv_sec * 1e9);
	}
	fds[0] = (struct pollfd){ .fd = p->done, .events = POLLIN };
	fds[1] = (struct pollfd){ .fd = p->wake, .events = POLLIN };
	return ppoll(fds, 2, isfinite(t) ? &timeout : NULL, NULL) > 0;
}

enum pipes_event pipes_wait(struct pipes *p, double t)
{
	struct pollfd fds[2];

	while (poll_until(p, t, fds)) {
		if (fds[1].revents) {
			drain(p->wake);
			return PIPES_WOKEN;
		}
		drain(p->done);
		if (p->busy && take_result(p, false))
			return PIPES_DONE;
	}
	return PIPES_TIME;
}

void pipes_wake(struct pipes *p)
{
	uint64_t one = 1;

	while (write(p->wake, &one, sizeof one) < 0 && errno == EINTR)
		;
}

/* A transfer in the wrong direction is how FunctionFS is asked for it; EBADMSG then says that it was done. */
int pipes_stall(struct pipes *p, enum pipe which)
{
	char byte = 0;
	ssize_t n = which == PIPE_IN ? read(p->fd[which], &byte, 1) : write(p->fd[which], &byte, 1);

	return n < 0 && errno != EBADMSG ? -errno : 0;
}
