/* Runs a command with its output thrown away and prints what it took: seconds by the clock, seconds of processor
 * time, largest resident memory in KiB.
 *
 *   cost_of COMMAND [ARGUMENT...] */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static double now(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static double processor_s(const struct rusage *r)
{
	return (double)(r->ru_utime.tv_sec + r->ru_stime.tv_sec) +
	       (double)(r->ru_utime.tv_usec + r->ru_stime.tv_usec) / 1e6;
}

static void run(char **command)
{
	int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);

	if (nowhere < 0 || dup2(nowhere, STDOUT_FILENO) < 0)
		_exit(126);
	execvp(command[0], command);
	_exit(127);
}

int main(int argc, char **argv)
{
	struct rusage used;
	double start;
	int status;
	pid_t child;

	if (argc < 2) {
		fprintf(stderr, "usage: cost_of COMMAND [ARGUMENT...]\n");
		return 2;
	}
	start = now();
	child = fork();
	if (child < 0)
		return 3;
	if (child == 0)
		run(argv + 1);
	if (wait4(child, &status, 0, &used) < 0)
		return 3;
	printf("%.6f\t%.6f\t%ld\n", now() - start, processor_s(&used), used.ru_maxrss);
	return WIFEXITED(status) ? WEXITSTATUS(status) : 1;
}
