/* A shell command that runs alongside, such as one that switches a relay. */
#ifndef PLATFORM_CHILD_H
#define PLATFORM_CHILD_H

#include <stdbool.h>
#include <sys/types.h>

struct child {
	pid_t pid; /* 0: none, or already waited for */
	int status; /* its exit status, 128 + signal; valid once it ended */
};

/* Starts /bin/sh -c COMMAND; its standard output goes to our stderr, its input is empty. 0 or a negative errno. */
int child_start(struct child *c, const char *command);

/* True once it has ended. Does not wait. */
bool child_ended(struct child *c);

/* Waits up to ns for its end, then ends it. */
void child_finish(struct child *c, unsigned long long ns);

#endif
