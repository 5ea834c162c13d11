/* Text that came from a device or a stranger's file, made safe to show: controls, invalid UTF-8 and the characters that
 * reorder, hide or part text on a screen become '?': Unicode's categories Cc, Cf, Zl and Zp and its
 * Default_Ignorable_Code_Point. */
#ifndef BASE_CLEAN_H
#define BASE_CLEAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct text;

/* Length in bytes of the UTF-8 sequence at s and its code point; 0 when it is not well-formed (Unicode 15, table 3-7)
 * or at the end of the string. */
size_t clean_utf8_next(const char *s, uint32_t *code_point);

/* True for what may be shown as it is. */
bool clean_is_printable(uint32_t code_point);

/* Adds s to t. ascii: every character beyond ASCII becomes '?' too. */
void clean_add(struct text *t, const char *s, bool ascii);

/* The same in place, which never makes it longer. */
void clean_in_place(char *s);

/* Columns that s takes on a terminal, one a character: East Asian wide ones are not told apart. */
size_t clean_columns(const char *s);

#endif
