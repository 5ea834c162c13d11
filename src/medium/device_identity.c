/* Whether an open block device still is what it was when it was opened. */
#include "medium/device_identity.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "medium/identity.h"
#include "medium/scsi.h"
#include "medium/scsi_data.h"
#include "medium/scsi_sense.h"
#include "medium/sg.h"
#include "platform/blockdev.h"
#include "platform/clock.h"

enum { TEST_TIMEOUT_MS = 10000, ATTENTIONS_MAX = 16, NOT_READY_TRIES = 50 };

static const uint64_t not_ready_step_ns = 200000000;

int device_identity_take(struct device_identity *d, int fd, const struct medium_traits *t,
	unsigned major, unsigned minor)
{
	int rc;

	*d = (struct device_identity){ .fd = fd,
		.major = major,
		.minor = minor,
		.size_bytes = t->size_bytes,
		/* Nobody can change what is behind a loop device, unless that only reads (LOOP_CHANGE_FD). */
		.every_request = t->read_only || strcmp(t->transport, "loop") != 0 };
	rc = blockdev_sequence(fd, &d->sequence);
	if (rc < 0)
		d->sequence = 0;
	/* Kernels before 5.15 do not know the question. */
	return rc == -ENOTTY || rc == -EINVAL ? 0 : rc;
}

/* The disk sequence moves whenever the kernel noticed another medium, whoever made it look (Linux 5.15 and later,
 * Documentation/ABI/testing/sysfs-block). */
static int check_sequence(
	const struct device_identity *d, int fd, const struct medium *m, struct error *why)
{
	uint64_t now, bytes;
	char reset[200] = "", how[320];
	int rc;

	if (!d->sequence)
		return 0;
	rc = blockdev_sequence(fd, &now);
	if (rc == -ENODEV || rc == -ENXIO)
		return identity_gone(m, why, rc, "the kernel no longer has such a device");
	if (rc < 0 || now == d->sequence)
		return 0;
	if (blockdev_size(fd, &bytes) == 0 && !bytes)
		return identity_gone(m, why, -ENOMEDIUM, "it holds no medium");
	if (d->broken_status)
		snprintf(reset, sizeof reset,
			"; this run's command %02Xh had failed on the bus (host status %u), for "
			"which the host resets a device: if nobody touched the card, mend how the "
			"gadget answers that command",
			d->broken_opcode, d->broken_status);
	snprintf(how, sizeof how,
		"its disk sequence went from %llu to %llu, as for another medium or after a "
		"reset%s",
		(unsigned long long)d->sequence, (unsigned long long)now, reset);
	return identity_changed(m, why, how);
}

static int check_size(
	const struct device_identity *d, int fd, const struct medium *m, struct error *why)
{
	uint64_t now;
	char how[120];
	int rc = blockdev_size(fd, &now);

	if (rc == -ENODEV || rc == -ENXIO)
		return identity_gone(m, why, rc, "the kernel no longer has such a device");
	if (rc < 0 || now == d->size_bytes)
		return 0;
	if (!now)
		return identity_gone(m, why, -ENOMEDIUM, "it no longer has a size");
	snprintf(how, sizeof how, "its size went from %llu to %llu bytes",
		(unsigned long long)d->size_bytes, (unsigned long long)now);
	/* Another medium would have moved the disk sequence. */
	return d->sequence ? identity_gone(m, why, -ENODEV, how) : identity_changed(m, why, how);
}

/* Opening makes the kernel look whether the medium is still the same one. By the held descriptor, not by a name. */
static int look_again(const struct device_identity *d, const struct medium *m, struct error *why)
{
	char self[40];
	int fd, rc;

	snprintf(self, sizeof self, "/proc/self/fd/%d", d->fd);
	fd = open(self, O_RDONLY | O_NONBLOCK | O_CLOEXEC);
	if (fd < 0 && (errno == ENXIO || errno == ENODEV))
		return identity_gone(m, why, -errno, "the kernel no longer has such a device");
	if (fd < 0 && errno == ENOMEDIUM)
		return identity_gone(m, why, -ENOMEDIUM, "it holds no medium");
	if (fd < 0)
		return 0; /* nothing learnt */
	rc = check_sequence(d, fd, m, why);
	if (!rc)
		rc = check_size(d, fd, m, why);
	close(fd);
	return rc;
}

static int judge_sense(const struct scsi_sense *s, const struct medium *m, struct error *why)
{
	int rc = scsi_sense_identity(s);

	if (rc == -ESTALE)
		return identity_changed(m, why, "it says so itself (unit attention)");
	return rc ? identity_gone(m, why, rc, "it holds no medium (sense 02/3A)") : 0;
}

/* What TEST UNIT READY came to. Whole disk or partition: the command concerns no block. */
struct readiness {
	int rc; /* 0: it answered in the end; -ENOTSUP: no SCSI here, or not allowed; -ENODEV */
	bool ready;
	bool changed; /* 28/00 was among the attentions */
	unsigned failures; /* answers that were no success */
	struct scsi_sense sense; /* the last one */
};

