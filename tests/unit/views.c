/* Views: values, tables, and that every code comes out as it is listed. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/summary.h"
#include "base/error.h"
#include "base/text.h"
#include "findings/observe_view.h"
#include "findings/record_view.h"
#include "findings/run_findings.h"
#include "findings/sweep_view.h"
#include "report/csv.h"
#include "report/json.h"
#include "report/keys.h"
#include "report/sink.h"
#include "report/text_lines.h"
#include "report/text_table.h"
#include "report/text_view.h"
#include "support/sample_run.h"
#include "support/view_check.h"

static struct text text;

static void setup(void)
{
	text_init(&text);
}

static void teardown(void)
{
	text_release(&text);
}

/* ---- values ---- */

START_TEST(values_have_two_forms)
{
	static const struct rate_summary range = {
		.median = 1.18e6, .low = 1.17e6, .high = 1.19e6, .interval_known = true
	};
	const struct {
		struct value value;
		const char *shown, *plain;
	} cases[] = {
		{ value_count(UINT64_MAX), "18446744073709551615", "18446744073709551615" },
		{ value_bytes(4096), "4 KiB", "4096" },
		{ value_bytes_mean(85340.16), "83.3 KiB", "85340.16" },
		{ value_bytes_decimal(2133504), "2.13 MB", "2133504" },
		{ value_rate(1216000), "1.22 MB/s", "1216000" },
		{ value_seconds(0.00853325), "8.53 ms", "0.00853325" },
		/* A nanosecond in three hours. */
		{ value_ns(UINT64_C(10800000000001)), "3 h 0 min", "10800.000000001" },
		{ value_ns(1500000), "1.50 ms", "0.0015" },
		{ value_ns(1), "0 s", "0.000000001" },
		{ value_ns(0), "0 s", "0" },
		{ value_seconds(0), "0 s", "0" },
		{ value_share(0.974), "97 %", "0.974" },
		{ value_share(9.99), "999 %", "9.99" },
		{ value_share(652.5), "over 999 %", "652.5" },
		{ value_share_counted(1, 8), "12.5 %", "0.125" },
		{ value_share_counted(0, 0), "0.0 %", "0" },
		{ value_number(1.184), "1.18", "1.184" },
		{ value_rate_range(&range), "1.17..1.19", "" },
		{ value_flag(true), "yes", "true" },
		{ value_word("read"), "read", "read" },
		{ value_words("split+merged"), "split, merged", "split+merged" },
		{ value_words(NULL), "-", "" },
		{ value_text(""), "-", "" },
		{ value_unknown(), "-", "" },
		{ value_rate((double)NAN), "-", "" },
		{ value_rate((double)INFINITY), "-", "" },
		{ value_if(false, value_count(1)), "-", "" },
	};

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		text_reset(&text);
		value_add(&text, cases[i].value);
		ck_assert_str_eq(text.bytes, cases[i].shown);
		text_reset(&text);
		value_add_plain(&text, cases[i].value);
		ck_assert_str_eq(text.bytes, cases[i].plain);
	}
}
END_TEST

START_TEST(strings_of_json)
{
	/* RFC 8259 section 7; U+1F600 and its halves: Unicode 3.9, table 3-5. U+202E reorders a line. */
	json_add_string(
		&text, "a\"b\\c\nd\x7f\xff\xe2\x80\xae\xc3\xa9\xf0\x9f\x98\x80\xf3\xa0\x80\x81");
	ck_assert_str_eq(text.bytes, "\"a\\\"b\\\\c\\u000ad\\u007f\\ufffd\\u202e\xc3\xa9\xf0\x9f"
				     "\x98\x80\\udb40\\udc01\"");
}
END_TEST

/* ---- tables ---- */

struct row {
	const char *name;
	uint64_t n;
};

COLUMN_VALUE(row_name, struct row, r, value_text(r->name))
COLUMN_VALUE(row_n, struct row, r, value_if(r->n, value_count(r->n)))

static const struct column narrow[] = {
	{ "name", "name", "of it", 0, true, NULL, row_name },
	{ "n", "how many", "of them", 0, false, NULL, row_n },
	{ "more", NULL, "for programs", 0, false, NULL, row_n },
};

static const struct column wide[] = {
	{ "n", "how many", "of them", 30, false, NULL, row_n },
	{ "m", "again", "of them", 30, false, NULL, row_n },
	{ "o", "and again", "of them", 30, false, NULL, row_n },
};

