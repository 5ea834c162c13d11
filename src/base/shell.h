/* Words for a shell's command line: what is shown can be pasted. */
#ifndef BASE_SHELL_H
#define BASE_SHELL_H

#include <stdbool.h>

struct text;

/* Adds word to t in quotes, so that a shell reads it back byte for byte: '...', or where it holds what must not be shown
 * as it is (base/clean.h; ascii: everything beyond ASCII too) $'...' with octal escapes, which bash, zsh, ksh and
 * POSIX.1-2024 know. A word that begins with '-' gets ./ before it: it is a file and no option. */
void shell_add_word(struct text *t, const char *word, bool ascii);

/* The same for a word as it was typed, an option perhaps: nothing is put before it, and what needs no quotes has none. */
void shell_add_typed(struct text *t, const char *word, bool ascii);

#endif
