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
#include "platform/usbmon_log.h"

/* Of each transfer the kernel copies as much as there is, up to a fifth of the ring (Linux drivers/usb/mon/mon_bin.c,
 * mon_bin_event, which allows rings of 8 to 1200 KiB). Of requests that are copied whole either way a large ring holds more, so that
 * it is seldom looked at; of larger ones it would hold few, and copy them for nothing. */
enum { RING_LARGE = 1200 << 10, RING_USUAL = 128 << 10, SMALL_REQUEST = RING_USUAL / 5 };
enum { FETCH = 1024, LOG_EVENTS = 32768 };

struct stats {
	uint32_t queued, dropped;
};

struct fetch {
	uint32_t *offsets;
	uint32_t count; /* in: room; out: how many */
	uint32_t flush; /* how many to let go of first */
};

static const unsigned long get_stats = _IOR(0x92, 3, struct stats);
static const unsigned long set_ring = _IO(0x92, 4), get_ring = _IO(0x92, 5);
static const unsigned long take_events = _IOWR(0x92, 7, struct fetch);
static const unsigned long let_go = _IO(0x92, 8);

struct usbmon {
	int fd;
	const uint8_t *ring;
	size_t ring_bytes;
	struct usbmon_filter filter;
	struct usbmon_log log;
	size_t asked_bytes; /* the ring was made that large; 0: it could not */
	uint64_t found_bytes; /* by the last usbmon_collect */
	uint64_t others_moved; /* ever */
};

static void unmap_ring(struct usbmon *m)
{
	if (m->ring)
		munmap((void *)(uintptr_t)m->ring, m->ring_bytes);
	m->ring = NULL;
	m->ring_bytes = 0;
}

static int map_ring(struct usbmon *m, size_t wanted)
{
	int bytes;
	void *at;

	/* Without the memory for that it stays as large as it was. */
	m->asked_bytes = ioctl(m->fd, set_ring, (unsigned long)wanted) < 0 ? 0 : wanted;
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
	rc = m->fd < 0 ? -errno : map_ring(m, RING_USUAL);
	rc = rc < 0 ? rc : usbmon_log_init(&m->log, LOG_EVENTS);
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
	unmap_ring(m);
	usbmon_log_release(&m->log);
	if (m->fd >= 0)
		close(m->fd);
	free(m);
}

int usbmon_expect(struct usbmon *m, uint64_t request_bytes)
{
	size_t wanted = request_bytes <= SMALL_REQUEST ? RING_LARGE : RING_USUAL;

	if (m->ring && wanted == m->asked_bytes)
		return 0;
	unmap_ring(m);
	return map_ring(m, wanted);
}

/* PKT_ALIGN of mon_bin.c. */
static size_t in_ring(const uint8_t *event)
{
	return (usbmon_event_bytes(event) + 63) & ~(size_t)63;
}

/* How many of them were taken into memory. */
static uint32_t take(struct usbmon *m, const uint32_t *offsets, uint32_t count)
{
	for (uint32_t i = 0; i < count; i++) {
		const uint8_t *at = m->ring + offsets[i];
		size_t left = offsets[i] < m->ring_bytes ? m->ring_bytes - offsets[i] : 0;

		if (left < USBMON_HEADER_BYTES)
			continue;
		if (!usbmon_log_add(&m->log, at, left, &m->filter))
			return i;
		if (!usbmon_event_is_of(&m->filter, at))
			m->others_moved += usbmon_event_moved(at);
		m->found_bytes += in_ring(at);
	}
	return count;
}

int usbmon_collect(struct usbmon *m)
{
	uint32_t offsets[FETCH];

	m->found_bytes = 0;
	for (;;) {
		struct fetch f = { .offsets = offsets, .count = FETCH };
		uint32_t taken;

		if (!m->ring)
			return -ENXIO;
		if (ioctl(m->fd, take_events, &f) < 0)
			return errno == EAGAIN || errno == EINTR ? 0 : -errno;
		taken = take(m, offsets, f.count < FETCH ? f.count : FETCH);
		if (taken && ioctl(m->fd, let_go, (unsigned long)taken) < 0)
			return -errno;
		if (taken < f.count)
			return -ENOBUFS;
		if (f.count < FETCH)
			return 0;
	}
}

void usbmon_hand_over(
	struct usbmon *m, void (*event)(void *context, const struct usbmon_event *e), void *context)
{
	usbmon_log_hand_over(&m->log, &m->filter, event, context);
}

size_t usbmon_ring_bytes(const struct usbmon *m)
{
	return m->ring_bytes;
}

double usbmon_fill(const struct usbmon *m)
{
	return m->ring_bytes ? (double)m->found_bytes / (double)m->ring_bytes : 0;
}

uint64_t usbmon_others_moved(const struct usbmon *m)
{
	return m->others_moved;
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
