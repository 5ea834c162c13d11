/* The facts at the head. */
#include "findings/facts.h"

#include <string.h>

#include "base/size.h"
#include "base/text.h"
#include "findings/link.h"
#include "findings/view.h"
#include "record/run.h"

typedef void fact_maker(struct text *t, const struct run *run);

static void add_part(struct text *t, const char *separator, const char *part)
{
	if (!*part)
		return;
	text_adds(t, t->length ? separator : "");
	text_adds(t, part);
}

static void build(struct text *t, const struct run *run)
{
	text_adds(t, *run->head.label ? run->head.label : "(no --label given)");
}

static void target(struct text *t, const struct run *run)
{
	const struct run_target *g = &run->target;
	char size[SIZE_TEXT_MAX];

	add_part(t, " ", g->vendor);
	add_part(t, " ", g->model);
	if (!t->length)
		add_part(t, "", *g->name ? g->name : g->path);
	if (*g->serial)
		text_addf(t, ", serial %s", g->serial);
	if (*g->revision)
		text_addf(t, ", revision %s", g->revision);
	if (*g->usb_release)
		text_addf(t, ", USB release %s", g->usb_release);
	if (g->size_bytes)
		text_addf(t, ", %s", size_format_decimal(size, (double)g->size_bytes));
	if (*g->path)
		text_addf(t, ", as %s", g->path);
	if (*g->kind)
		text_addf(t, " (%s)", g->kind);
}

static void add_line_rate(struct text *t, uint64_t bits)
{
	if (bits >= 1000000000)
		text_addf(t, "%g Gb/s", (double)bits / 1e9);
	else
		text_addf(t, "%g Mb/s", (double)bits / 1e6);
}

static void link(struct text *t, const struct run *run)
{
	uint64_t bits = run->target.link_bits_per_second;
	const char *transport = run->target.transport;
	double ceiling = link_ceiling_bps(transport, bits);
	char rate[SIZE_TEXT_MAX];

	if (!strcmp(transport, "file"))
		return;
	add_part(t, "", transport);
	if (bits) {
		text_adds(t, t->length ? ", " : "");
		add_line_rate(t, bits);
		add_part(t, " ", link_name(transport, bits));
	}
	if (ceiling > 0)
		text_addf(t, ", carries at most %s (%s)", rate_format(rate, ceiling),
			link_ceiling_source(bits));
	else if (t->length)
		text_adds(t, bits ? "" : ", speed unknown");
}

static void blocks(struct text *t, const struct run *run)
{
	const struct run_target *g = &run->target;
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];

	if (!g->logical_block_bytes)
		return;
	text_addf(t, "%s logical, %s physical", size_format(a, g->logical_block_bytes),
		size_format(b, g->physical_block_bytes));
	if (g->request_limit_bytes)
		text_addf(t, "; the kernel splits requests above %s",
			size_format(a, g->request_limit_bytes));
}

static void cache(struct text *t, const struct run *run)
{
	if (*run->target.cache)
		text_addf(t, "%s as the kernel sees it, FUA %s", run->target.cache,
			run->target.fua ? "yes" : "no");
}

static void host(struct text *t, const struct run *run)
{
	if (*run->head.kernel)
		text_addf(t, "Linux %s, %u CPU%s", run->head.kernel, run->head.cpus,
			run->head.cpus == 1 ? "" : "s");
}

static void plan(struct text *t, const struct run *run)
{
	const struct run_plan *p = &run->plan;
	char start[SIZE_TEXT_MAX], length[SIZE_TEXT_MAX];

	if (!p->size_count)
		return;
	text_addf(t, "%u pass%s of %g s a point, %u in flight, seed %llu; region %s at %s",
		p->passes, p->passes == 1 ? "" : "es", p->seconds, p->in_flight,
		(unsigned long long)run->head.seed, size_format(length, p->region_bytes),
		size_format(start, p->region_start));
	if (p->kept_data)
		text_adds(t, ", its data kept");
}

static void when(struct text *t, const struct run *run)
{
	text_adds(t, run->head.started);
}

static void command(struct text *t, const struct run *run)
{
	text_adds(t, run->head.command);
}

static void record(struct text *t, const struct run *run)
{
	text_adds(t, run->path);
	text_addf(t, "; %s", run->end.present ? run->end.status : "no end");
	if (run->damaged_lines)
		text_addf(t, "; %llu line%s of it damaged or missing",
			(unsigned long long)run->damaged_lines, run->damaged_lines == 1 ? "" : "s");
	text_addf(t, "; written by blkassay %s", run->head.tool);
}

static const struct {
	const char *name;
	fact_maker *make;
} facts[] = {
	{ "build", build },
	{ "target", target },
	{ "link", link },
	{ "blocks", blocks },
	{ "cache", cache },
	{ "host", host },
	{ "plan", plan },
	{ "started", when },
	{ "command", command },
	{ "record", record },
};

void facts_add(struct view *v, const struct run *run)
{
	struct text t;

	text_init(&t);
	for (size_t i = 0; i < sizeof facts / sizeof *facts; i++) {
		text_reset(&t);
		facts[i].make(&t, run);
		if (t.length)
			(facts[i].make == command ? view_fact_command : view_fact)(
				v, facts[i].name, t.bytes);
	}
	v->pool.failed |= t.failed;
	text_release(&t);
}
