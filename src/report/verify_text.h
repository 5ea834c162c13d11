/* A verify run as text: sentences first, then ranges and a map; and its ranges as CSV. */
#ifndef REPORT_VERIFY_TEXT_H
#define REPORT_VERIFY_TEXT_H

#include "record/verify.h"
#include "report/text_view.h"

struct notice_visitor;
struct text;

/* Adds the whole summary. May reorder v->ranges. 0, or -1 with *err (out of memory). */
int verify_text_add(
	struct text *t, struct verify_record *v, const struct text_style *style, struct error *err);

/* The sentences of the summary alone: what was found, what it usually means, its pattern. May reorder v->ranges. */
void verify_sentences_visit(struct verify_record *v, const struct notice_visitor *visitor);

/* The damage as CSV (RFC 4180): class,offset_bytes,length_bytes,detail. */
void verify_csv_add_header(struct text *t);
void verify_csv_add(struct text *t, const struct damage_range *r);

#endif
