/* Whether an open block device still is what it was when it was opened. */
#include "medium/device_identity.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "medium/scsi.h"
#include "medium/scsi_sense.h"
#include "medium/sg.h"
#include "platform/blockdev.h"
#include "platform/clock.h"

enum { TEST_TIMEOUT_MS = 10000, ATTENTIONS_MAX = 16, NOT_READY_TRIES = 50 };

static const uint64_t not_ready_step_ns = 200000000;

void device_identity_take(struct device_identity *d, int fd, const struct medium_traits *t,
	unsigned major, unsigned minor)
{
	*d = (struct device_identity){ .fd = fd,
		.major = major,
		.minor = minor,
		.size_bytes = t->size_bytes,
		/* The kernel lets nobody change what is behind a loop device that is held for writing. */
		.every_request = strcmp(t->transport, "loop") != 0 };
	if (blockdev_sequence(fd, &d->sequence) < 0)
		d->sequence = 0;
}

static int changed(const char *path, struct error *why, const char *how)
{
	error_set(why, ERROR_IO,
		"'%s' may hold another medium than before: %s; nothing more was written (one "
		"request "
		"may have slipped through before this was seen); put the right one in and run "
		"again",
		path, how);
	return -ESTALE;
}

static int gone(const char *path, struct error *why, int rc, const char *how)
{
	error_set(why, ERROR_IO, "'%s' is gone: %s; check cable, power and card", path, how);
	return rc;
}

/* The disk sequence moves whenever the kernel noticed another medium, whoever made it look (Linux 5.15 and later,
 * Documentation/ABI/testing/sysfs-block). */
static int check_sequence(
	const struct device_identity *d, int fd, const char *path, struct error *why)
{
	uint64_t now;
	char how[100];

	if (!d->sequence || blockdev_sequence(fd, &now) < 0 || now == d->sequence)
		return 0;
	snprintf(how, sizeof how, "its disk sequence went from %llu to %llu",
		(unsigned long long)d->sequence, (unsigned long long)now);
	return changed(path, why, how);
}

static int check_size(const struct device_identity *d, int fd, const char *path, struct error *why)
{
	uint64_t now;
	char how[120];
	int rc = blockdev_size(fd, &now);

	if (rc == -ENODEV || rc == -ENXIO)
		return gone(path, why, rc, "the kernel has no such device any more");
	if (rc < 0 || now == d->size_bytes)
		return 0;
	if (!now)
		return gone(path, why, -ENOMEDIUM, "it has no size any more");
	snprintf(how, sizeof how, "its size went from %llu to %llu bytes",
		(unsigned long long)d->size_bytes, (unsigned long long)now);
	return changed(path, why, how);
}

/* Opening makes the kernel look whether the medium is still the same one. By the held descriptor, not by a name. */
static int look_again(const struct device_identity *d, const char *path, struct error *why)
{
	char self[40];
	int fd, rc;

	snprintf(self, sizeof self, "/proc/self/fd/%d", d->fd);
	fd = open(self, O_RDONLY | O_NONBLOCK | O_CLOEXEC);
	if (fd < 0 && (errno == ENXIO || errno == ENODEV))
		return gone(path, why, -errno, "the kernel has no such device any more");
	if (fd < 0 && errno == ENOMEDIUM)
		return gone(path, why, -ENOMEDIUM, "it holds no medium");
	if (fd < 0)
		return 0; /* nothing learnt */
	rc = check_sequence(d, fd, path, why);
	if (!rc)
		rc = check_size(d, fd, path, why);
	close(fd);
	return rc;
}

static int judge_sense(const struct scsi_sense *s, const char *path, struct error *why)
{
	if (!s->valid || s->deferred)
		return 0;
	if (s->key == SENSE_UNIT_ATTENTION && s->code == SENSE_MEDIUM_CHANGED)
		return changed(path, why, "it says so itself (unit attention 28/00)");
	if (s->key == SENSE_NOT_READY && s->code >> 8 == SENSE_NO_MEDIUM >> 8)
		return gone(path, why, -ENOMEDIUM, "it holds no medium (sense 02/3A)");
	return 0;
}

/* TEST UNIT READY. Whole disk or partition: the command concerns no block. */
static int ask_device(const struct device_identity *d, const char *path, struct error *why)
{
	struct scsi_sense sense = { 0 };
	int attentions = 0, waits = 0;

	for (;;) {
		struct scsi_exchange x;
		int rc;

		scsi_build_test_unit_ready(&x);
		x.timeout_ms = TEST_TIMEOUT_MS;
		rc = sg_send(d->fd, &x);
		if (rc == -ENODEV || rc == -ENXIO)
			return gone(path, why, rc, "it answers no command any more");
		if (rc < 0)
			return 0; /* no SCSI here, or not allowed: nothing learnt */
		/* 01h no connect, 03h time out, 04h bad target (Linux scsi_status.h). */
		if (x.host_status == 1 || x.host_status == 3 || x.host_status == 4)
			return gone(path, why, -ENODEV, "it answers no command any more");
		if (scsi_completed(&x))
			return 0;
		scsi_sense_decode(&sense, x.sense, x.sense_length);
		rc = judge_sense(&sense, path, why);
		if (rc)
			return rc;
		if (sense.valid && sense.key == SENSE_NOT_READY) {
			if (waits++ == NOT_READY_TRIES)
				return gone(path, why, -ENODEV, "it says that it is not ready");
			clock_sleep_ns(not_ready_step_ns);
		} else if (!sense.valid || sense.key != SENSE_UNIT_ATTENTION ||
			   attentions++ == ATTENTIONS_MAX) {
			return 0; /* it answers: so it is there */
		}
	}
}

int device_identity_check(
	const struct device_identity *d, enum medium_check how, const char *path, struct error *why)
{
	int rc;

	if (how == MEDIUM_CHECK_REQUEST && !d->every_request)
		return 0;
	rc = check_sequence(d, d->fd, path, why);
	if (rc || how != MEDIUM_CHECK_FAILED)
		return rc;
	rc = check_size(d, d->fd, path, why);
	if (!rc && !blockdev_exists(NULL, d->major, d->minor))
		rc = gone(path, why, -ENODEV, "the kernel has no such device any more");
	if (!rc)
		rc = look_again(d, path, why);
	return rc ? rc : ask_device(d, path, why);
}
