/* A few blocks that this run wrote and flushed last, remembered as they were: who finds one of them on a medium knows that
 * it is the one that was written to. Any data will do that no other medium holds; blocks of one byte only are passed over. */
#ifndef MEDIUM_TELLTALE_H
#define MEDIUM_TELLTALE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct medium;
struct telltales;

struct telltales *telltales_new(void); /* NULL: no memory */
void telltales_free(struct telltales *t);

/* These bytes were acknowledged at `at`: what they cover is no tell-tale any more, and their beginning and
 * their end may become some.
 * May be called from several threads. */
void telltales_note(struct telltales *t, uint64_t at, const void *bytes, size_t length);
/* What is noted from here on are marks, written for nothing but this, like no other data of any run: once flushed and vouched
 * for, they alone count. Earlier ones are forgotten. false: back to the usual. */
void telltales_mark(struct telltales *t, bool on);
/* What was noted before a flush began is stored when it ends well. */
void telltales_flush_begins(struct telltales *t);
void telltales_flushed(struct telltales *t);

/* Up to now it was the right medium for certain: only what came before counts, for who knows where later writes went? The
 * kernel itself repeats a request that a reset fell into, to whatever is there by then. */
void telltales_vouch(struct telltales *t);

enum telltale_answer {
	TELLTALE_NONE, /* nothing that could tell came before the last telltales_vouch */
	TELLTALE_FOUND, /* one is there: this is the medium */
	/* Not one is there, or none can be read. What was acknowledged and not flushed counts too: that nothing of all is there
	 * is more than a buffer loses. */
	TELLTALE_MISSING,
};

/* Reads them back by m's own op until one is found. */
enum telltale_answer telltales_look(struct telltales *t, struct medium *m);

#endif
