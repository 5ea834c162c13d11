/* Endpoint 0. */
#include "gadget/ep0.h"

#include <endian.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/usb/functionfs.h>
#include <poll.h>
#include <stdio.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include "base/error.h"

/* Mass Storage Class, Bulk-Only Transport 1.0: 3.1, 3.2 and table 4.5. */
enum { RESET = 0xFF, GET_MAX_LUN = 0xFE, TRANSPARENT_SCSI = 0x06, BULK_ONLY = 0x50 };
enum {
	TO_INTERFACE = USB_DIR_OUT | USB_TYPE_CLASS | USB_RECIP_INTERFACE,
	FROM_INTERFACE = USB_DIR_IN | USB_TYPE_CLASS | USB_RECIP_INTERFACE
};

struct function {
	struct usb_interface_descriptor interface;
	struct usb_endpoint_descriptor_no_audio in, out;
} __attribute__((packed));

static struct usb_endpoint_descriptor_no_audio bulk(uint8_t address, uint16_t packet_bytes)
{
	return (struct usb_endpoint_descriptor_no_audio){
		.bLength = sizeof(struct usb_endpoint_descriptor_no_audio),
		.bDescriptorType = USB_DT_ENDPOINT,
		.bEndpointAddress = address,
		.bmAttributes = USB_ENDPOINT_XFER_BULK,
		.wMaxPacketSize = htole16(packet_bytes),
	};
}

static struct function function(uint16_t packet_bytes)
{
	return (struct function){
		.interface = { .bLength = sizeof(struct usb_interface_descriptor),
			.bDescriptorType = USB_DT_INTERFACE,
			.bNumEndpoints = 2,
			.bInterfaceClass = USB_CLASS_MASS_STORAGE,
			.bInterfaceSubClass = TRANSPARENT_SCSI,
			.bInterfaceProtocol = BULK_ONLY },
		.in = bulk(1 | USB_DIR_IN, packet_bytes),
		.out = bulk(2 | USB_DIR_OUT, packet_bytes),
	};
}

static int write_whole(int fd, const void *bytes, size_t n)
{
	return write(fd, bytes, n) == (ssize_t)n ? 0 : -1;
}

static int write_descriptors(int fd)
{
	struct {
		struct usb_functionfs_descs_head_v2 head;
		__le32 full_count, high_count;
		struct function full, high;
	} __attribute__((packed)) descriptors = {
		.head = { .magic = htole32(FUNCTIONFS_DESCRIPTORS_MAGIC_V2),
			.length = htole32(sizeof descriptors),
			.flags = htole32(FUNCTIONFS_HAS_FS_DESC | FUNCTIONFS_HAS_HS_DESC) },
		.full_count = htole32(3),
		.high_count = htole32(3),
		.full = function(64),
		.high = function(512),
	};
	struct usb_functionfs_strings_head strings = { .magic = htole32(FUNCTIONFS_STRINGS_MAGIC),
		.length = htole32(sizeof strings) };

	if (write_whole(fd, &descriptors, sizeof descriptors) < 0)
		return -1;
	return write_whole(fd, &strings, sizeof strings);
}

int ep0_open(struct ep0 *e, const char *folder, struct error *err)
{
	char path[256];

	*e = (struct ep0){ .stop = eventfd(0, EFD_CLOEXEC) };
	snprintf(path, sizeof path, "%s/ep0", folder);
	e->fd = open(path, O_RDWR | O_CLOEXEC);
	if (e->stop >= 0 && e->fd >= 0 && write_descriptors(e->fd) == 0)
		return 0;
	error_sys(err, ERROR_IO, errno, "cannot set up '%s'", path);
	ep0_close(e);
	return -1;
}

/* A transfer of the wrong direction stalls the request. */
static void refuse(int fd, const struct usb_ctrlrequest *r)
{
	ssize_t n = r->bRequestType & USB_DIR_IN ? read(fd, NULL, 0) : write(fd, NULL, 0);

	(void)n; /* it always "fails" */
}

/* A host that gave up meanwhile is no error here: it asks again. */
static void answer(struct ep0 *e, const struct usb_ctrlrequest *r)
{
	ssize_t n = 0;

	if (r->bRequestType == FROM_INTERFACE && r->bRequest == GET_MAX_LUN &&
		le16toh(r->wLength) == 1) {
		n = write(e->fd, &e->max_lun, 1);
	} else if (r->bRequestType == TO_INTERFACE && r->bRequest == RESET &&
		   !le16toh(r->wLength)) {
		e->hooks.reset(e->hooks.context);
		n = read(e->fd, NULL, 0);
	} else {
		refuse(e->fd, r);
	}
	if (n < 0 && errno != EIDRM)
		perror("bus_gadget: endpoint 0");
}

static void heed(struct ep0 *e, const struct usb_functionfs_event *event)
{
	switch (event->type) {
	case FUNCTIONFS_ENABLE:
		e->hooks.enabled(e->hooks.context, true);
		break;
	case FUNCTIONFS_DISABLE:
	case FUNCTIONFS_UNBIND:
		e->hooks.enabled(e->hooks.context, false);
		break;
	case FUNCTIONFS_SETUP:
		answer(e, &event->u.setup);
		break;
	default:
		break;
	}
}

static void *serve(void *context)
{
	struct ep0 *e = context;
	struct pollfd fds[] = { { .fd = e->fd, .events = POLLIN },
		{ .fd = e->stop, .events = POLLIN } };
	struct usb_functionfs_event events[4];

	while (poll(fds, 2, -1) >= 0 || errno == EINTR) {
		ssize_t n;

		if (fds[1].revents)
			break;
		n = read(e->fd, events, sizeof events);
		for (ssize_t i = 0; i < n / (ssize_t)sizeof *events; i++)
			heed(e, &events[i]);
	}
	return NULL;
}

int ep0_start(struct ep0 *e, uint8_t max_lun, const struct ep0_hooks *hooks, struct error *err)
{
	int rc;

	e->max_lun = max_lun;
	e->hooks = *hooks;
	rc = pthread_create(&e->thread, NULL, serve, e);
	if (rc)
		return error_sys(err, ERROR_IO, rc, "cannot start the thread of endpoint 0");
	e->running = true;
	return 0;
}

void ep0_close(struct ep0 *e)
{
	uint64_t one = 1;

	if (e->running && write(e->stop, &one, sizeof one) > 0)
		pthread_join(e->thread, NULL);
	e->running = false;
	if (e->fd >= 0)
		close(e->fd);
	if (e->stop >= 0)
		close(e->stop);
}
