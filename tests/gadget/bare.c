/* Bulk-only transport by hand. Mass Storage Class, Bulk-Only Transport 1.0: 3.1, 3.2, 5.3.4, 6.6.1. */
#include "gadget/bare.h"

#include <errno.h>
#include <fcntl.h>
#include <glob.h>
#include <linux/usb/ch9.h>
#include <linux/usbdevice_fs.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "base/error.h"
#include "gadget/port.h"

enum { CBW = 31, CSW = 13, BLOCK = 512, PATIENCE_MS = 300 };

struct bare {
	int fd;
	unsigned in, out; /* endpoint addresses */
	unsigned char data[64 * BLOCK];
};

/* "in" and "out" endpoints of the only interface, by the names of their folders: ep_81, ep_02. */
static int find_endpoints(struct bare *b, const char *folder)
{
	char pattern[PATH_MAX + 16];
	glob_t found;

	snprintf(pattern, sizeof pattern, "%s/*:1.0/ep_*", folder);
	if (glob(pattern, 0, NULL, &found))
		return -1;
	for (size_t i = 0; i < found.gl_pathc; i++) {
		const char *hex = strrchr(found.gl_pathv[i], '_') + 1;
		unsigned address = (unsigned)strtoul(hex, NULL, 16);

		*(address & USB_DIR_IN ? &b->in : &b->out) = address;
	}
	globfree(&found);
	return b->in && b->out ? 0 : -1;
}

/* Bytes, or a negative errno. */
static int bulk(struct bare *b, unsigned endpoint, void *data, unsigned n)
{
	struct usbdevfs_bulktransfer t = {
		.ep = endpoint, .len = n, .timeout = PATIENCE_MS, .data = data
	};
	int rc = ioctl(b->fd, USBDEVFS_BULK, &t);

	return rc < 0 ? -errno : rc;
}

static int control(struct bare *b, uint8_t type, uint8_t request, void *data, uint16_t n)
{
	struct usbdevfs_ctrltransfer t = { .bRequestType = type,
		.bRequest = request,
		.wLength = n,
		.timeout = 5000,
		.data = data };
	int rc = ioctl(b->fd, USBDEVFS_CONTROL, &t);

	return rc < 0 ? -errno : rc;
}

static void show(const char *what, int rc)
{
	if (rc == -EPIPE)
		printf("%s: stall\n", what);
	else if (rc == -ETIMEDOUT)
		printf("%s: nothing\n", what);
	else if (rc < 0)
		printf("%s: %s\n", what, strerror(-rc));
	else
		printf("%s: %d bytes\n", what, rc);
}

static void clear_halts(struct bare *b)
{
	ioctl(b->fd, USBDEVFS_CLEAR_HALT, &b->in);
	ioctl(b->fd, USBDEVFS_CLEAR_HALT, &b->out);
}

/* 5.3.4: the reset, then both endpoints. */
static void recover(struct bare *b)
{
	show("reset",
		control(b, USB_DIR_OUT | USB_TYPE_CLASS | USB_RECIP_INTERFACE, 0xFF, NULL, 0));
	clear_halts(b);
}

static int send_command(struct bare *b, const unsigned char *cdb, size_t n, unsigned length)
{
	static unsigned char tag;
	unsigned char w[CBW] = { 'U', 'S', 'B', 'C', ++tag, 0, 0, 0, (unsigned char)length,
		(unsigned char)(length >> 8), (unsigned char)(length >> 16), 0, 0x80, 0,
		(unsigned char)n };

	memcpy(w + 15, cdb, n);
	return bulk(b, b->out, w, sizeof w);
}

/* bCSWStatus, or a negative errno; -EPROTO: what came is no status. */
static int status(struct bare *b)
{
	int rc = bulk(b, b->in, b->data, sizeof b->data);

	if (rc < 0)
		return rc;
	return rc == CSW && !memcmp(b->data, "USBS", 4) ? b->data[12] : -EPROTO;
}

/* Does it answer TEST UNIT READY, once it has told of the reset? */
static void show_life(struct bare *b)
{
	static const unsigned char ready[6] = { 0 };
	int rc = 0;

	for (int i = 0; i < 3; i++) {
		rc = send_command(b, ready, sizeof ready, 0);
		rc = rc < 0 ? rc : status(b);
		if (rc <= 0)
			break;
	}
	printf("then: %s\n", !rc ? "ready" : rc < 0 ? "no answer" : "not ready");
}

static void try_invalid(struct bare *b)
{
	unsigned char w[CBW] = "USBX";

	show("invalid wrapper", bulk(b, b->out, w, sizeof w));
	show("in", bulk(b, b->in, b->data, CSW));
	show("out", bulk(b, b->out, w, sizeof w));
	clear_halts(b);
	usleep(20000);
	show("in, cleared without a reset", bulk(b, b->in, b->data, CSW));
	recover(b);
	show_life(b);
}

/* A READ(10) of 64 blocks is left when its first block has come. */
static void try_amid_data(struct bare *b)
{
	static const unsigned char read_64[10] = { 0x28, 0, 0, 0, 0, 0, 0, 0, 64, 0 };

	send_command(b, read_64, sizeof read_64, 64 * BLOCK);
	show("first block of a read", bulk(b, b->in, b->data, BLOCK));
	recover(b);
	show_life(b);
}

static void try_unknown(struct bare *b)
{
	static const unsigned char unknown[6] = { 0xC0 };
	int rc;

	send_command(b, unknown, sizeof unknown, 0);
	rc = status(b);
	if (rc >= 0)
		printf("unknown command: status %d\n", rc);
	else
		show("unknown command", rc);
	recover(b);
	show_life(b);
}

static void try_all(struct bare *b)
{
	unsigned char lun = 0xFF;
	int rc = control(b, USB_DIR_IN | USB_TYPE_CLASS | USB_RECIP_INTERFACE, 0xFE, &lun, 1);

	printf("highest logical unit: %d\n", rc == 1 ? lun : -1);
	show_life(b);
	try_invalid(b);
	try_amid_data(b);
	try_unknown(b);
}

static int claim(struct bare *b)
{
	struct usbdevfs_disconnect_claim c = { .interface = 0 };

	return ioctl(b->fd, USBDEVFS_DISCONNECT_CLAIM, &c);
}

static void give_back(struct bare *b)
{
	struct usbdevfs_ioctl connect = { .ioctl_code = USBDEVFS_CONNECT };
	unsigned interface = 0;

	ioctl(b->fd, USBDEVFS_RELEASEINTERFACE, &interface);
	ioctl(b->fd, USBDEVFS_IOCTL, &connect);
}

int bare_run(const char *disk, struct error *err)
{
	static struct bare b;
	char folder[PATH_MAX], node[64];
	int rc = 0;

	if (port_find(disk, folder, node) < 0 || find_endpoints(&b, folder) < 0)
		return error_set(err, ERROR_USAGE, "'%s' is no USB drive", disk);
	b.fd = open(node, O_RDWR | O_CLOEXEC);
	if (b.fd < 0 || claim(&b) < 0)
		rc = error_sys(err, ERROR_IO, errno, "cannot take '%s' from its driver", node);
	else
		try_all(&b);
	if (!rc)
		give_back(&b);
	if (b.fd >= 0)
		close(b.fd);
	return rc;
}
