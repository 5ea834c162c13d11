/* Records what the kernel's USB monitor shows of a whole bus, for the tests: record_bus NUMBER FILE, until it is killed.
 * One event after the other, each its header of 64 bytes and as much of its data as the header then says: at most 31 bytes.
 * Linux Documentation/usb/usbmon.rst. */
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { HEADER = 64, DATA_MAX = 31, AT_CAPTURED = 36 };

struct get {
	uint8_t *header, *data;
	size_t room;
};

static volatile sig_atomic_t over;

static void end(int signal)
{
	(void)signal;
	over = 1;
}

static void keep(FILE *f, uint8_t *header, const uint8_t *data)
{
	uint32_t captured;

	memcpy(&captured, header + AT_CAPTURED, sizeof captured);
	captured = captured < DATA_MAX ? captured : DATA_MAX;
	memcpy(header + AT_CAPTURED, &captured, sizeof captured);
	fwrite(header, 1, HEADER, f);
	fwrite(data, 1, captured, f);
}

int main(int argc, char **argv)
{
	struct sigaction act = { .sa_handler = end };
	uint8_t header[HEADER], data[DATA_MAX];
	struct get g = { header, data, sizeof data };
	char path[64];
	FILE *f;
	int fd;

	if (argc != 3)
		return 2;
	sigaction(SIGTERM, &act, NULL);
	snprintf(path, sizeof path, "/dev/usbmon%s", argv[1]);
	fd = open(path, O_RDONLY | O_CLOEXEC);
	f = fopen(argv[2], "w");
	if (fd < 0 || !f) {
		fprintf(stderr, "record_bus: %s: %s\n", path, strerror(errno));
		return 3;
	}
	while (!over && ioctl(fd, _IOW(0x92, 10, struct get), &g) == 0)
		keep(f, header, data);
	close(fd);
	return fclose(f) ? 3 : 0;
}
