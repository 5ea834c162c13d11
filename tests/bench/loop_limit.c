/* Limits a loop device to so many bytes of its file, or lifts that again: loop_limit DEVICE BYTES|0. To its users it is a card
 * that went away, with all that was on it still there (loop(4), LOOP_SET_STATUS64). */
#include <fcntl.h>
#include <linux/loop.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <unistd.h>

int main(int argc, char **argv)
{
	struct loop_info64 info;
	int fd = argc == 3 ? open(argv[1], O_RDONLY | O_CLOEXEC) : -1;

	if (fd < 0 || ioctl(fd, LOOP_GET_STATUS64, &info) < 0) {
		fprintf(stderr, "usage: loop_limit DEVICE BYTES\n");
		return 2;
	}
	info.lo_sizelimit = strtoull(argv[2], NULL, 10);
	if (ioctl(fd, LOOP_SET_STATUS64, &info) < 0) {
		perror(argv[1]);
		return 3;
	}
	close(fd);
	return 0;
}