/* Until it is ready, or says what no waiting mends. Attentions are passed over. */
static void await_readiness(int fd, struct readiness *r)
{
	int attentions = 0, waits = 0;

	*r = (struct readiness){ 0 };
	while (!r->ready && attentions < ATTENTIONS_MAX && waits < NOT_READY_TRIES) {
		struct scsi_exchange x;

		scsi_build_test_unit_ready(&x);
		x.timeout_ms = TEST_TIMEOUT_MS;
		r->rc = sg_send(fd, &x);
		if (r->rc < 0 && r->rc != -ENODEV && r->rc != -ENXIO)
			r->rc = -ENOTSUP;
		/* 03h: it did not answer in time (Linux scsi_status.h). */
		if (!r->rc && (scsi_lost_device(&x) || x.host_status == 3))
			r->rc = -ENODEV;
		r->failures += r->rc == -ENODEV || !scsi_succeeded(&x);
		if (r->rc)
			return;
		r->ready = scsi_completed(&x);
		scsi_sense_decode(&r->sense, x.sense, x.sense_length);
		r->changed |= scsi_sense_identity(&r->sense) == -ESTALE;
		if (scsi_sense_identity(&r->sense) == -ENOMEDIUM)
			return;
		if (r->sense.valid && r->sense.key == SENSE_UNIT_ATTENTION) {
			attentions++;
		} else if (!r->ready) {
			waits++;
			clock_sleep_ns(not_ready_step_ns);
		}
	}
}

static int judge_readiness(const struct readiness *r, const struct medium *m, struct error *why)
{
	int rc;

	if (r->rc == -ENOTSUP)
		return 0; /* nothing learnt */
	if (r->rc < 0)
		return identity_gone(m, why, r->rc, "it no longer answers any command");
	if (r->ready)
		return 0;
	rc = judge_sense(&r->sense, m, why);
	return rc ? rc : identity_gone(m, why, -ENODEV, "it says that it is not ready");
}

static int ask_device(struct device_identity *d, const struct medium *m, struct error *why)
{
	struct readiness r;

	await_readiness(d->fd, &r);
	d->sent_errors += r.failures;
	if (r.changed)
		return identity_changed(m, why, "it says so itself (unit attention)");
	return judge_readiness(&r, m, why);
}

static int check_capacity(int fd, const struct medium *m, struct error *why)
{
	unsigned char data[SCSI_CAPACITY_10_BYTES] = { 0 };
	struct scsi_capacity c;
	struct scsi_exchange x;
	uint64_t bytes;

	scsi_build_read_capacity_10(&x, data);
	if (sg_send(fd, &x) < 0 || !scsi_succeeded(&x) || blockdev_size(fd, &bytes) < 0 ||
		!scsi_capacity_10_decode(&c, data, scsi_transferred(&x)) || c.needs_16 ||
		c.blocks * c.block_bytes == bytes)
		return 0;
	error_set(why, ERROR_IO,
		"the medium of '%s' has just been changed, and the kernel still has the size of "
		"the one before (%llu bytes, not %llu); unplug it and plug it in again",
		m->traits.path, (unsigned long long)bytes,
		(unsigned long long)(c.blocks * c.block_bytes));
	return -ESTALE;
}

int device_identity_settle(int fd, bool whole_disk, struct medium *m, struct error *why)
{
	struct readiness r;
	int rc;

	await_readiness(fd, &r);
	rc = judge_readiness(&r, m, why);
	if (r.changed)
		identity_doubt(m);
	return rc || !r.changed || !whole_disk ? rc : check_capacity(fd, m, why);
}

void device_identity_note(struct device_identity *d, const struct scsi_exchange *x)
{
	if (!x->host_status || scsi_lost_device(x))
		return;
	d->broken_opcode = x->cdb[0];
	d->broken_status = x->host_status;
}

int device_identity_renew(struct device_identity *d, const struct medium *m, struct error *why)
{
	uint64_t before = d->sequence;
	struct readiness r;
	int rc;

	await_readiness(d->fd, &r);
	d->sent_errors += r.failures;
	rc = judge_readiness(&r, m, why);
	/* The kernel looks when it is opened, and not before that lets block I/O pass again. */
	d->sequence = 0;
	d->broken_status = 0;
	if (!rc)
		rc = look_again(d, m, why);
	if (!rc && before && blockdev_sequence(d->fd, &d->sequence) < 0)
		d->sequence = before;
	return rc;
}

int device_identity_check(
	struct device_identity *d, enum medium_check how, const struct medium *m, struct error *why)
{
	int rc;

	if (how == MEDIUM_CHECK_REQUEST && !d->every_request)
		return 0;
	rc = check_sequence(d, d->fd, m, why);
	if (rc || how != MEDIUM_CHECK_FAILED)
		return rc;
	rc = check_size(d, d->fd, m, why);
	if (!rc && !blockdev_exists(NULL, d->major, d->minor))
		rc = identity_gone(m, why, -ENODEV, "the kernel no longer has such a device");
	if (!rc)
		rc = look_again(d, m, why);
	return rc ? rc : ask_device(d, m, why);
}
