/* What standard output can show. */
#include "cli/screen.h"

#include <langinfo.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { USUAL_COLUMNS = 80, WIDEST = 1000 };

static unsigned columns_of_stdout(void)
{
	struct winsize w;

	if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &w) == 0 && w.ws_col)
		return w.ws_col < WIDEST ? w.ws_col : WIDEST;
	return USUAL_COLUMNS;
}

static bool is_set(const char *name)
{
	const char *value = getenv(name);

	return value && *value;
}

static bool may_colour(void)
{
	const char *term = getenv("TERM");

	return isatty(STDOUT_FILENO) && !is_set("NO_COLOR") && term && *term &&
	       strcmp(term, "dumb") != 0;
}

/* Only the character set is taken from the locale: numbers keep their decimal point. */
static bool speaks_utf8(void)
{
	setlocale(LC_CTYPE, "");
	return !strcmp(nl_langinfo(CODESET), "UTF-8");
}

void screen_style(struct text_style *style)
{
	*style = (struct text_style){
		.columns = columns_of_stdout(), .utf8 = speaks_utf8(), .colour = may_colour()
	};
}
