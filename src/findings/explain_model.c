/* A gadget model out of an explained sweep. */
#include "findings/explain_model.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/twin.h"
#include "base/error.h"
#include "base/size.h"
#include "base/text.h"

/* What blkassay-model(5) allows. */
#define CAPACITY_MAX (UINT64_C(8) << 40)
#define LIMIT_MAX (UINT64_C(1) << 20)
#define BUFFER_MAX (UINT64_C(8) << 20)
#define JITTER_MAX 0.2
/* Relative width of the bins of a pass's latencies: less spread than that can't be seen. */
#define BIN 0.0078
/* 90 % of a normal distribution lie below so many standard deviations. */
#define NORMAL_90 1.2816
/* Predicted times that are farther off than this are said to be. */
#define OFF 0.03

enum { COMMENT_COLUMN = 36 };

static const char *const doubts[TWIN_DOUBTS] = {
	[TWIN_LINK] = "link rate",
	[TWIN_READ_CARD] = "read rate",
	[TWIN_WRITE_CARD] = "write rate",
	[TWIN_TRANSFER] = "transfer",
	[TWIN_SECTOR] = "unit",
	[TWIN_REQUEST] = "whose request cost",
	[TWIN_READ_SHAPE] = "times of reads",
	[TWIN_WRITE_SHAPE] = "times of writes",
	[TWIN_READS] = "reads",
	[TWIN_WRITES] = "writes",
	[TWIN_BUFFER] = "write behind",
	[TWIN_UNIT] = "write unit",
	[TWIN_FRAMES] = "frames",
	[TWIN_GAP] = "host gap",
	[TWIN_ORDER] = "times in the other order",
};

struct writer {
	struct text *t;
	const struct run *run;
	const struct explanation *e;
	const struct explained *side[2];
	struct twin_input in;
	struct twin twin;
};

/* ---- lines ---- */

static void heading(struct writer *w, const char *name)
{
	text_addf(w->t, "%s:\n", name);
}

static void setting(struct writer *w, const char *key, const char *value, const char *comment)
{
	size_t start = w->t->length;

	text_addf(w->t, "    %s = %s", key, value);
	if (*comment) {
		int blanks = COMMENT_COLUMN - (int)(w->t->length - start);

		text_addf(w->t, "%*s# %s", blanks > 1 ? blanks : 1, "", comment);
	}
	text_adds(w->t, "\n");
}

static const char *rate_words(char out[40], double rate)
{
	if (isinf(rate) || rate > 1e12)
		return "unlimited";
	snprintf(out, 40, "%.0f B/s", fmax(1000, rate));
	return out;
}

static void time_setting(struct writer *w, const char *key, double seconds, const char *comment)
{
	char value[40];

	if (!(seconds >= 0.5e-9))
		return;
	snprintf(value, sizeof value, "%.3f us", seconds * 1e6);
	setting(w, key, value, comment);
}

/* Strangers' text, as a model takes it: printable, and no comment in it. */
static void text_setting(
	struct writer *w, const char *key, const char *value, size_t room, const char *comment)
{
	char clean[64] = "";
	size_t n = 0;

	for (const char *c = value; *c && n + 1 < room && n + 1 < sizeof clean; c++)
		clean[n++] = *c >= 0x20 && *c <= 0x7e && *c != '#' ? *c : '.';
	while (n && clean[n - 1] == ' ')
		n--;
	clean[n] = 0;
	if (n)
		setting(w, key, clean + strspn(clean, " "), comment);
}

/* ---- device ---- */

static int compare_doubles(const void *a, const void *b)
{
	const double *x = a, *y = b;

	return (*x > *y) - (*x < *y);
}

/* Median over passes of how much single requests spread, from the middle to the 90th percentile. */
static double jitter_of(const struct run *run)
{
	double *list = calloc(run->pass_count + 1, sizeof *list), jitter = 0;
	size_t n = 0;

	for (size_t i = 0; list && i < run->pass_count; i++) {
		const struct run_pass *p = &run->passes[i];

		if (p->requests >= 30 && p->lat_p50_ns)
			list[n++] = ((double)p->lat_p90_ns - (double)p->lat_p50_ns) /
				    (double)p->lat_p50_ns / NORMAL_90;
	}
	if (n) {
		qsort(list, n, sizeof *list, compare_doubles);
		jitter = list[n / 2];
	}
	free(list);
	return jitter < BIN ? 0 : fmin(jitter, JITTER_MAX);
}

static void add_not_known(struct writer *w, const struct text *unknown)
{
	if (unknown->length)
		setting(w, "not known", unknown->bytes, "every sweep of this model says so");
}

