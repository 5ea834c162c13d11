/* The verdict on a cut, in words. */
#include "report/recheck_text.h"

#include <stdio.h>
#include <string.h>

#include "base/clean.h"
#include "base/size.h"
#include "base/text.h"
#include "report/layout.h"

enum { DAMAGES_SHOWN = 20, DETAIL_INDENT = 26, DETAIL_ROOM = 19, COLUMNS = 80 };

static unsigned long long ull(uint64_t n)
{
	return (unsigned long long)n;
}

static void add_duty(struct text *t, const struct recheck_result *r, enum recheck_duty d,
	const char *name, const char *fine)
{
	uint64_t good = r->blocks[d] - r->broken[d];

	if (!r->blocks[d])
		return;
	text_addf(t, "  %-27s%8llu blocks%9llu %s", name, ull(r->blocks[d]), ull(good), fine);
	if (r->broken[d])
		text_addf(t, ", %llu BROKEN", ull(r->broken[d]));
	text_adds(t, "\n");
}

static void add_blocks(struct text *t, const struct recheck_result *r)
{
	add_duty(t, r, RECHECK_FLUSHED, "promised by a flush or FUA", "there");
	add_duty(t, r, RECHECK_ACKNOWLEDGED, "promised by an answer", "there");
	add_duty(t, r, RECHECK_IN_FLIGHT, "not promised", "old or new");
	add_duty(t, r, RECHECK_UNTOUCHED, "not written since the start", "untouched");
	if (r->acknowledged_counts && r->blocks[RECHECK_ACKNOWLEDGED])
		text_adds(t, "  The target claims no write cache, so each answered write is a "
			     "promise.\n");
}

static void add_unpromised(struct text *t, const struct recheck_result *r)
{
	if (!r->in_flight_old && !r->in_flight_new)
		return;
	text_addf(t, "  Of those not promised, %llu are old and %llu new.\n", ull(r->in_flight_old),
		ull(r->in_flight_new));
	if (!r->forgotten)
		return;
	text_addf(t,
		"  %llu of them lost a write that was acknowledged but not flushed, which\n"
		"  write-behind allows%s.\n",
		ull(r->forgotten),
		r->order_kept ? "" : "; later writes outlived earlier ones: order was not kept");
}

static const char *age(char buf[SIZE_TEXT_MAX], uint64_t ns)
{
	return ns < 1000 ? "0 ms" : duration_format(buf, (double)ns / 1e9);
}

static void add_ages(struct text *t, const struct recheck_result *r)
{
	char from[SIZE_TEXT_MAX], to[SIZE_TEXT_MAX];

	if (!r->ages_known)
		return;
	text_addf(t, "Broken promises were acknowledged %s", age(from, r->ns_before_min));
	if (r->ns_before_max != r->ns_before_min)
		text_addf(t, " to %s", age(to, r->ns_before_max));
	text_addf(t, " before the last sign of\nlife, %.0f", (double)r->bytes_before_min / 1024);
	if (r->bytes_before_max != r->bytes_before_min)
		text_addf(t, " to %.0f", (double)r->bytes_before_max / 1024);
	text_adds(t, " KiB before the last byte acknowledged.\n");
}

/* Names and details come from a journal, so perhaps from a stranger. */
static void add_detail(struct text *t, const char *detail)
{
	struct text clean;

	text_init(&clean);
	clean_add(&clean, detail, true);
	text_addf(t, "%*s", DETAIL_INDENT, "");
	layout_wrap(t, clean.bytes, DETAIL_INDENT, DETAIL_INDENT, COLUMNS);
	t->failed = t->failed || clean.failed;
	text_release(&clean);
}

static void add_damage(struct text *t, const struct recheck_damage *d)
{
	char when[SIZE_TEXT_MAX], size[SIZE_TEXT_MAX];
	bool fits = strlen(d->detail) <= DETAIL_ROOM;

	text_addf(t, "%14llu %9s  %-12s ", ull(d->at), size_format(size, d->bytes),
		recheck_duty_name(d->duty));
	clean_add(t, d->kind, true);
	text_addf(t, "%*s%9s", (int)(strlen(d->kind) < 11 ? 11 - strlen(d->kind) : 0), "",
		d->aged ? age(when, d->ns_before) : "");
	text_adds(t, "  ");
	if (d->found)
		text_addf(t, "write %lu, not %lu", (unsigned long)d->found,
			(unsigned long)d->expected);
	else if (fits)
		clean_add(t, d->detail, true);
	while (t->length && t->bytes[t->length - 1] == ' ')
		t->bytes[--t->length] = 0;
	text_adds(t, "\n");
	if (!d->found && !fits)
		add_detail(t, d->detail);
}

