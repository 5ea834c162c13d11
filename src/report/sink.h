/* Where a long drawing goes piece by piece, so that memory need not hold all of it. */
#ifndef REPORT_SINK_H
#define REPORT_SINK_H

struct error;
struct text;

struct sink {
	void *context;
	/* Takes what is in t and empties it. 0, or -1 with *err. */
	int (*take)(void *context, struct text *t, struct error *err);
};

/* Hands t over when it holds enough to be worth it, or could not hold what was added. 0, or -1 with *err. */
int sink_offer(const struct sink *s, struct text *t, struct error *err);

/* Hands over what is left. 0, or -1 with *err. */
int sink_finish(const struct sink *s, struct text *t, struct error *err);

#endif
