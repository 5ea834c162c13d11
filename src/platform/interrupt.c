/* Signals as a flag. */
#include "platform/interrupt.h"

#include <signal.h>
#include <string.h>

static volatile sig_atomic_t received, count;

static void note(int sig)
{
	received = sig;
	count++;
}

void interrupt_install(void)
{
	struct sigaction action = { .sa_handler = note };

	sigemptyset(&action.sa_mask);
	/* No SA_RESTART: a prompt or a sleep ends at once. A second signal changes nothing, so nothing is lost. */
	sigaction(SIGINT, &action, NULL);
	sigaction(SIGTERM, &action, NULL);
	sigaction(SIGHUP, &action, NULL);
	action.sa_handler = SIG_IGN;
	sigaction(SIGPIPE, &action, NULL);
	sigaction(SIGXFSZ, &action, NULL);
}

bool interrupt_requested(void)
{
	return received != 0;
}

unsigned interrupt_count(void)
{
	return (unsigned)count;
}