static const struct table_spec narrow_spec = { .key = "narrow",
	.csv = CSV_BARE,
	.csv_what = "small",
	.row_bytes = sizeof(struct row),
	TABLE_COLUMNS(narrow) };
static const struct table_spec wide_spec = { .key = "wide",
	.csv = CSV_BARE,
	.csv_what = "large",
	.row_bytes = sizeof(struct row),
	TABLE_COLUMNS(wide) };

static const struct row rows[] = { { "longer\033name,", 7 }, { NULL, 0 } };

static void paint(const struct table_spec *spec)
{
	struct text_style style = { .columns = 80 };
	struct table t = { spec, rows, 2 };
	struct text_lines v;

	text_lines_begin(&v, &text, &style);
	text_table_add(&v, &t);
	text_lines_end(&v);
}

START_TEST(columns_are_as_wide_as_they_must)
{
	paint(&narrow_spec);
	ck_assert_str_eq(text.bytes, "name          how many\n"
				     "longer?name,         7\n"
				     "-                    -\n");
}
END_TEST

START_TEST(a_wide_table_goes_on_below)
{
	paint(&wide_spec);
	ck_assert_str_eq(text.bytes,
		"                      how many                         again\n"
		"                             7                             7\n"
		"                             -                             -\n"
		"\n"
		"                      how many                     and again\n"
		"                             7                             7\n"
		"                             -                             -\n");
}
END_TEST

static int keep_all(void *context, struct text *t, struct error *err)
{
	(void)err;
	text_add(context, t->bytes, t->length);
	text_reset(t);
	return 0;
}

START_TEST(tables_share_a_csv)
{
	struct sink sink = { &text, keep_all };
	struct error err = { 0 };
	struct text scratch;
	struct view v;

	view_begin(&v, "test");
	view_table(&v, &wide_spec, rows, 1);
	view_table(&v, &narrow_spec, rows, 1);
	ck_assert(csv_has(&v));
	text_init(&scratch);
	ck_assert_int_eq(csv_add_view(&scratch, &v, true, &sink, &err), 0);
	/* `name` stands before `n`, as in its own table. */
	ck_assert_str_eq(text.bytes, "what,name,n,m,o,more\r\n"
				     "large,,7,7,7,\r\n"
				     "small,\"longer?name,\",7,,,7\r\n");
	text_release(&scratch);
	view_release(&v);
}
END_TEST

COLUMN_VALUE(row_words, struct row, r, value_words(r->n ? "split+merged" : ""))

static const struct column nested[] = {
	{ "n", NULL, "of them", 0, false, NULL, row_n },
	{ "parts.name", NULL, "of it", 0, true, NULL, row_name },
	{ "parts.n", NULL, "of them", 0, false, NULL, row_n },
	{ "words", NULL, "some", 0, true, NULL, row_words },
};

static const struct table_spec nested_spec = {
	.key = "nested", .row_bytes = sizeof(struct row), TABLE_COLUMNS(nested)
};
static const struct table_spec object_spec = {
	.key = "object", .json = JSON_OBJECT, .row_bytes = sizeof(struct row), TABLE_COLUMNS(narrow)
};
static const struct table_spec bare_spec = {
	.key = "bare", .json = JSON_BARE, .row_bytes = sizeof(struct row), TABLE_COLUMNS(narrow)
};

START_TEST(forms_of_json)
{
	static const struct finding_code code = { .code = "odd", .kind = FINDING_CAUTION };
	struct sink sink = { &text, keep_all };
	struct error err = { 0 };
	struct text scratch;
	struct view v;

	view_begin(&v, "test");
	finding_figure(finding_add(&v.findings, &code, "It is %s.", "odd"), "n", value_count(3));
	view_table(&v, &nested_spec, rows, 2);
	view_table(&v, &object_spec, NULL, 0);
	view_table(&v, &bare_spec, &rows[1], 1);
	ck_assert_int_eq(view_end(&v, &err), 0);
	text_init(&scratch);
	ck_assert_int_eq(json_add_view(&scratch, &v, &sink, &err), 0);
	ck_assert_str_eq(text.bytes,
		"{\"kind\":\"test\",\"run\":null,\"verdict\":\"odd\",\"findings\":[{\"code\":"
		"\"odd\","
		"\"kind\":\"caution\",\"sentence\":\"It is odd.\",\"n\":3}],"
		"\"nested\":[{\"n\":7,\"parts\":{\"name\":\"longer\\u001bname,\",\"n\":7},"
		"\"words\":["
		"\"split\",\"merged\"]},{\"n\":null,\"parts\":null,\"words\":[]}],"
		"\"object\":null,\"name\":null,\"n\":null,\"more\":null}\n");
	text_release(&scratch);
	view_release(&v);
}
END_TEST

