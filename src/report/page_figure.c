/* The frame of a drawing on a page. */
#include "report/page_figure.h"

#include "base/text.h"
#include "report/svg.h"

void page_figure_begin(struct text *t, const char *caption)
{
	text_adds(t, "<figure><figcaption>");
	markup_add(t, caption);
	text_adds(t, "</figcaption>\n");
}

void page_figure_end(struct text *t)
{
	text_adds(t, "</figure>\n");
}

void page_scroller_begin(struct text *t, const char *class, const char *kind, const char *name,
	const struct page_place *place)
{
	text_addf(t,
		"<div class=\"%s\" tabindex=\"0\" role=\"region\" aria-label=\"%s %zu.%zu: ", class,
		kind, place->view, place->section);
	markup_add(t, name);
	text_adds(t, "\">");
}

void page_scroller_end(struct text *t)
{
	text_adds(t, "</div>\n");
}

void page_key_begin(struct text *t)
{
	text_adds(t, "<ul class=\"key\">\n");
}

void page_key_end(struct text *t)
{
	text_adds(t, "</ul>\n");
}

static void begin_entry(struct text *t)
{
	text_adds(t, "<li><svg viewBox=\"0 0 34 14\" aria-hidden=\"true\">");
}

static void end_entry(struct text *t, const char *name)
{
	text_adds(t, "</svg><span>");
	markup_add(t, name);
	text_adds(t, "</span></li>\n");
}

void page_key_add(struct text *t, const char *line, int marker, bool hollow, const char *name)
{
	begin_entry(t);
	if (line)
		svg_line(t, line, 0, 7, 34, 7);
	if (marker >= 0)
		svg_marker(t, (unsigned)marker, hollow, 17, 7);
	end_entry(t, name);
}

void page_key_add_box(struct text *t, const char *class, const char *name)
{
	begin_entry(t);
	svg_box(t, class, 5, 1, 24, 12);
	end_entry(t, name);
}

void page_key_add_part(struct text *t, unsigned style, bool light, const char *name)
{
	begin_entry(t);
	svg_part(t, style, light, 5, 1, 24, 12);
	end_entry(t, name);
}
