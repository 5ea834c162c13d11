/* The line that is drawn again and again. */
#include "cli/status_line.h"

#include <stdbool.h>
#include <stdio.h>

static bool shown;

void status_line_draw(const char *line, unsigned columns)
{
	shown = true;
	fprintf(stderr, "\r%.*s\033[K", (int)columns - 1, line);
}

void status_line_hide(void)
{
	if (shown)
		fputs("\r\033[K", stderr);
	shown = false;
}