START_TEST(a_view_without_verdict_is_none)
{
	struct error err = { 0 };
	struct view v;

	view_begin(&v, "test");
	ck_assert_int_eq(view_end(&v, &err), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
}
END_TEST

/* ---- what is listed ---- */

static void check_columns(const struct table_spec *spec)
{
	for (size_t i = 0; i < spec->column_count; i++) {
		const struct column *c = &spec->columns[i];

		ck_assert_msg(c->meaning != NULL, "%s: %s", spec->key, c->key);
		ck_assert(c->key || c->heading);
		for (size_t k = 0; c->key && k < i; k++)
			ck_assert_msg(!spec->columns[k].key || strcmp(spec->columns[k].key, c->key),
				"%s has %s twice", spec->key, c->key);
	}
}

START_TEST(kinds_are_whole)
{
	for (size_t k = 0; k < view_kind_count; k++) {
		const struct view_kind *kind = &view_kinds[k];
		enum csv_lead lead = CSV_NONE;
		size_t verdicts = 0;

		for (size_t i = 0; i < *kind->code_count; i++) {
			ck_assert(kind->codes[i].code && kind->codes[i].meaning);
			verdicts += kind->codes[i].verdict;
		}
		ck_assert_msg(verdicts, "%s has no verdict", kind->kind);
		for (size_t i = 0; i < kind->table_count; i++) {
			const struct table_spec *spec = kind->tables[i];

			check_columns(spec);
			ck_assert_ptr_nonnull(spec->meaning);
			if (spec->csv != CSV_NONE && lead != CSV_NONE)
				ck_assert_int_eq(spec->csv, lead);
			lead = spec->csv != CSV_NONE ? spec->csv : lead;
		}
	}
}
END_TEST

START_TEST(keys_are_listed_in_fields)
{
	keys_add(&text);
	ck_assert_ptr_nonnull(strstr(
		text.bytes, "key\tsweep\tpoints\trequest_bytes\trequest\tsize of one request\n"));
	ck_assert_ptr_nonnull(strstr(text.bytes, "\nverdict\tsweep\tmeasured\t"));
	ck_assert_ptr_nonnull(strstr(text.bytes, "\ntable\tsweep\tplan\tobject\t-\t"));
}
END_TEST

/* ---- every code of a kind ---- */

static void check_sweep(struct run *run)
{
	struct error err = { 0 };
	struct view v;

	*run->path = 0; /* it lies in no file, so there are no details to read */
	ck_assert_msg(!sweep_view(&v, run, &err), "%s", err.text);
	view_check(&v);
	view_release(&v);
	run_release(run);
}

static bool says_code(const struct run *run, const char *code)
{
	struct error err = { 0 };
	bool found = false;
	struct view v;

	ck_assert_msg(!sweep_view(&v, run, &err), "%s", err.text);
	for (size_t i = 0; i < v.findings.count; i++)
		found = found || !strcmp(v.findings.list[i].code->code, code);
	view_check(&v);
	view_release(&v);
	return found;
}

/* 64 KiB ahead of a card of 0.4 MB/s: 164 ms to store. What the bus shows of the flush after that, and of the read behind. */
static void check_flushes(void)
{
	struct run whole, *run = &whole;
	struct run_storing *s = &run->storing;

	sample_run_init(run);
	*run->path = 0;
	sample_run_add(run, RUN_WRITE, RUN_RANDOM, 512, 1, 1e6)->stored_by = RUN_NOT_SHOWN;
	s->by = RUN_NOT_SHOWN;
	s->held_up = s->flush_watched = s->next_watched = true;
	s->burst_bytes = 1 << 20;
	s->buffer_bytes = 65536;
	s->drain_bps = 4e5;
	ck_assert(says_code(run, "flush-not-sent"));
	s->flush_commands = 1;
	s->flush_command_ns = s->idle_flush_command_ns = 200000;
	ck_assert(says_code(run, "flush-too-early"));
	ck_assert(!says_code(run, "busy-after-flush"));
	/* Asked for again, as the target was not ready: what lay between is no part of these commands. */
	s->flush_commands = 8;
	ck_assert(!says_code(run, "flush-too-early"));
	s->flush_commands = 1;
	s->usual_data_ns = s->next_data_ns = 600000;
	s->next_command_ns = 170000000; /* it stores, and takes no command meanwhile */
	ck_assert(says_code(run, "flush-too-early"));
	ck_assert(says_code(run, "busy-after-flush"));
	/* Taken late, and answered at once then: it waited for all. */
	s->next_command_ns = 0;
	s->flush_command_ns = 164000000;
	ck_assert(!says_code(run, "flush-too-early"));
	s->by = RUN_STORED_FLUSH;
	ck_assert(says_code(run, "flush-on-bus"));
	/* Never held up: nothing says that anything was left. */
	s->by = RUN_NOT_SHOWN;
	s->flush_command_ns = 200000;
	s->held_up = false;
	ck_assert(!says_code(run, "flush-too-early"));
	/* What was looked at while the host was away, or not watched, says nothing. */
	s->held_up = s->host_away = true;
	ck_assert(!says_code(run, "flush-too-early"));
	s->host_away = s->flush_watched = false;
	ck_assert(!says_code(run, "flush-too-early"));
	run_release(run);
}

/* Of a code: what programs get, and what screens show of it. */
struct said {
	size_t all, shown;
	bool of_both; /* the last of them */
};

static struct said count_said(const struct view *v, const char *code, const char *both)
{
	struct said n = { 0 };

	for (size_t i = 0; i < v->findings.count; i++) {
		const struct finding *f = &v->findings.list[i];

		if (strcmp(f->code->code, code) != 0)
			continue;
		n.all++;
		n.shown += !f->again;
		n.of_both = strstr(f->sentence, both);
	}
	return n;
}

static void check_said(const struct view *v, const char *code, const char *both, bool alike)
{
	struct said n = count_said(v, code, both);
	struct text_style style = { .columns = 2000 };
	struct error err = { 0 };
	const char *at;

	ck_assert_uint_eq(n.all, 2);
	ck_assert_uint_eq(n.shown, alike ? 1 : 2);
	ck_assert_int_eq(n.of_both, alike);
	text_reset(&text);
	ck_assert(!text_view_add(&text, v, &style, &err));
	at = strstr(text.bytes, both);
	ck_assert_int_eq(!!at, alike);
	ck_assert(!at || !strstr(at + 1, both));
}

/* Reads, of which a random one takes so many times what a sequential one takes. */
static void check_alike(double times, bool alike)
{
	struct error err = { 0 };
	struct run run;
	struct view v;

	sample_run_init(&run);
	*run.path = 0;
	for (int order = 0; order < 2; order++) {
		double slower = order ? times : 1;
		struct run_pass *p = sample_run_add(
			&run, RUN_READ, (enum run_order)order, 4096, 1, 500e3 / slower);

		p->phases = RUN_PHASES_SEEN;
		p->phases_seen = true;
		p->commands = p->requests;
		p->phase_ns[RUN_PHASE_COMMAND] = p->requests * 100000;
		p->phase_ns[RUN_PHASE_DATA] = (uint64_t)((double)p->requests * slower * 8e6);
	}
	ck_assert_msg(!sweep_view(&v, &run, &err), "%s", err.text);
	check_said(&v, "phases", "sequential or random", alike);
	check_said(&v, "best-rate", "Sequential and random reads alike peak at", alike);
	view_release(&v);
	run_release(&run);
}

START_TEST(what_goes_alike_is_said_once)
{
	check_alike(1.01, true);
	check_alike(1.1, false);
}
END_TEST

/* Two sizes, five passes of each over the five parts of the region: in the last part they go at so much of the rate. */
static void sample_parts(struct run *run, double last)
{
	sample_run_init(run);
	*run->path = 0;
	for (uint32_t size = 4096; size <= 65536; size *= 16)
		for (uint32_t part = 0; part < 5; part++) {
			struct run_pass *p = sample_run_add(run, RUN_WRITE, RUN_SEQUENTIAL, size,
				(part + size / 4096) % 5 + 1,
				1e6 * (part == 4                     ? last
					      : part == size / 65536 ? 1.01
								     : 1));

			p->start_known = true;
			p->start_bytes = run->plan.region_bytes / 5 * part / size * size + size;
		}
}

static const char *sentence_of(const struct view *v, const char *code)
{
	for (size_t i = 0; i < v->findings.count; i++)
		if (!strcmp(v->findings.list[i].code->code, code))
			return v->findings.list[i].sentence;
	return "";
}

START_TEST(places_are_told)
{
	struct error err = { 0 };
	const struct point *p;
	struct points points;
	struct run run;
	struct view v;

	sample_parts(&run, 0.5);
	ck_assert_int_eq(points_make(&points, &run, &err), 0);
	p = &points.list[0];
	/* Of the mean of logarithms: 2^(1/5) of the other parts, 2^(-4/5) of the last. */
	ck_assert(p->places.differ);
	ck_assert_uint_eq(p->places.slowest_part, 4);
	ck_assert_double_eq_tol(p->places.slowest, pow(2, -0.8), 0.01);
	ck_assert_double_eq_tol(p->places.fastest, pow(2, 0.2), 0.01);
	points_release(&points);
	ck_assert(!sweep_view(&v, &run, &err));
	ck_assert_ptr_nonnull(strstr(sentence_of(&v, "rate-by-place"),
		"The rate of sequential writes depends on the place: passes that began in part 5 "
		"of 5 of the region went 43 % slower than the mean of all parts"));
	ck_assert_ptr_nonnull(strstr(sentence_of(&v, "places"),
		"and no others: the region is 67.1 MB of the target's 7.95 GB, from 0 B on, "));
	/* 4.5 seconds of 1 MB/s in 64 MiB; a pass of 64 KiB requests goes on to the end of one. */
	ck_assert_msg(
		strstr(sentence_of(&v, "places"),
			"passes of a point went to 5 places spread over it, 6.7 % to 7.0 % of "
			"it altogether"),
		"%s", sentence_of(&v, "places"));
	view_release(&v);
	run_release(&run);
	sample_parts(&run, 0.99);
	ck_assert(!sweep_view(&v, &run, &err));
	ck_assert_str_eq(sentence_of(&v, "rate-by-place"), "");
	view_release(&v);
	run_release(&run);
}
END_TEST

START_TEST(rewriting_is_told)
{
	struct error err = { 0 };
	struct points points;
	struct run run;
	struct view v;

	sample_parts(&run, 1);
	run.storing.again_bytes = 1 << 20;
	run.storing.first_ns = 1000000000;
	run.storing.again_ns = 2500000000;
	ck_assert_int_eq(points_make(&points, &run, &err), 0);
	/* A pass may have met none of the slow ones. */
	ck_assert_double_le(points.list[0].stored.low, 0.41e6);
	ck_assert_double_le(points.list[0].stored.high, 1.02e6);
	points_release(&points);
	ck_assert(!sweep_view(&v, &run, &err));
	ck_assert_ptr_nonnull(strstr(sentence_of(&v, "written-before"),
		"had written before took 2.5 times the time they took at first"));
	view_release(&v);
	run_release(&run);
}
END_TEST

START_TEST(a_sweep_with_all_that_can_be_odd)
{
	static const enum run_pass_flag flags[] = { RUN_PASS_FOREIGN_IO, RUN_PASS_MERGED,
		RUN_PASS_WRAPPED, RUN_PASS_SHORT, RUN_PASS_TAIL, RUN_PASS_HOST };
	struct run_pass *p;
	struct run run;

	sample_run_init(&run);
	check_sweep(&run); /* nothing */
	sample_run_init(&run);
	for (uint32_t i = 0; i < 6; i++) {
		p = sample_run_add(&run, RUN_READ, RUN_RANDOM, 4096, i + 1, 100e3 * (i + 1));
		p->flags = flags[i];
		p->lat_max_ns = 900000000;
		p->errors = i;
	}
	run.passes[1].phases = RUN_PHASES_SEEN;
	run.passes[1].phases_seen = run.passes[1].bus_shared = true;
	run.passes[1].commands = run.passes[1].requests;
	run.passes[1].phase_ns[RUN_PHASE_DATA] = 900000000;
	run.passes[2].phases = RUN_PHASES_DROPPED;
	p = sample_run_add(&run, RUN_WRITE, RUN_RANDOM, 245760, 1, 2e6); /* above the link */
	p->stored_ns = 2 * p->busy_ns;
	p->device_requests *= 2;
	p->flags = RUN_PASS_SPLIT;
	sample_run_add(&run, RUN_WRITE, RUN_RANDOM, 245760, 2, 1e6)->flags = RUN_PASS_CUT;
	p = sample_run_add(&run, RUN_WRITE, RUN_RANDOM, 245760, 3, 1e6);
	p->flags = RUN_PASS_RESETS;
	p->device_errors = 2;
	sample_run_add(&run, RUN_WRITE, RUN_RANDOM, 512, 1, 1e6)->stored_by = RUN_NOT_SHOWN;
	check_sweep(&run); /* measured */
	sample_run_init(&run);
	sample_run_add(&run, RUN_WRITE, RUN_RANDOM, 512, 1, 1e6)->stored_by = RUN_NOT_SHOWN;
	run.storing.by = RUN_NOT_SHOWN;
	run.storing.failed_reads = 2;
	check_sweep(&run); /* acknowledged only */
	check_flushes();
	sample_run_init(&run);
	sample_run_add(&run, RUN_READ, RUN_RANDOM, 4096, 1, 100e3);
	run.end.present = false;
	check_sweep(&run); /* stopped */
	sample_parts(&run, 0.5);
	run.storing.first_ns = 2;
	run.storing.again_ns = 1;
	check_sweep(&run); /* by place */
	view_check_all_codes("sweep");
}
END_TEST

static void check_observation(const struct run *run, const struct observation *o)
{
	struct error err = { 0 };
	struct view v;

	ck_assert_msg(!observe_view(&v, run, o, &err), "%s", err.text);
	view_check(&v);
	view_release(&v);
}

START_TEST(an_observation_with_all_that_can_be_odd)
{
	struct observed_size sizes[] = { { RUN_READ, 4096, 10, 50000000 } };
	struct observation o = { .traced = true,
		.total = { .ns = 2000000000, .requests = { 10, 1 }, .bytes = { 40960, 512 } },
		.sizes = sizes,
		.size_count = 1,
		.requests = { 10, 1 },
		.bytes = { 40960, 512 },
		.flushes = 1,
		.discards = 1,
		.errors = 1,
		.latency = { { .count = 10, .max_ns = 9000000, .max_bytes = 4096 } } };
	struct observation nothing = { .total = { .ns = 1000000000 } };
	struct run run;

	sample_run_init(&run);
	o.phases_watched = true;
	o.phases = RUN_PHASES_SEEN;
	o.command_count = 2;
	o.commands[0] = (struct observed_commands){ .of = OBSERVED_WRITE,
		.upto_bytes = 4096,
		.commands = 10,
		.phase_ns = { [RUN_PHASE_DATA] = 500000, [RUN_PHASE_HOST] = 100000 } };
	o.commands[1] = (struct observed_commands){ .of = OBSERVED_FLUSH,
		.upto_bytes = 512,
		.commands = 1,
		.phase_ns = { [RUN_PHASE_STATUS] = 700000 } };
	o.broken_commands = 2;
	check_observation(&run, &o);
	o.phases = RUN_PHASES_DROPPED;
	o.lost = 3;
	check_observation(&run, &o);
	o.traced = false;
	check_observation(&run, &o);
	check_observation(&run, &nothing);
	view_check_all_codes("observe");
}
END_TEST

/* What is said of 1 ms in that phase of such commands: nothing that the bus does not show. */
static void check_phase_words(enum observed_deed of, enum run_phase phase, const char *words)
{
	struct observation o = {
		.total = { .ns = 2000000000, .requests = { 10, 1 }, .bytes = { 40960, 512 } },
		.phases_watched = true,
		.phases = RUN_PHASES_SEEN,
		.command_count = words != NULL,
		.commands = { { .of = of, .upto_bytes = 4096, .commands = 10 } }
	};
	struct error err = { 0 };
	struct run run;
	struct view v;
	bool said = false;

	sample_run_init(&run);
	o.commands[0].phase_ns[phase] = 1000000;
	ck_assert_msg(!observe_view(&v, &run, &o, &err), "%s", err.text);
	for (size_t i = 0; i < v.findings.count; i++) {
		const struct finding *f = &v.findings.list[i];
		bool unseen = !strcmp(f->code->code, "phases-not-shown");

		ck_assert(!unseen || !words);
		said |= words ? strstr(f->sentence, words) != NULL
			      : unseen && strstr(f->sentence, "none of them was seen") != NULL;
	}
	ck_assert_msg(said, "nothing says '%s'", words ? words : "that none was seen");
	view_release(&v);
}

START_TEST(words_of_observed_phases)
{
	check_phase_words(OBSERVED_FLUSH, RUN_PHASE_STATUS, "storing what it held where it stores");
	check_phase_words(OBSERVED_READ, RUN_PHASE_COMMAND, "or the bus slow to bring them");
	check_phase_words(OBSERVED_OTHER, RUN_PHASE_STATUS,
		"other commands: the device's before it answered");
	check_phase_words(OBSERVED_WRITE, RUN_PHASE_STATUS, "or the bus's");
	check_phase_words(OBSERVED_READ, RUN_PHASE_STATUS, NULL);
}
END_TEST

/* Whether the screens of a sweep with such passes say what watching the bus took. */
static bool tells_of_watching(bool watched, bool modelled, uint64_t typical_ns)
{
	struct error err = { 0 };
	bool found = false;
	struct run_pass *pass;
	struct run run;
	struct view v;

	sample_run_init(&run);
	*run.path = 0;
	run.target.modelled = modelled;
	pass = sample_run_add(&run, RUN_READ, RUN_SEQUENTIAL, 4096, 1, 1e6);
	pass->phases_watched = watched;
	pass->lat_p50_ns = typical_ns;
	ck_assert_msg(!sweep_view(&v, &run, &err), "%s", err.text);
	for (size_t i = 0; i < v.section_count; i++)
		found = found || (v.sections[i].note &&
					 strstr(v.sections[i].note, "Watching the bus takes"));
	view_release(&v);
	run_release(&run);
	return found;
}

/* Of short requests on a real bus alone: models cost nothing to watch. */
START_TEST(what_watching_takes)
{
	ck_assert(tells_of_watching(true, false, 900000));
	ck_assert(!tells_of_watching(false, false, 900000));
	ck_assert(!tells_of_watching(true, true, 900000));
	ck_assert(!tells_of_watching(true, false, 4000000));
}
END_TEST

START_TEST(a_record_with_all_that_can_be_odd)
{
	static const char *const endings[] = { "interrupted", "failed" };
	struct run run;

	sample_run_init(&run);
	run.target.modelled = true;
	run.damaged_lines = 2;
	run.end.present = false;
	text_copy(run.target.kind, sizeof run.target.kind, "image");
	text_copy(run.target.not_known, sizeof run.target.not_known, "transfer, unit");
	run.kept.state = RUN_KEPT_SAVING;
	check_sweep(&run);
	run.kept = (struct run_kept){
		.state = RUN_KEPT_SAVED, .saved = "/srv/a.kept", .target = "/dev/sdx", .there = true
	};
	check_sweep(&run);
	for (size_t i = 0; i < 2; i++) {
		sample_run_init(&run);
		text_copy(run.end.status, sizeof run.end.status, endings[i]);
		check_sweep(&run);
	}
	view_check_all_codes("run");
}
END_TEST

Suite *views_suite(void)
{
	Suite *s = suite_create("views");
	TCase *t = tcase_create("views");

	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, values_have_two_forms);
	tcase_add_test(t, strings_of_json);
	tcase_add_test(t, columns_are_as_wide_as_they_must);
	tcase_add_test(t, a_wide_table_goes_on_below);
	tcase_add_test(t, tables_share_a_csv);
	tcase_add_test(t, forms_of_json);
	tcase_add_test(t, a_view_without_verdict_is_none);
	tcase_add_test(t, kinds_are_whole);
	tcase_add_test(t, keys_are_listed_in_fields);
	tcase_add_test(t, what_goes_alike_is_said_once);
	tcase_add_test(t, a_sweep_with_all_that_can_be_odd);
	tcase_add_test(t, places_are_told);
	tcase_add_test(t, rewriting_is_told);
	tcase_add_test(t, an_observation_with_all_that_can_be_odd);
	tcase_add_test(t, words_of_observed_phases);
	tcase_add_test(t, a_record_with_all_that_can_be_odd);
	tcase_add_test(t, what_watching_takes);
	suite_add_tcase(s, t);
	return s;
}
