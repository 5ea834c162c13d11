/* A table as plain text: columns as wide as their cells need, going on below where the screen is too narrow. */
#ifndef REPORT_TEXT_TABLE_H
#define REPORT_TEXT_TABLE_H

struct table;
struct text_lines;

void text_table_add(struct text_lines *s, const struct table *table);

#endif
