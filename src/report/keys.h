/* All that views may hold, listed for programs and for blkassay-json(5): kinds, codes, tables, keys. */
#ifndef REPORT_KEYS_H
#define REPORT_KEYS_H

struct text;

/* One line each, fields split by tabs; a field that does not apply is "-":
 *   kind KIND MEANING
 *   verdict|finding|caution KIND CODE FIGURES MEANING     FIGURES: keys with blanks between
 *   table KIND KEY array|object|bare csv|- MEANING
 *   key KIND TABLE KEY HEADING MEANING                    HEADING: on screens
 *   word KIND KEY WORD MEANING NOTE                       what a key may hold, where that is listed
 * KIND "run" stands for what any kind of run may hold. */
void keys_add(struct text *t);

#endif
