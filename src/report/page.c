/* The page. */
#include "report/page.h"

#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "findings/facts.h"
#include "findings/notices.h"
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

void page_paragraph(struct text *t, const char *words)
{
	text_adds(t, "<p>");
	markup_add(t, words);
	text_adds(t, "</p>\n");
}

static void add_fact(void *context, const char *name, const char *value)
{
	struct text *t = context;

	text_adds(t, "<dt>");
	markup_add(t, name);
	text_adds(t, "</dt><dd>");
	markup_add(t, value);
	text_adds(t, "</dd>\n");
}

static void add_notice(void *context, enum notice_kind kind, const char *sentence)
{
	struct text *t = context;

	text_adds(t, kind == NOTICE_CAUTION ? "<li class=\"look\"><b>Caution:</b>" : "<li>");
	markup_add(t, sentence);
	text_adds(t, "</li>\n");
}

void page_command(struct text *t, const char *command)
{
	text_adds(t, "<pre>");
	markup_add(t, command);
	text_adds(t, "</pre>");
}

static void add_command(void *context, const char *command)
{
	struct text *t = context;

	text_adds(t, "<li class=\"look\">");
	page_command(t, command);
	text_adds(t, "</li>\n");
}

static void add_header(struct text *t, const struct run *run)
{
	const struct run_target *g = &run->target;

	text_adds(t, "<h1>");
	markup_add(t, *run->head.label ? run->head.label : g->name);
	text_adds(t, "</h1>\n<p class=\"sub\">");
	markup_add(t, run->head.kind);
	text_adds(t, " of ");
	markup_add(t, *g->model ? g->model : g->path);
	text_adds(t, ", ");
	markup_add(t, run->head.started);
	text_adds(t, "</p>\n");
}

int page_add_run(
	struct text *t, const struct run *run, const struct page_found *more, struct error *err)
{
	struct text found;
	struct notice_visitor notices = { &found, add_notice, add_command };
	struct fact_visitor facts = { t, add_fact };

	add_header(t, run);
	text_init(&found);
	t->failed |= !notices_visit(run, &notices);
	if (more)
		more->visit(more->result, &notices);
	if (found.length) {
		page_section(t, "What was found");
		text_adds(t, "<ul class=\"says\">\n");
		text_add(t, found.bytes, found.length);
		text_adds(t, "</ul>\n");
	}
	t->failed = t->failed || found.failed;
	text_release(&found);
	page_section(t, "What was tested");
	text_adds(t, "<dl>\n");
	t->failed |= !facts_visit(run, &facts);
	text_adds(t, "</dl>\n");
	return t->failed ? error_set(err, ERROR_IO, "out of memory for the page") : 0;
}
