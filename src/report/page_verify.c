/* A verify run on a page. */
#include "report/page_verify.h"

#include <inttypes.h>

#include "base/size.h"
#include "base/text.h"
#include "report/chart_damage.h"
#include "report/page.h"
#include "report/page_figure.h"
#include "report/svg.h"

enum { RANGES_SHOWN = 200 };

static void add_counts(struct text *t, const struct damage_totals *d)
{
	text_adds(t, "<div class=\"wide\"><table><thead><tr><th>class</th><th>blocks</th>"
		     "<th>share of judged</th></tr></thead><tbody>\n");
	for (int c = DAMAGE_NONE; c < DAMAGE_CLASSES; c++) {
		if (c != DAMAGE_NONE && !d->by_class[c])
			continue;
		text_adds(t, "<tr><td>");
		markup_add(t, c == DAMAGE_NONE ? "right" : damage_class_name((enum damage_class)c));
		text_addf(t, "</td><td>%" PRIu64 "</td><td>%.4g %%</td></tr>\n", d->by_class[c],
			(double)d->by_class[c] / (double)d->judged * 100);
	}
	text_adds(t, "</tbody></table></div>\n");
}

static void add_ranges(struct text *t, const struct verify_record *v)
{
	size_t shown = v->range_count < RANGES_SHOWN ? v->range_count : RANGES_SHOWN;
	char size[SIZE_TEXT_MAX];

	if (!shown)
		return;
	text_addf(t, "<h3>Damaged ranges%s</h3>\n",
		shown < v->range_count ? ", the first 200; the CSV has all" : "");
	text_adds(t, "<div class=\"wide\"><table class=\"words\"><thead><tr><th>at byte</th>"
		     "<th>length</th><th>class</th><th>evidence of the first block</th></tr>"
		     "</thead><tbody>\n");
	for (size_t i = 0; i < shown; i++) {
		const struct damage_range *r = &v->ranges[i];

		text_addf(t, "<tr><td>%" PRIu64 "</td><td>%s</td><td>", r->offset,
			size_format(size, r->bytes));
		markup_add(t, damage_class_name(r->class));
		text_adds(t, "</td><td>");
		markup_add(t, *r->detail ? r->detail : "-");
		text_adds(t, "</td></tr>\n");
	}
	text_adds(t, "</tbody></table></div>\n");
}

void page_add_verify(struct text *t, const struct verify_record *v)
{
	const struct damage_totals *d = &v->state.totals;
	const char *caption = damage_totals_damaged(d) ? "Where the damage is, by class"
						       : "Where blocks were judged";

	if (!d->judged)
		return;
	page_section(t, "Blocks judged");
	page_figure_begin(t, caption);
	chart_damage(t, caption, d);
	page_figure_end(t);
	add_counts(t, d);
	add_ranges(t, v);
}
