/* What the plain-text views of a record share: the head with its facts, wrapped and cleaned words, listed sentences. */
#ifndef REPORT_SHEET_H
#define REPORT_SHEET_H

#include <stddef.h>

#include "base/text.h"
#include "findings/notices.h"
#include "record/run.h"
#include "report/summary.h"

struct sheet {
	struct text *t; /* what was added so far */
	struct text scratch;
	const struct summary_style *style;
	size_t columns;
};

/* t and style stay the caller's and outlive the sheet. */
void sheet_begin(struct sheet *s, struct text *t, const struct summary_style *style);
void sheet_end(struct sheet *s); /* t->failed then tells of any failure */

/* "Run ID" and the facts of facts_visit. */
void sheet_head(struct sheet *s, const struct run *run);

/* One more fact; what a fact_visitor takes, with the sheet as its context. */
void sheet_fact(void *sheet, const char *name, const char *value);

/* An empty line and a heading. */
void sheet_section(struct sheet *s, const char *name);

/* Cleans words and wraps them: from the column `at`, where the line stands, on; then at `indent`. */
void sheet_words(struct sheet *s, const char *words, size_t at, size_t indent);

/* One sentence behind its sign; what a notice_visitor takes, with the sheet as its context. */
void sheet_notice(void *sheet, enum notice_kind kind, const char *sentence);

/* Switch looks on, when there is colour, and off again. */
void sheet_bold(struct sheet *s);
void sheet_look(struct sheet *s); /* asks for a look */
void sheet_plain(struct sheet *s);

#endif
