/* A shell command that runs alongside. */
#include "platform/child.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include "platform/clock.h"

static const uint64_t look_ns = 10000000;

int child_start(struct child *c, const char *command)
{
	char *const argv[] = { (char *)"sh", (char *)"-c", (char *)(uintptr_t)command, NULL };
	posix_spawn_file_actions_t files;
	posix_spawnattr_t attributes;
	sigset_t defaults;
	int rc;

	*c = (struct child){ 0 };
	posix_spawn_file_actions_init(&files);
	posix_spawnattr_init(&attributes);
	posix_spawn_file_actions_addopen(&files, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
	posix_spawn_file_actions_adddup2(&files, STDERR_FILENO, STDOUT_FILENO);
	/* Signals that this tool ignores are the command's own business again. */
	sigemptyset(&defaults);
	sigaddset(&defaults, SIGPIPE);
	sigaddset(&defaults, SIGXFSZ);
	posix_spawnattr_setsigdefault(&attributes, &defaults);
	posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGDEF);
	rc = posix_spawn(&c->pid, "/bin/sh", &files, &attributes, argv, environ);
	posix_spawn_file_actions_destroy(&files);
	posix_spawnattr_destroy(&attributes);
	if (rc)
		c->pid = 0;
	return -rc;
}

bool child_ended(struct child *c)
{
	int status;
	pid_t pid;

	if (!c->pid)
		return true;
	pid = waitpid(c->pid, &status, WNOHANG);
	if (pid == 0 || (pid < 0 && errno == EINTR))
		return false;
	c->pid = 0;
	c->status = pid < 0               ? 127
		    : WIFSIGNALED(status) ? 128 + WTERMSIG(status)
					  : WEXITSTATUS(status);
	return true;
}

void child_finish(struct child *c, unsigned long long ns)
{
	uint64_t begun = clock_now_ns();

	while (!child_ended(c)) {
		if (clock_now_ns() - begun >= ns) {
			kill(c->pid, SIGTERM);
			clock_sleep_ns(look_ns);
			if (!child_ended(c)) {
				kill(c->pid, SIGKILL);
				waitpid(c->pid, NULL, 0);
				c->pid = 0;
				c->status = 128 + SIGKILL;
			}
			return;
		}
		clock_sleep_ns(look_ns);
	}
}
