/* The bare loop that the rig's guest holds against sweep: reads of one size, in order, with O_DIRECT and nothing else.
 * Prints bytes per second.
 *
 *   bare_reads DEVICE BYTES SECONDS */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

static double now_s(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC_RAW, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

/* Back to the start at the end. */
static int read_for(int fd, void *buf, size_t size, double seconds, double *rate)
{
	double began = now_s(), now;
	unsigned long long done = 0;
	off_t at = 0;

	do {
		ssize_t n = pread(fd, buf, size, at);

		if (n < 0)
			return -1;
		at = (size_t)n < size ? 0 : at + n;
		done += (unsigned long long)n;
		now = now_s();
	} while (now - began < seconds);
	*rate = (double)done / (now - began);
	return 0;
}

int main(int argc, char **argv)
{
	size_t size = argc == 4 ? strtoul(argv[2], NULL, 10) : 0;
	double rate = 0;
	void *buf;
	int fd, rc;

	if (!size || size % 512)
		return 2;
	fd = open(argv[1], O_RDONLY | O_DIRECT);
	if (fd < 0 || posix_memalign(&buf, 4096, size)) {
		perror(argv[1]);
		return 3;
	}
	rc = read_for(fd, buf, size, strtod(argv[3], NULL), &rate);
	if (rc < 0)
		perror(argv[1]);
	else
		printf("%.1f\n", rate);
	free(buf);
	close(fd);
	return rc < 0 ? 3 : 0;
}
