/* What a terminal can show: width, colour, characters. */
#ifndef CLI_TERMINAL_H
#define CLI_TERMINAL_H

#include "report/text_lines.h"

enum terminal_colour { TERMINAL_COLOUR_AUTO, TERMINAL_COLOUR_ALWAYS, TERMINAL_COLOUR_NEVER };

/* --color: "auto", "always" or "never". 0, or -1: it is none of them. */
int terminal_set_colour(const char *when);

/* --brief: the verdict alone. */
void terminal_set_brief(bool brief);

/* Of what is open as fd: COLUMNS, else the terminal's own width, else 80. */
unsigned terminal_columns(int fd);

/* What standard output can show. Colour: as --color says; else only on a terminal that is not dumb,
 * and not with NO_COLOR set. UTF-8: when the locale says so. Commands are folded for terminals alone. */
void terminal_style(struct text_style *style);

#endif
