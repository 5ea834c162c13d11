/* The kernel's USB monitor. */
#include "platform/usbmon.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <sys/mman.h>
#include <unistd.h>

#include "base/error.h"
#include "platform/child.h"

/* Of each transfer the kernel copies up to a fifth of the ring: large enough to hold what comes while we sleep, small enough
 * that the copy costs little (Linux drivers/usb/mon/mon_bin.c, mon_bin_event). */
enum { RING_BYTES = 128 << 10, FETCH = 128 };

struct stats {
	uint32_t queued, dropped;
};

struct fetch {
	uint32_t *offsets;
	uint32_t count; /* in: room; out: how many */
	uint32_t flush; /* how many of the last to let go of first */
};

static const unsigned long get_stats = _IOR(0x92, 3, struct stats);
static const unsigned long set_ring = _IO(0x92, 4), get_ring = _IO(0x92, 5);
static const unsigned long take_events = _IOWR(0x92, 7, struct fetch);

struct usbmon {
	int fd;
	const uint8_t *ring;
	size_t ring_bytes;
	struct usbmon_filter filter;
	uint32_t held; /* events of the ring that were looked at and are still in it */
	uint64_t found_bytes; /* by the last read */
};

static int map_ring(struct usbmon *m)
{
	int bytes;
	void *at;

	/* Refused while the ring is shared with somebody else; then it is as large as they want it. */
	(void)ioctl(m->fd, set_ring, (unsigned long)RING_BYTES);
	bytes = ioctl(m->fd, get_ring);
	if (bytes <= 0)
		return bytes < 0 ? -errno : -EIO;
	at = mmap(NULL, (size_t)bytes, PROT_READ, MAP_SHARED | MAP_POPULATE, m->fd, 0);
	if (at == MAP_FAILED)
		return -errno;
	m->ring = at;
	m->ring_bytes = (size_t)bytes;
	return 0;
}

int usbmon_open(struct usbmon **out, const struct usbmon_filter *filter, struct error *err)
{
	struct usbmon *m = calloc(1, sizeof *m);
	char path[32];
	int rc;

	*out = NULL;
	if (!m)
		return error_set(err, ERROR_IO, "out of memory");
	m->filter = *filter;
	snprintf(path, sizeof path, "/dev/usbmon%u", (unsigned)filter->bus);
	m->fd = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC);
	rc = m->fd < 0 ? -errno : map_ring(m);
	if (rc == 0) {
		*out = m;
		return 0;
	}
	usbmon_close(m);
	return error_sys(err, ERROR_IO, -rc, "cannot watch the bus with '%s'", path);
}

void usbmon_close(struct usbmon *m)
{
	if (!m)
		return;
	if (m->ring)
		munmap((void *)(uintptr_t)m->ring, m->ring_bytes);
	if (m->fd >= 0)
		close(m->fd);
	free(m);
}

static void hand_over(struct usbmon *m, uint32_t offset,
	void (*event)(void *context, const struct usbmon_event *e), void *context)
{
	struct usbmon_event e;

	if (offset >= m->ring_bytes || m->ring_bytes - offset < USBMON_HEADER_BYTES)
		return;
	m->found_bytes += usbmon_event_bytes(m->ring + offset);
	if (usbmon_event_parse(&e, m->ring + offset, m->ring_bytes - offset, &m->filter))
		event(context, &e);
}

int usbmon_read(
	struct usbmon *m, void (*event)(void *context, const struct usbmon_event *e), void *context)
{
	uint32_t offsets[FETCH];

	m->found_bytes = 0;
	for (;;) {
		struct fetch f = { .offsets = offsets, .count = FETCH, .flush = m->held };

		/* What was held is let go of first, also when there is no more. */
		m->held = 0;
		if (ioctl(m->fd, take_events, &f) < 0)
			return errno == EAGAIN || errno == EINTR ? 0 : -errno;
		m->held = f.count;
		for (uint32_t i = 0; i < f.count && i < FETCH; i++)
			hand_over(m, offsets[i], event, context);
		/* Those stay in the ring until the next call: they are few. */
		if (f.count < FETCH)
			return 0;
	}
}

double usbmon_fill(const struct usbmon *m)
{
	return (double)m->found_bytes / (double)m->ring_bytes;
}

void usbmon_wait(struct usbmon *m, unsigned milliseconds)
{
	struct pollfd p = { .fd = m->fd, .events = POLLIN };

	(void)poll(&p, 1, (int)milliseconds);
}

int usbmon_dropped(struct usbmon *m, uint64_t *out)
{
	struct stats s;

	if (ioctl(m->fd, get_stats, &s) < 0)
		return -errno;
	*out = s.dropped;
	return 0;
}

int usbmon_load_module(struct error *err)
{
	struct child c;
	int rc;

	if (access("/dev/usbmon0", F_OK) == 0)
		return 0;
	rc = child_start(&c, "exec modprobe usbmon 2>/dev/null");
	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot load the kernel's module usbmon");
	child_finish(&c, 10000000000ULL);
	if (c.status)
		return error_set(err, ERROR_IO,
			"cannot load the kernel's module usbmon (modprobe ended with %d)%s",
			c.status, geteuid() ? "; run as root" : "");
	return 0;
}
