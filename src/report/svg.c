/* SVG elements. */
#include "report/svg.h"

#include <math.h>
#include <string.h>

#include "base/clean.h"
#include "base/text.h"

static const char *entity_of(char c)
{
	switch (c) {
	case '&':
		return "&amp;";
	case '<':
		return "&lt;";
	case '>':
		return "&gt;";
	case '"':
		return "&quot;";
	case '\'':
		return "&#39;";
	default:
		return NULL;
	}
}

void markup_add(struct text *t, const char *s)
{
	struct text clean;

	text_init(&clean);
	clean_add(&clean, s, false);
	for (const char *c = clean.bytes; *c; c++) {
		const char *entity = entity_of(*c);

		if (entity)
			text_adds(t, entity);
		else
			text_add(t, c, 1);
	}
	t->failed = t->failed || clean.failed;
	text_release(&clean);
}

void svg_begin(struct text *t, double width, double height, const char *title, const char *what)
{
	text_addf(t, "<svg viewBox=\"0 0 %g %g\" role=\"img\"><title>", width, height);
	markup_add(t, title);
	text_adds(t, "</title><desc>");
	markup_add(t, what);
	text_adds(t, "</desc>\n");
}

void svg_end(struct text *t)
{
	text_adds(t, "</svg>\n");
}

void svg_text(struct text *t, const char *class, double x, double y, enum svg_anchor anchor,
	const char *s)
{
	static const char *const anchors[] = { "start", "middle", "end" };

	text_addf(t, "<text class=\"%s\" x=\"%.1f\" y=\"%.1f\" text-anchor=\"%s\">", class, x, y,
		anchors[anchor]);
	markup_add(t, s);
	text_adds(t, "</text>\n");
}

void svg_text_upwards(struct text *t, const char *class, double x, double y, const char *s)
{
	text_addf(t,
		"<text class=\"%s\" transform=\"translate(%.1f %.1f) rotate(-90)\" "
		"text-anchor=\"middle\">",
		class, x, y);
	markup_add(t, s);
	text_adds(t, "</text>\n");
}

void svg_line(struct text *t, const char *class, double x1, double y1, double x2, double y2)
{
	text_addf(t, "<line class=\"%s\" x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\"/>\n",
		class, x1, y1, x2, y2);
}

void svg_box(struct text *t, const char *class, double x, double y, double width, double height)
{
	text_addf(t, "<rect class=\"%s\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\"/>\n",
		class, x, y, width, height);
}

enum { HATCH = 5 }; /* apart */

/* Lines that lean by so many times the height, inside the box alone. */
static void hatch(struct text *t, unsigned style, double lean, double x, double y, double width,
	double height)
{
	double first = HATCH / 2.0 - lean * height;
	int count = (int)ceil((width - first) / HATCH);

	text_addf(t, "<path class=\"line l%u\" d=\"", style);
	for (int i = 0; i < count; i++) {
		double at = first + i * HATCH;
		double from = lean > 0 && at < 0 ? -at / lean : 0;
		double to = lean > 0 && at + lean * height > width ? (width - at) / lean : height;

		if (to > from)
			text_addf(t, "M%.1f %.1fL%.1f %.1f", x + at + lean * from,
				y + height - from, x + at + lean * to, y + height - to);
	}
	text_adds(t, "\"/>\n");
}

void svg_part(
	struct text *t, unsigned style, bool light, double x, double y, double width, double height)
{
	static const char *const classes[4] = { "b0", "band b1", "band b2", "m3 hollow" };

	style %= 4;
	svg_box(t, light ? "band b0" : classes[style], x, y, width, height);
	if (style == 1 || style == 2)
		hatch(t, style, style == 1 ? 1 : 0, x, y, width, height);
}

void svg_marker(struct text *t, unsigned series, bool hollow, double x, double y)
{
	text_addf(t, "<path class=\"m%u%s\" d=\"", series % 4, hollow ? " hollow" : "");
	switch (series % 4) {
	case 0:
		/* Larger than the others, so that it shows where another mark lies on it. */
		text_addf(t, "M%.1f %.1fa5 5 0 1 0 10 0a5 5 0 1 0 -10 0z", x - 5, y);
		break;
	case 1:
		text_addf(t, "M%.1f %.1fh6.4v6.4h-6.4z", x - 3.2, y - 3.2);
		break;
	case 2:
		text_addf(t, "M%.1f %.1fl4.2 7.2h-8.4z", x, y - 4.4);
		break;
	default:
		text_addf(t, "M%.1f %.1fl4.6 4.6l-4.6 4.6l-4.6 -4.6z", x, y - 4.6);
		break;
	}
	text_adds(t, "\"/>\n");
}

void svg_path_begin(struct text *t, const char *class)
{
	text_addf(t, "<path class=\"%s\" d=\"", class);
}

void svg_path_to(struct text *t, bool first, double x, double y)
{
	text_addf(t, "%c%.1f %.1f", first ? 'M' : 'L', x, y);
}

void svg_path_end(struct text *t, bool close)
{
	text_adds(t, close ? "Z\"/>\n" : "\"/>\n");
}
