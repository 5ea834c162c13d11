/* What a terminal can show. */
#include "cli/terminal.h"

#include <langinfo.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "base/number.h"

enum { USUAL_COLUMNS = 80, WIDEST = 1000 };

static enum terminal_colour wanted_colour = TERMINAL_COLOUR_AUTO;
static bool wanted_brief;

int terminal_set_colour(const char *when)
{
	static const char *const names[] = { [TERMINAL_COLOUR_AUTO] = "auto",
		[TERMINAL_COLOUR_ALWAYS] = "always",
		[TERMINAL_COLOUR_NEVER] = "never" };

	for (size_t i = 0; i < sizeof names / sizeof *names; i++)
		if (!strcmp(names[i], when)) {
			wanted_colour = (enum terminal_colour)i;
			return 0;
		}
	return -1;
}

void terminal_set_brief(bool brief)
{
	wanted_brief = brief;
}

/* POSIX.1-2017, 8.3: "the user's preferred width in column positions"; what is no width is ignored. */
static unsigned columns_wanted(void)
{
	const char *value = getenv("COLUMNS");
	uint64_t n;

	if (!value || number_parse_u64(value, &n) < 0)
		return 0;
	return n < WIDEST ? (unsigned)n : WIDEST;
}

unsigned terminal_columns(int fd)
{
	struct winsize w;
	unsigned wanted = columns_wanted();

	if (wanted)
		return wanted;
	if (ioctl(fd, TIOCGWINSZ, &w) == 0 && w.ws_col)
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

	if (wanted_colour != TERMINAL_COLOUR_AUTO)
		return wanted_colour == TERMINAL_COLOUR_ALWAYS;
	return isatty(STDOUT_FILENO) && !is_set("NO_COLOR") && term && *term &&
	       strcmp(term, "dumb") != 0;
}

/* Only the character set is taken from the locale: numbers keep their decimal point. */
static bool speaks_utf8(void)
{
	setlocale(LC_CTYPE, "");
	return !strcmp(nl_langinfo(CODESET), "UTF-8");
}

void terminal_style(struct text_style *style)
{
	*style = (struct text_style){ .columns = terminal_columns(STDOUT_FILENO),
		.utf8 = speaks_utf8(),
		.colour = may_colour(),
		.folds_commands = isatty(STDOUT_FILENO),
		.brief = wanted_brief };
}
