/* The page. */
#include "report/page.h"

#include <string.h>

#include "base/text.h"
#include "report/page_style.h"
#include "report/svg.h"

void page_begin(struct text *t, const char *title, const char *verdict)
{
	/* The policy forbids scripts and any fetch, should a string ever slip through unescaped. */
	text_adds(t, "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
		     "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
		     "style-src 'unsafe-inline'\">\n"
		     "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
		     "<title>");
	markup_add(t, title);
	if (verdict) {
		text_adds(t, ": ");
		markup_add(t, verdict);
	}
	text_adds(t, "</title>\n<style>\n");
	text_adds(t, page_style);
	text_adds(t, "</style>\n</head>\n<body>\n<main>\n");
}

void page_end(struct text *t)
{
	text_adds(t,
		"<footer>Rates are decimal (1 MB/s = 1 000 000 bytes per second), request sizes "
		"binary (1 KiB = 1024 bytes). How figures and intervals are computed: "
		"blkassay-method(7). Made by blkassay " BLKASSAY_VERSION ".</footer>\n"
		"</main>\n</body>\n</html>\n");
}

void page_heading(struct text *t, const char *heading)
{
	text_adds(t, "<h1>");
	markup_add(t, heading);
	text_adds(t, "</h1>\n");
}

void page_section(struct text *t, const char *heading)
{
	text_adds(t, "<h2>");
	markup_add(t, heading);
	text_adds(t, "</h2>\n");
}

/* Lines break between words only: browsers also break after the hyphens of an option. */
void page_add_shell(struct text *t, const char *command)
{
	struct text word;

	text_init(&word);
	for (const char *c = command; *c;) {
		size_t n = strcspn(c, " \n");

		text_reset(&word);
		text_add(&word, c, n);
		text_adds(t, n ? "<span>" : "");
		markup_add(t, word.bytes);
		text_adds(t, n ? "</span>" : "");
		c += n;
		if (*c)
			text_add(t, c++, 1);
	}
	t->failed = t->failed || word.failed;
	text_release(&word);
}

void page_command(struct text *t, const char *command)
{
	text_adds(t, "<pre>");
	page_add_shell(t, command);
	text_adds(t, "</pre>");
}
