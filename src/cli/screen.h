/* What standard output can show: width, colour, characters. */
#ifndef CLI_SCREEN_H
#define CLI_SCREEN_H

#include "report/text_view.h"

enum screen_colour { SCREEN_COLOUR_AUTO, SCREEN_COLOUR_ALWAYS, SCREEN_COLOUR_NEVER };

/* --color: "auto", "always" or "never". 0, or -1: it is none of them. */
int screen_set_colour(const char *when);

/* --brief: the verdict alone. */
void screen_set_brief(bool brief);

/* Width: COLUMNS, else that of the terminal, else 80. Colour: as --color says; else only on a terminal that is not dumb,
 * and not with NO_COLOR set. UTF-8: when the locale says so. */
void screen_style(struct text_style *style);

#endif
