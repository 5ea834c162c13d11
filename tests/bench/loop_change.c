/* loop_change DEVICE FILE: another file of the same size under a read-only loop device that is in use (loop(4),
 * LOOP_CHANGE_FD). */
#include <errno.h>
#include <fcntl.h>
#include <linux/loop.h>
#include <stdio.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

int main(int argc, char **argv)
{
	int device = argc == 3 ? open(argv[1], O_RDONLY) : -1;
	int file = argc == 3 ? open(argv[2], O_RDONLY) : -1;

	if (device < 0 || file < 0 || ioctl(device, LOOP_CHANGE_FD, file) < 0) {
		fprintf(stderr, "loop_change: %s\n", argc == 3 ? strerror(errno) : "DEVICE FILE");
		return 1;
	}
	close(file);
	close(device);
	return 0;
}