static void add_kind(struct text *t, const char *before, const char *name, uint64_t n)
{
	text_addf(t, "%s %llu %s ", before, ull(n), n == 1 ? "block" : "blocks");
	clean_add(t, name, true);
}

static void add_damages(struct text *t, const struct recheck_result *r)
{
	size_t shown = r->damage_count < DAMAGES_SHOWN ? r->damage_count : DAMAGES_SHOWN;
	uint64_t more = r->damage_count - shown + r->damages_more;

	if (!shown)
		return;
	text_adds(t, "Broken:");
	for (uint32_t i = 0; i < r->kind_count; i++)
		add_kind(t, i ? "," : "", r->kinds[i].name, r->kinds[i].blocks);
	text_addf(t, "\n\n%14s %9s  %-12s %-10s %9s  %s\n", "at byte", "length", "promise", "found",
		"before", "detail");
	for (size_t i = 0; i < shown; i++)
		add_damage(t, &r->damages[i]);
	if (more)
		text_addf(t, "  and %llu more ranges\n", ull(more));
	text_adds(t, "\n");
}

const char *recheck_sentence(const struct recheck_result *r)
{
	if (r->broken[RECHECK_FLUSHED])
		return "BROKEN: data that a flush promised did not survive the cut";
	if (r->broken[RECHECK_ACKNOWLEDGED])
		return "BROKEN: acknowledged data did not survive, and no write cache was claimed";
	if (r->broken[RECHECK_UNTOUCHED])
		return "BROKEN: blocks flushed at the start and not written since are damaged";
	if (r->broken[RECHECK_IN_FLIGHT])
		return "BROKEN: a block under way is neither old nor new";
	if (r->uncut)
		return "NOT SHOWN: nothing is broken, but nothing was cut: it was never unplugged";
	if (r->beyond)
		return "NOT SHOWN: nothing is broken, but the target holds writes the journal "
		       "lacks";
	if (r->unended)
		return "NOT SHOWN: nothing is broken, but the journal has no end: promises may be "
		       "missing";
	if (!r->promises)
		return "NOT SHOWN: no promise was made before the cut, so none was tested";
	return "KEPT: every promise made before the cut";
}

void recheck_text(struct text *t, const struct recheck_result *r)
{
	text_addf(t, "Recheck after cut %lu\n\n", (unsigned long)r->cycle);
	text_adds(t, "Promises (writes): ");
	recheck_rate_add(t, r->promises_broken, r->promises);
	text_adds(t, "\n");
	add_blocks(t, r);
	add_unpromised(t, r);
	text_adds(t, "\n");
	add_ages(t, r);
	add_damages(t, r);
	text_addf(t, "%s\n", recheck_sentence(r));
}

void recheck_line(struct text *t, const struct recheck_result *r)
{
	text_addf(t, "cut %lu: %llu promises, %llu broken; %llu blocks broken in all\n",
		(unsigned long)r->cycle, ull(r->promises), ull(r->promises_broken),
		ull(recheck_broken(r)));
}

void recheck_totals_text(struct text *t, const struct recheck_totals *o)
{
	text_addf(t, "\n%lu cut%s, %lu of them with broken promises or damage\n",
		(unsigned long)o->cycles, o->cycles == 1 ? "" : "s",
		(unsigned long)o->broken_cycles);
	if (o->not_shown_cycles)
		text_addf(t, "%lu of them tested nothing: not counted below\n",
			(unsigned long)o->not_shown_cycles);
	text_adds(t, "Promises (writes): ");
	recheck_rate_add(t, o->promises_broken, o->promises);
	text_adds(t, "\nCuts: ");
	recheck_rate_add(t, o->broken_cycles, o->cycles - o->not_shown_cycles);
	text_addf(t,
		"\nNot promised: %llu blocks, %llu damaged; untouched: %llu blocks, %llu damaged\n",
		ull(o->in_flight), ull(o->in_flight_broken), ull(o->untouched),
		ull(o->untouched_broken));
}
