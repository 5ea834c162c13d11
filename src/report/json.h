/* JSON (RFC 8259): what a view says, for programs. Keys and codes: blkassay-json(5). */
#ifndef REPORT_JSON_H
#define REPORT_JSON_H

struct error;
struct sink;
struct text;
struct view;

/* Adds a string in its quotes. What is no UTF-8 becomes U+FFFD; controls and what hides or reorders text is escaped. */
void json_add_string(struct text *t, const char *s);

/* One object on one line: kind, run or runs, verdict, findings, then each table under its key. t is scratch. 0, or -1 with
 * *err. */
int json_add_view(struct text *t, const struct view *v, const struct sink *sink, struct error *err);

#endif
