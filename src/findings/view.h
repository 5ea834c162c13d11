/* What one run, or several set against each other, means: everything that any view of it shows, complete before anything
 * is drawn. Text and page walk over `sections`, CSV and JSON over `tables`; all of them over `findings`. */
#ifndef FINDINGS_VIEW_H
#define FINDINGS_VIEW_H

#include <stdbool.h>
#include <stddef.h>

#include "base/pool.h"
#include "findings/chart.h"
#include "findings/finding.h"
#include "findings/table.h"

struct error;
struct run;

struct fact { /* what was tested on what, for people */
	const char *name, *value; /* value: cleaned where it is shown */
	bool command; /* a shell's, to be pasted */
};

enum { ON_TEXT = 1, ON_PAGE = 2, ON_SCREENS = ON_TEXT | ON_PAGE };

/* A piece of a screen: what of it is there is drawn in this order. */
struct section {
	unsigned on; /* ON_... */
	unsigned level; /* of the heading on a page: 2, or 3 within a section of 2 */
	const char *heading; /* NULL: goes on below the section before */
	const char *intro; /* a paragraph */
	const struct findings
		*says; /* further findings that belong here, not among those at the top */
	const struct chart *chart; /* pages, and of CHART_STRIPS text too */
	struct table table;
	const char *note; /* a paragraph: what is left out, how it was computed */
	const struct table_spec *glossary; /* what the columns of these tables mean */
};

enum { VIEW_TABLES_MAX = 12 };

struct view {
	const char *kind; /* "sweep" */
	const char *title, *subtitle; /* of a page */
	const char *head; /* over the facts in text: "Run 2026..." */
	struct table runs; /* spec view_run_spec or view_runs_spec; none: of no run */
	struct findings findings; /* the verdict first */
	struct fact *facts;
	size_t fact_count, fact_room;
	struct table tables[VIEW_TABLES_MAX]; /* whole ones, for programs */
	size_t table_count;
	struct section *sections;
	size_t section_count, section_room;
	struct pool pool; /* all of the above, and what rows and values point at */
};

void view_begin(struct view *v, const char *kind);
/* 0, or -1 with *err and the view released: memory ran out, or there is no verdict. */
int view_end(struct view *v, struct error *err);
void view_release(struct view *v);

/* The run it is about: its facts, its titles, and what JSON says of it. The run outlives the view. */
void view_of_run(struct view *v, const struct run *run);

void view_fact(struct view *v, const char *name, const char *value);
/* value: a shell's command, that can be pasted from text however narrow. */
void view_fact_command(struct view *v, const char *name, const char *value);
/* A table with JSON_BARE has its one row. */
void view_table(struct view *v, const struct table_spec *spec, const void *rows, size_t count);
void view_section(struct view *v, struct section s);

/* Whole tables of that key; NULL: none. */
const struct table *view_find_table(const struct view *v, const char *key);

/* A word that a key of a kind's tables may hold. */
struct view_word {
	const char *key, *word;
	const char *meaning;
	const char *note; /* more of it; "": nothing */
};

/* What JSON says of a run. */
extern const struct table_spec view_run_spec; /* "run": one object */
extern const struct table_spec view_runs_spec; /* "runs": an array of them */

#endif
