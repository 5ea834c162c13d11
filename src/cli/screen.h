/* What standard output can show: width, colour, characters. */
#ifndef CLI_SCREEN_H
#define CLI_SCREEN_H

#include "report/text_view.h"

/* Width: of the terminal, else 80. Colour: only on a terminal that is not dumb, and not with NO_COLOR
 * set. UTF-8: when the locale says so. */
void screen_style(struct text_style *style);

#endif
