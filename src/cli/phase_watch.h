/* Whether a command watches the phases of what its target is sent, and if not, why. */
#ifndef CLI_PHASE_WATCH_H
#define CLI_PHASE_WATCH_H

struct medium;
struct options;
struct phases;

struct phase_watch {
	struct phases *phases; /* NULL: nobody watches */
	char why[160]; /* then: a part of a sentence, such as "the target is not on USB" */
};

/* Asks nothing of the target. With --phases the kernel's module is loaded where it is missing, and a warning says why
 * there is nothing to watch. */
void phase_watch_open(
	struct phase_watch *w, const struct options *o, struct medium *m, unsigned in_flight);
void phase_watch_close(struct phase_watch *w);

#endif
