/* What was observed, in words and as CSV. */
#include "report/observe_text.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/notices.h"
#include "report/csv.h"
#include "report/text_view.h"

enum { SIZES_SHOWN = 12 };

static const char *const names[2] = { "read", "write" };

static unsigned long long ull(uint64_t n)
{
	return (unsigned long long)n;
}

static double seconds(uint64_t ns)
{
	return (double)ns / 1e9;
}

static double share(uint64_t part, uint64_t whole)
{
	return whole ? (double)part / (double)whole * 100 : 0;
}

/* ---- sentences ---- */

static void say(const struct notice_visitor *v, enum notice_kind kind, const char *fmt, ...)
	__attribute__((format(printf, 3, 4)));

static void say(const struct notice_visitor *v, enum notice_kind kind, const char *fmt, ...)
{
	char sentence[1024];
	va_list args;

	va_start(args, fmt);
	vsnprintf(sentence, sizeof sentence, fmt, args);
	va_end(args);
	v->notice(v->context, kind, sentence);
}

/* The size that carries most bytes, and the one that most requests have. */
static void say_weight(
	const struct notice_visitor *v, const struct observation *o, enum run_direction d)
{
	const struct observed_size *bytes = NULL, *count = NULL;
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];

	for (size_t i = 0; i < o->size_count; i++) {
		const struct observed_size *s = &o->sizes[i];

		if (s->direction != d)
			continue;
		if (!bytes || s->bytes * s->count > bytes->bytes * bytes->count)
			bytes = s;
		if (!count || s->count > count->count)
			count = s;
	}
	if (!bytes)
		return;
	say(v, NOTICE_FINDING,
		"Of the %ss, %s carries %.0f %% of the bytes, %s is the size of %.0f %% of the "
		"requests; %.0f %% of the requests (%.0f %% of the bytes) are sequential.",
		names[d], size_format(a, bytes->bytes),
		share(bytes->bytes * bytes->count, o->bytes[d]), size_format(b, count->bytes),
		share(count->count, o->requests[d]), share(o->sequential[d], o->requests[d]),
		share(o->sequential_bytes[d], o->bytes[d]));
}

static void say_stall(const struct notice_visitor *v, const struct observation *o)
{
	const struct observed_latency *worst = &o->latency[RUN_READ];
	const char *what = "read";
	char size[SIZE_TEXT_MAX], time[SIZE_TEXT_MAX], at[SIZE_TEXT_MAX];

	if (o->latency[RUN_WRITE].max_ns > worst->max_ns) {
		worst = &o->latency[RUN_WRITE];
		what = "write";
	}
	if (o->flush.max_ns > worst->max_ns) {
		worst = &o->flush;
		what = "flush";
	}
	if (!worst->count)
		return;
	say(v, NOTICE_FINDING, "The longest stall: a %s%s%s took %s, sent %s after the start.",
		what, worst->max_bytes ? " of " : "",
		worst->max_bytes ? size_format(size, worst->max_bytes) : "",
		duration_format(time, seconds(worst->max_ns)),
		duration_format(at, seconds(worst->max_at_ns)));
}

/* What limits the figures. */
static void say_limits(
	const struct notice_visitor *v, const struct run *run, const struct observation *o)
{
	if (run->cut || strcmp(run->end.status, "complete") != 0)
		say(v, NOTICE_CAUTION, "The observation ended early: %s.",
			*run->end.reason   ? run->end.reason
			: run->end.present ? run->end.status
					   : "the record has no end");
	if (!o->traced)
		say(v, NOTICE_CAUTION,
			"Only the kernel's counters were read, so sizes and times are means: %s",
			o->why);
	if (o->lost)
		say(v, NOTICE_CAUTION,
			"The kernel dropped %llu trace events: more was sent than is counted by "
			"size.",
			ull(o->lost));
	if (o->errors)
		say(v, NOTICE_CAUTION, "%llu requests were answered with an error.",
			ull(o->errors));
}

