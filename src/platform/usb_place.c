/* Where on which USB bus a disk sits (Linux Documentation/ABI/stable/sysfs-bus-usb; drivers/usb/core/endpoint.c for the
 * attributes of endpoints). */
#include "platform/usb_place.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "platform/sysfs.h"

struct endpoints {
	const char *dir; /* of the interface */
	struct usbmon_filter *filter;
};

/* "ep_81": address in hex, "Bulk". */
static int take_endpoint(void *context, const char *name)
{
	struct endpoints *e = context;
	char dir[SYSFS_PATH_MAX], type[16], address[8], *end;
	unsigned long n;

	if (strncmp(name, "ep_", 3) != 0 || sysfs_path(dir, "%s/%s", e->dir, name) < 0 ||
		sysfs_read_text(dir, "type", type, sizeof type) < 0 || strcmp(type, "Bulk") != 0 ||
		sysfs_read_text(dir, "bEndpointAddress", address, sizeof address) < 0)
		return 0;
	n = strtoul(address, &end, 16);
	if (*end || n > 0xff)
		return 0;
	if (n & 0x80)
		e->filter->in = (uint8_t)n;
	else
		e->filter->out = (uint8_t)n;
	return 0;
}

static int take_device(struct usbmon_filter *f, const char *dir)
{
	uint64_t bus = 0, device = 0;
	int rc = sysfs_read_number(dir, "busnum", &bus);

	if (!rc)
		rc = sysfs_read_number(dir, "devnum", &device);
	if (rc < 0)
		return rc;
	if (bus > UINT16_MAX || device > 127)
		return -ERANGE;
	f->bus = (uint16_t)bus;
	f->device = (uint8_t)device;
	return f->in && f->out ? 0 : -ENOENT;
}

/* dir is the disk's interface, the device is the folder above it. */
static int take_interface(struct usb_place *p, char *dir)
{
	struct endpoints e = { .dir = dir, .filter = &p->filter };
	char driver[32] = "";
	int rc;

	sysfs_read_link_name(dir, "driver", driver, sizeof driver);
	p->way = !strcmp(driver, "usb-storage") ? USB_WAY_BULK_ONLY
		 : !strcmp(driver, "uas")       ? USB_WAY_UAS
						: USB_WAY_OTHER;
	if (p->way != USB_WAY_BULK_ONLY)
		return 0;
	rc = sysfs_each_entry(dir, false, take_endpoint, &e);
	*strrchr(dir, '/') = 0;
	return rc < 0 ? rc : take_device(&p->filter, dir);
}

/* "2:0:0:1": host, channel, target, logical unit (Linux drivers/scsi/scsi_sysfs.c). */
static void take_unit(struct usb_place *p, const char *dir)
{
	const char *at = strrchr(dir, '/') + 1, *last = strrchr(at, ':');
	unsigned colons = 0;
	uint64_t unit;

	for (const char *c = at; *c; c++)
		colons += *c == ':';
	if (colons == 3 && strspn(at, "0123456789:") == strlen(at) &&
		number_parse_u64(last + 1, &unit) == 0 && unit < 16)
		p->filter.lun = (uint8_t)unit;
}

int usb_place_find(struct usb_place *out, const char *sysfs, unsigned major, unsigned minor)
{
	char link[SYSFS_PATH_MAX], dir[SYSFS_PATH_MAX], top[SYSFS_PATH_MAX];
	uint64_t number;
	int rc = sysfs_path(link, "%s/dev/block/%u:%u", sysfs ? sysfs : "/sys", major, minor);

	*out = (struct usb_place){ .way = USB_WAY_NONE };
	if (rc < 0)
		return rc;
	if (!realpath(link, dir) || !realpath(sysfs ? sysfs : "/sys", top))
		return -errno;
	/* The nearest interface: above it come the device, and its hubs. */
	while (strlen(dir) > strlen(top)) {
		if (sysfs_read_number(dir, "bInterfaceNumber", &number) == 0)
			return take_interface(out, dir);
		take_unit(out, dir);
		*strrchr(dir, '/') = 0;
	}
	return 0;
}
