/* A table on a page. */
#ifndef REPORT_PAGE_TABLE_H
#define REPORT_PAGE_TABLE_H

struct page_place;
struct table;
struct table_spec;
struct text;

/* caption: what it is of, for who does not see the heading above it. */
void page_table_add(struct text *t, const struct table *table, const char *caption,
	const struct page_place *place);

/* What its columns mean, one entry a heading. */
void page_table_glossary(struct text *t, const struct table_spec *spec);

#endif