static void add_device(struct writer *w, const struct text *unknown)
{
	const struct run_target *g = &w->run->target;
	uint64_t block = (uint64_t)w->in.block_bytes, size = g->size_bytes - g->size_bytes % block;
	double jitter = jitter_of(w->run);
	char value[40];

	heading(w, "device");
	text_setting(w, "name", *w->run->head.label ? w->run->head.label : "twin", 64,
		"of the run that it was made from");
	text_setting(w, "revision", g->revision, 5, "as the device says");
	snprintf(value, sizeof value, "%llu",
		(unsigned long long)(size < 4096           ? 4096
				     : size > CAPACITY_MAX ? CAPACITY_MAX
							   : size));
	setting(w, "capacity", value, "as the device says");
	snprintf(value, sizeof value, "%llu", (unsigned long long)block);
	setting(w, "block", value, "as the device says");
	snprintf(value, sizeof value, "%.2f %%", jitter * 100);
	setting(w, "jitter", value,
		jitter > 0 ? "spread of single requests, to the 90th percentile"
			   : "less than the bins of a pass tell apart");
	add_not_known(w, unknown);
}

/* ---- link ---- */

static void add_link(struct writer *w)
{
	const struct run_target *g = &w->run->target;
	uint64_t bits = g->link_bits_per_second, limit = g->request_limit_bytes;
	char value[40];

	heading(w, "link");
	setting(w, "speed",
		bits == 12000000    ? "full"
		: bits == 480000000 ? "high"
				    : "none",
		"as the kernel reports it");
	if (w->twin.frames)
		setting(w, "frames", "yes", "all times are whole frames");
	else
		setting(w, "rate", rate_words(value, w->twin.link),
			w->e->known.link > 0 ? "as given with --link"
			: w->twin.link_seen ? "seen: data of writes, which are worked on after them"
			: !w->twin.doubts[TWIN_LINK] ? "what limits, so the slope is its own"
			: w->in.link_ceiling > 0     ? "NOT KNOWN: the most it can carry"
						     : "NOT KNOWN");
	time_setting(w, "request cost", w->twin.command_s,
		"seen: until a command is taken, whatever the size");
	time_setting(w, "host gap", w->twin.host_s, "seen: the host between requests");
	limit -= limit % 4096;
	if (limit) {
		snprintf(value, sizeof value, "%llu",
			(unsigned long long)(limit > LIMIT_MAX ? LIMIT_MAX : limit));
		setting(w, "request limit", value, "as the kernel splits");
	}
}

/* ---- card ---- */

static void add_stalls(struct writer *w)
{
	const struct explained *x = w->side[RUN_WRITE];
	char value[40];
	double every;

	if (!x || !(x->stalls.count >= 1) || x->backlog)
		return;
	every = x->stalls.bytes / x->stalls.count;
	every = fmax(512, every - fmod(every, 512));
	snprintf(value, sizeof value, "%.0f", every);
	setting(w, "stall every", value, "mean over the passes");
	time_setting(w, "stall time", x->stalls.seconds / x->stalls.count, "mean");
}

static void add_side(struct writer *w, int d)
{
	const struct twin_card *c = &w->twin.card[d];
	bool known = !w->twin.doubts[d ? TWIN_WRITE_CARD : TWIN_READ_CARD],
	     there = w->side[d] != NULL;
	const char *side = d ? "write" : "read";
	char key[40], value[40];

	snprintf(key, sizeof key, "%s rate", side);
	setting(w, key, rate_words(value, c->rate),
		!there ? "NOT KNOWN: not swept"
		: w->e->known.card[d] > 0 && !known
			? "NOT KNOWN: these times do not show the rate that was given"
		: w->e->known.card[d] > 0 ? "as given, or within 6 % of it as measured"
		: known                   ? "from the steps of whole units"
		: d && w->twin.stores_after
			? "seen: work after the data; NOT KNOWN how much of it is the card's"
			: "NOT KNOWN: what is left of the slope");
	snprintf(key, sizeof key, "%s command cost", side);
	time_setting(w, key, c->command_s,
		w->twin.sectors       ? "of each sector: what link and card leave of the slope"
		: d && w->twin.phased ? "seen: from the data to the status, whatever the size"
		: w->twin.phased ? "before the data: what these requests cost more than the others"
				 : "what these requests cost more than the others");
	snprintf(key, sizeof key, "%s sector cost", side);
	time_setting(w, key, c->sector_s, "what link and card leave of the slope");
}

