/* The host's side: a bus reset in the middle of whatever goes on. */
#include "gadget/port.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <linux/usb/ch11.h>
#include <linux/usb/ch9.h>
#include <linux/usbdevice_fs.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "base/error.h"

static int read_number(const char *folder, const char *name, int *n)
{
	char path[PATH_MAX + 16];
	FILE *f;
	int got;

	snprintf(path, sizeof path, "%s/%s", folder, name);
	f = fopen(path, "re");
	if (!f)
		return -1;
	got = fscanf(f, "%d", n); /* NOLINT(cert-err34-c): the kernel's own number */
	fclose(f);
	return got == 1 ? 0 : -1;
}

static bool climb(char *folder)
{
	char *slash = strrchr(folder, '/');

	if (!slash || slash == folder)
		return false;
	*slash = 0;
	return true;
}

/* The nearest folder at or above this one that is a USB device. */
static bool climb_to_device(char *folder, int *bus, int *device)
{
	while (read_number(folder, "busnum", bus) < 0 || read_number(folder, "devnum", device) < 0)
		if (!climb(folder))
			return false;
	return true;
}

/* "2-1": the first port of bus 2; "2-1.4": the fourth of a hub there. */
static int port_of(const char *folder)
{
	const char *end = folder + strlen(folder);

	while (end > folder && end[-1] >= '0' && end[-1] <= '9')
		end--;
	return atoi(end); /* NOLINT(cert-err34-c): digits alone */
}

int port_find(const char *disk, char folder[PATH_MAX], char node[64])
{
	const char *name = strrchr(disk, '/');
	char link[PATH_MAX];
	int bus, device;

	snprintf(link, sizeof link, "/sys/block/%s/device", name ? name + 1 : disk);
	if (!realpath(link, folder) || !climb_to_device(folder, &bus, &device))
		return -1;
	snprintf(node, 64, "/dev/bus/usb/%03d/%03d", bus, device);
	return 0;
}

static int find_port(const char *disk, char *hub, size_t room, int *port)
{
	char folder[PATH_MAX], node[64];
	int bus, device;

	if (port_find(disk, folder, node) < 0)
		return -1;
	*port = port_of(folder);
	if (!climb(folder) || !climb_to_device(folder, &bus, &device))
		return -1;
	snprintf(hub, room, "/dev/bus/usb/%03d/%03d", bus, device);
	return 0;
}

int port_reset(const char *disk, struct error *err)
{
	struct usbdevfs_ctrltransfer set = { .bRequestType = USB_RT_PORT,
		.bRequest = USB_REQ_SET_FEATURE,
		.wValue = USB_PORT_FEAT_RESET,
		.timeout = 1000 };
	char hub[64];
	int fd, rc, saved, port;

	if (find_port(disk, hub, sizeof hub, &port) < 0)
		return error_set(err, ERROR_USAGE, "'%s' is no USB drive", disk);
	set.wIndex = (uint16_t)port;
	fd = open(hub, O_RDWR | O_CLOEXEC);
	rc = fd < 0 ? -1 : ioctl(fd, USBDEVFS_CONTROL, &set);
	saved = errno;
	if (fd >= 0)
		close(fd);
	return rc < 0 ? error_sys(err, ERROR_IO, saved, "cannot reset port %d of '%s'", port, hub)
		      : 0;
}
