/* Resets a USB device the way a host does that has lost its patience: usb_reset DEVICE-FOLDER-IN-SYSFS.
 * linux/usbdevice_fs.h: USBDEVFS_RESET. */
#include <errno.h>
#include <fcntl.h>
#include <linux/usbdevice_fs.h>
#include <stdio.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

static int number_in(const char *folder, const char *name)
{
	char path[512];
	int n = -1;
	FILE *f;

	snprintf(path, sizeof path, "%s/%s", folder, name);
	f = fopen(path, "r");
	if (f && fscanf(f, "%d", &n) != 1)
		n = -1;
	if (f)
		fclose(f);
	return n;
}

int main(int argc, char **argv)
{
	char node[64];
	int bus, device, fd;

	if (argc != 2) {
		fputs("usage: usb_reset FOLDER\n", stderr);
		return 2;
	}
	bus = number_in(argv[1], "busnum");
	device = number_in(argv[1], "devnum");
	snprintf(node, sizeof node, "/dev/bus/usb/%03d/%03d", bus, device);
	fd = open(node, O_WRONLY);
	if (fd < 0 || ioctl(fd, USBDEVFS_RESET, 0) < 0) {
		fprintf(stderr, "usb_reset: %s: %s\n", node, strerror(errno));
		return 1;
	}
	close(fd);
	return 0;
}