static void add_card(struct writer *w)
{
	char value[40];

	heading(w, "card");
	add_side(w, RUN_READ);
	add_side(w, RUN_WRITE);
	if (w->twin.card[RUN_WRITE].unit_bytes > 0) {
		snprintf(value, sizeof value, "%.0f", w->twin.card[RUN_WRITE].unit_bytes);
		setting(w, "write unit", value,
			w->twin.doubts[TWIN_UNIT] ? "NOT KNOWN: times of writes grow in steps of "
						    "it, or of an odd multiple"
						  : "times of writes grow in steps of it");
	}
	add_stalls(w);
}

/* ---- firmware ---- */

static double buffer_bytes(const struct explained *x, double block)
{
	double bytes = fmin(fmax(x->behind_bytes, block), BUFFER_MAX);

	return bytes - fmod(bytes, block);
}

static void add_buffer(struct writer *w)
{
	char value[40];

	if (!w->in.side[RUN_WRITE].buffered)
		return;
	snprintf(value, sizeof value, "%.0f", w->in.side[RUN_WRITE].behind_bytes);
	setting(w, "write behind", value, "NOT KNOWN: what was not stored after the last answer");
}

static void add_firmware(struct writer *w)
{
	const struct twin *t = &w->twin;
	char value[40];

	heading(w, "firmware");
	setting(w, "unit", t->sectors ? "sector" : "request",
		t->doubts[TWIN_SECTOR] ? "NOT KNOWN: single sectors, or work for each byte"
				       : "nothing is left for work per sector");
	setting(w, "transfer", t->overlapped ? "overlapped" : "store-and-forward",
		t->doubts[TWIN_TRANSFER] && t->stores_after && !t->overlapped
			? "NOT KNOWN whether it begins before it has all data; what is left then "
			  "is seen"
		: t->doubts[TWIN_TRANSFER] ? "NOT KNOWN"
		: t->stores_after          ? "seen: the status comes later the more data there are"
		: t->stores_meanwhile
			? "seen: data of writes are taken slowly, and the status soon after"
			: "as the slope shows");
	if (t->overlapped && t->chunk_bytes > 0) {
		snprintf(value, sizeof value, "%.0f", t->chunk_bytes);
		setting(w, "chunk", value, "where the line bends");
	}
	time_setting(w, "request cost", t->request_s,
		!t->phased && t->host_s + t->command_s > 0
			? "fixed cost before and after data; NOT KNOWN whether firmware or card"
		: t->phased ? "seen: before the data, whatever the size"
			    : "fixed cost; NOT KNOWN whether firmware, card or host");
	add_buffer(w);
}

/* ---- claims ---- */

static void add_claims(struct writer *w)
{
	const struct run_target *g = &w->run->target;
	bool back = !strcmp(g->cache, "write back");

	heading(w, "claims");
	setting(w, "caching page", back ? "yes" : "no",
		back ? "the kernel treats it as write back" : "the kernel does not");
	if (back)
		setting(w, "write cache", "yes", "the same");
	if (back && g->fua)
		setting(w, "fua", "yes", "as the kernel sees it");
	setting(w, "removable", g->removable || g->modelled ? "yes" : "no",
		"as the kernel sees it");
}

/* ---- the whole ---- */

/* Phases of a write that is only acknowledged are not those of storing it. */
static void take_phases(struct twin_side *s, const struct explained *x)
{
	const struct phase_amount *part = x->phases.list;
	const struct phase_amount *host = &part[PART_HOST], *command = &part[PART_NOT_READY],
				  *status = &part[PART_STORE], *data = &x->phases.data;

	s->phases_seen = x->phases.known && !x->phases_stalled && !x->phases_apart &&
			 host->line_known && command->line_known && status->line_known &&
			 data->line_known &&
			 !(x->direction == RUN_WRITE && (!x->shown || x->behind > EXPLAIN_BEHIND));
	if (!s->phases_seen)
		return;
	s->phases = (struct twin_phases){ .host_s = host->fixed,
		.command_s = command->fixed,
		.data_s = data->fixed,
		.data_slope = data->per_byte,
		.status_s = status->fixed,
		.status_slope = status->per_byte,
		.status_last_slope = status->last_per_byte };
}

static struct twin_side side_of(
	const struct explained *x, const struct explain_known *known, int d, bool write_back)
{
	struct twin_side s = { .card = known->card[d] };

	if (!x)
		return s;
	take_phases(&s, x);
	s.growth = x->frames == FRAMES_SEEN && x->framed.count ? &x->framed.list[0]
							       : &x->growths.list[0];
	s.culprits = &x->culprits;
	s.buffered = x->buffered;
	s.may_buffer = d == RUN_WRITE && !x->buffered && write_back;
	s.behind_bytes = buffer_bytes(x, x->block_bytes);
	s.smallest_bytes = (double)x->points[0].request_bytes;
	s.smallest_s = x->stored[0].seconds - stalls_per_byte(&x->stalls) * s.smallest_bytes;
	return s;
}

