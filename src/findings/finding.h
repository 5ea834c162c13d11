/* What a run comes to, in sentences that every view shows as they are: each with a stable code, and the figures it rests
 * on for programs. The first of a list is the verdict. */
#ifndef FINDINGS_FINDING_H
#define FINDINGS_FINDING_H

#include <stdbool.h>
#include <stddef.h>

#include "base/pool.h"
#include "findings/value.h"

enum finding_kind {
	FINDING_PLAIN, /* what was found */
	FINDING_CAUTION, /* what limits how far the figures can be trusted, or asks for a look */
};

/* One row of a kind's table of codes, which blkassay-json(5) is made from. */
struct finding_code {
	const char *code; /* "stalls": part of the JSON's contract */
	enum finding_kind kind;
	bool verdict; /* a value of "verdict" */
	const char *meaning;
	const char *figures; /* their keys, with blanks between; NULL: none */
};

struct figure {
	const char *key; /* with its unit: "slowest_seconds" */
	struct value value;
};

enum { FINDING_FIGURES_MAX = 16 };

struct finding {
	const struct finding_code *code;
	const char *sentence; /* may hold a stranger's text: cleaned where it is shown */
	const char *
		command; /* to be pasted: in a line of its own below the sentence, as it is; NULL: none */
	struct figure figures[FINDING_FIGURES_MAX];
	size_t figure_count;
	bool again; /* an earlier one has this very sentence: screens show it once, programs get both with their figures */
};

struct findings {
	struct pool *pool; /* holds sentences and list; remembers when memory ran out */
	struct finding *list;
	size_t count, room;
	struct finding spare; /* taken when memory ran out, so that finding_add always answers */
};

/* Adds a finding; the sentence is printf-like. Never NULL; valid until the next one is added. */
struct finding *finding_add(struct findings *f, const struct finding_code *code, const char *fmt,
	...) __attribute__((format(printf, 3, 4)));

/* Plain ASCII. Programs get it as the figure "command". */
void finding_command(struct findings *f, struct finding *one, const char *command);

/* One more figure of it; key is one of its code's `figures`. */
void finding_figure(struct finding *f, const char *key, struct value value);

const char *finding_kind_name(enum finding_kind kind); /* "finding", "caution" */

#endif