static void say_amounts(const struct notice_visitor *v, const struct observation *o)
{
	const struct observed_counts *c = &o->total;
	char time[SIZE_TEXT_MAX], got[SIZE_TEXT_MAX], put[SIZE_TEXT_MAX];

	say(v, NOTICE_FINDING,
		"In %s the host read %s and wrote %s; at least one request was in flight %.2g %% "
		"of "
		"the time.",
		duration_format(time, seconds(c->ns)),
		size_format_decimal(got, (double)c->bytes[RUN_READ]),
		size_format_decimal(put, (double)c->bytes[RUN_WRITE]),
		c->ns ? (double)c->busy_ms * 1e8 / (double)c->ns : 0);
}

void observe_sentences_visit(
	const struct run *run, const struct observation *o, const struct notice_visitor *v)
{
	say_amounts(v, o);
	say_weight(v, o, RUN_READ);
	say_weight(v, o, RUN_WRITE);
	say_stall(v, o);
	if (o->discards || o->others)
		say(v, NOTICE_FINDING, "It also sent %llu discards and %llu other commands.",
			ull(o->discards), ull(o->others));
	say_limits(v, run, o);
}

/* ---- tables ---- */

/* Request sizes are binary; a mean is seldom a whole number of anything. */
static const char *mean_format(char buf[SIZE_TEXT_MAX], double bytes)
{
	if (bytes < 1024)
		snprintf(buf, SIZE_TEXT_MAX, "%.0f B", bytes);
	else
		snprintf(buf, SIZE_TEXT_MAX, "%.1f KiB", bytes / 1024);
	return buf;
}

static void add_counts(struct text *t, const struct observation *o)
{
	const struct observed_counts *c = &o->total;
	char amount[SIZE_TEXT_MAX], rate[SIZE_TEXT_MAX], mean[SIZE_TEXT_MAX];
	bool exact = o->traced && !o->lost;

	text_addf(t, "\n%-8s%10s%11s%12s%12s%10s\n", "", "requests", "amount", "rate", "mean size",
		"merged");
	for (int d = 0; d < 2; d++) {
		/* The kernel counts an empty write for each flush; the trace tells them apart. */
		uint64_t n = exact ? o->requests[d] : c->requests[d];
		uint64_t bytes = exact ? o->bytes[d] : c->bytes[d];

		text_addf(t, "%-8s%10llu%11s%12s%12s%10llu\n", names[d], ull(n),
			size_format_decimal(amount, (double)bytes),
			c->ns ? rate_format(rate, (double)bytes / seconds(c->ns)) : "",
			n ? mean_format(mean, (double)bytes / (double)n) : "", ull(c->merged[d]));
	}
	text_addf(t, "flushes %10llu", ull(exact ? o->flushes : c->flushes));
	if (o->traced)
		text_addf(t, "   writes to be stored at once (FUA) %llu", ull(o->fua));
	text_adds(t, "\n");
}

/* Among the sizes of its direction that carry most bytes. */
static bool is_shown(const struct observation *o, size_t index)
{
	size_t ahead = 0;

	for (size_t i = 0; i < o->size_count; i++)
		ahead += o->sizes[i].direction == o->sizes[index].direction &&
			 o->sizes[i].bytes * o->sizes[i].count >
				 o->sizes[index].bytes * o->sizes[index].count;
	return ahead < SIZES_SHOWN;
}

static void add_sizes(struct text *t, const struct observation *o)
{
	char size[SIZE_TEXT_MAX], time[SIZE_TEXT_MAX];
	uint64_t hidden = 0;

	if (!o->size_count)
		return;
	text_addf(t, "\n%-8s%12s%10s%12s%12s%14s\n", "", "request", "count", "of requests",
		"of bytes", "mean time");
	for (size_t i = 0; i < o->size_count; i++) {
		const struct observed_size *s = &o->sizes[i];

		if (!is_shown(o, i)) {
			hidden++;
			continue;
		}
		text_addf(t, "%-8s%12s%10llu%10.1f %%%10.1f %%%14s\n", names[s->direction],
			size_format(size, s->bytes), ull(s->count),
			share(s->count, o->requests[s->direction]),
			share(s->bytes * s->count, o->bytes[s->direction]),
			duration_format(time, seconds(s->service_ns / s->count)));
	}
	if (hidden)
		text_addf(t, "and %llu more sizes with fewer bytes (report --csv has all)\n",
			ull(hidden));
}