/* What the twin takes against what was measured, at the farthest size that the kernel does not split. */
static double worst_of(const struct writer *w, const struct explained *x)
{
	double most = 0;

	for (size_t i = 0; x && i < x->point_count; i++) {
		const struct cost_point *c = &x->stored[i];
		double stall = stalls_per_byte(&x->stalls) * (double)c->request_bytes;
		double is = c->seconds - (x->stalls.count > 0 ? stall : 0), twin;

		if (c->pieces > 1.01)
			continue;
		twin = twin_seconds(
			&w->twin, &w->in, x->direction == RUN_WRITE, (double)c->request_bytes);
		most = fmax(most, fabs(twin / is - 1));
	}
	return most;
}

static double worst(const struct writer *w, int d)
{
	return worst_of(w, w->side[d]);
}

/* It is made from one order, and takes the other one for the same: a gadget that reads ahead does not. */
static bool is_other_order_off(const struct writer *w)
{
	for (size_t i = 0; i < w->e->count; i++) {
		const struct explained *x = &w->e->tables[i], *of = w->side[x->direction];

		if (x->order != of->order && x->in_flight == of->in_flight &&
			worst_of(w, of) <= OFF && worst_of(w, x) > OFF)
			return true;
	}
	return false;
}

/* Makes it anew with *choice set, and keeps to that where its times are nearer. */
static void try_other(struct writer *w, bool *choice)
{
	struct twin with = w->twin;
	double off = fmax(worst(w, RUN_READ), worst(w, RUN_WRITE));

	*choice = true;
	twin_make(&w->twin, &w->in);
	if (fmax(worst(w, RUN_READ), worst(w, RUN_WRITE)) < off)
		return;
	*choice = false;
	w->twin = with;
}

static void make_twin(struct writer *w)
{
	for (int d = 0; d < 2; d++) {
		w->side[d] = explanation_of(w->e, (enum run_direction)d);
		w->in.side[d] = side_of(
			w->side[d], &w->e->known, d, !strcmp(w->run->target.cache, "write back"));
		if (!w->side[d])
			continue;
		w->in.block_bytes = w->side[d]->block_bytes;
		w->in.link_ceiling = w->side[d]->usb ? w->side[d]->usb->ceiling : 0;
		w->in.frames_open |= w->side[d]->frames == FRAMES_OPEN;
		if (w->side[d]->usb && w->side[d]->frames == FRAMES_SEEN)
			w->in.frame_s = w->side[d]->usb->frame_s;
	}
	w->in.link = w->e->known.link;
	twin_make(&w->twin, &w->in);
	/* Small steps may come from what hides behind a slower link. */
	if (w->twin.card[RUN_WRITE].unit_bytes > 0)
		try_other(w, &w->in.single_blocks);
	if (w->twin.chunk_bytes > 0)
		try_other(w, &w->in.odd_chunk);
	w->twin.doubts[TWIN_READ_SHAPE] |= worst(w, RUN_READ) > OFF;
	w->twin.doubts[TWIN_WRITE_SHAPE] |= worst(w, RUN_WRITE) > OFF;
	for (int d = 0; d < 2; d++)
		w->twin.doubts[TWIN_GAP] |= w->side[d] && w->side[d]->in_flight > 1;
	w->twin.doubts[TWIN_ORDER] = is_other_order_off(w);
}

int explain_model_text(struct text *t, struct text *unknown, const struct run *run,
	const struct explanation *e, struct error *err)
{
	struct writer w = { .t = t, .run = run, .e = e };

	text_reset(unknown);
	if (!e->count)
		return error_set(err, ERROR_USAGE, "'%s' has no usable pass to make a model from",
			run->path);
	make_twin(&w);
	for (int i = 0; i < TWIN_DOUBTS; i++)
		if (w.twin.doubts[i])
			text_addf(unknown, "%s%s", unknown->length ? ", " : "", doubts[i]);
	text_addf(t,
		"gadget-model 1\n"
		"# Made by blkassay explain from run %.40s: the simplest gadget with its times.\n"
		"# Edit a line and sweep it: what the change would gain, before it is written.\n",
		run->head.id);
	add_device(&w, unknown);
	add_link(&w);
	add_card(&w);
	add_firmware(&w);
	add_claims(&w);
	return t->failed || unknown->failed
		       ? error_set(err, ERROR_IO, "out of memory for the model")
		       : 0;
}