static void add_latency(struct text *t, const char *name, const struct observed_latency *l)
{
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX], c[SIZE_TEXT_MAX], d[SIZE_TEXT_MAX];

	if (!l->count)
		return;
	text_addf(t, "%-8s%10llu%13s%13s%13s%13s\n", name, ull(l->count),
		duration_format(a, seconds(l->p50_ns)), duration_format(b, seconds(l->p90_ns)),
		duration_format(c, seconds(l->p99_ns)), duration_format(d, seconds(l->max_ns)));
}

static void add_times(struct text *t, const struct observation *o)
{
	if (!o->latency[0].count && !o->latency[1].count && !o->flush.count)
		return;
	text_addf(t, "\n%-8s%10s%13s%13s%13s%13s\n", "time", "requests", "half within", "90 %",
		"99 %", "longest");
	add_latency(t, "read", &o->latency[RUN_READ]);
	add_latency(t, "write", &o->latency[RUN_WRITE]);
	add_latency(t, "flush", &o->flush);
}

int observe_text_add(struct text *t, const struct run *run, const struct observation *o,
	const struct text_style *style, struct error *err)
{
	struct text_view s;
	struct notice_visitor sentences = { &s, text_view_notice };

	text_view_begin(&s, t, style);
	text_view_head(&s, run);
	add_counts(t, o);
	add_sizes(t, o);
	add_times(t, o);
	text_adds(t, "\n");
	observe_sentences_visit(run, o, &sentences);
	text_view_end(&s);
	return t->failed ? error_set(err, ERROR_IO, "out of memory for the observation") : 0;
}

/* ---- CSV ---- */

void observe_csv_header(struct text *t)
{
	text_adds(t, "run,label,what,direction,at_s,seconds,request_bytes,requests,bytes,merged,"
		     "wait_s,flushes,busy_s,in_flight\r\n");
}

static void add_row_start(struct text *t, const struct run *run, const char *what, int direction)
{
	csv_add_field(t, run->head.id, false);
	text_adds(t, ",");
	csv_add_field(t, run->head.label, true);
	text_addf(t, ",%s,%s,", what, names[direction]);
}

static void add_second(
	struct text *t, const struct run *run, const struct observed_counts *c, int d)
{
	add_row_start(t, run, "second", d);
	text_addf(t, "%.6f,%.6f,,%llu,%llu,%llu,%.3f,%llu,%.3f,%llu\r\n", seconds(c->at_ns),
		seconds(c->ns), ull(c->requests[d]), ull(c->bytes[d]), ull(c->merged[d]),
		(double)c->wait_ms[d] / 1e3, ull(c->flushes), (double)c->busy_ms / 1e3,
		ull(c->in_flight));
}

static void add_size(struct text *t, const struct run *run, const struct observed_size *s)
{
	add_row_start(t, run, "size", (int)s->direction);
	text_addf(t, ",,%llu,%llu,%llu,,%.6f,,,\r\n", ull(s->bytes), ull(s->count),
		ull(s->bytes * s->count), seconds(s->service_ns));
}

void observe_csv(struct text *t, const struct run *run, const struct observation *o)
{
	for (size_t i = 0; i < o->second_count; i++)
		for (int d = 0; d < 2; d++)
			add_second(t, run, &o->seconds[i], d);
	for (size_t i = 0; i < o->size_count; i++)
		add_size(t, run, &o->sizes[i]);
}
