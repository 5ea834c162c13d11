/* Runs as lines of a record, both ways. */
#include "record/run.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <sys/utsname.h>
#include <time.h>
#include <unistd.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "record/file.h"

double run_pass_rate_acknowledged(const struct run_pass *p)
{
	return p->busy_ns ? (double)p->bytes * 1e9 / (double)p->busy_ns : 0;
}

double run_pass_rate_stored(const struct run_pass *p)
{
	uint64_t ns = p->busy_ns + p->flush_ns;

	return ns ? (double)p->bytes * 1e9 / (double)ns : 0;
}

const char *run_direction_name(enum run_direction d)
{
	return d == RUN_READ ? "read" : "write";
}

const char *run_order_name(enum run_order o)
{
	return o == RUN_SEQUENTIAL ? "sequential" : "random";
}

static const struct {
	uint32_t flag;
	const char *name;
} pass_flags[] = {
	{ RUN_PASS_FOREIGN_IO, "foreign-io" },
	{ RUN_PASS_SPLIT, "split" },
	{ RUN_PASS_MERGED, "merged" },
	{ RUN_PASS_WRAPPED, "wrapped" },
	{ RUN_PASS_SHORT, "short" },
	{ RUN_PASS_ERRORS, "errors" },
	{ RUN_PASS_CUT, "cut" },
	{ RUN_PASS_TAIL, "tail" },
	{ RUN_PASS_RESETS, "resets" },
};

enum { PASS_FLAGS = sizeof pass_flags / sizeof *pass_flags };

void run_pass_flags_format(char *out, size_t room, uint32_t flags)
{
	size_t n = 0;

	out[0] = 0;
	for (size_t i = 0; i < PASS_FLAGS; i++) {
		if (flags & pass_flags[i].flag && n < room)
			n += (size_t)snprintf(
				out + n, room - n, "%s%s", n ? "+" : "", pass_flags[i].name);
	}
}

static uint32_t pass_flags_parse(const char *text)
{
	uint32_t flags = 0;

	while (*text) {
		size_t n = strcspn(text, "+");

		for (size_t i = 0; i < PASS_FLAGS; i++)
			if (strlen(pass_flags[i].name) == n && !memcmp(pass_flags[i].name, text, n))
				flags |= pass_flags[i].flag;
		text += n + (text[n] == '+');
	}
	return flags;
}

void run_head_complete(struct run_head *h)
{
	struct utsname u;
	struct tm tm;
	time_t now = time(NULL);
	uint32_t unique = 0;
	char stamp[24];

	gmtime_r(&now, &tm);
	if (!*h->started)
		strftime(h->started, sizeof h->started, "%Y-%m-%dT%H:%M:%SZ", &tm);
	if (!*h->id) {
		strftime(stamp, sizeof stamp, "%Y%m%dT%H%M%SZ", &tm);
		if (getrandom(&unique, sizeof unique, GRND_NONBLOCK) != (ssize_t)sizeof unique)
			unique = (uint32_t)getpid();
		snprintf(h->id, sizeof h->id, "%s-%08x", stamp, unique);
	}
	if (!*h->tool)
		text_copy(h->tool, sizeof h->tool, BLKASSAY_VERSION);
	if (!*h->kernel && uname(&u) == 0)
		snprintf(h->kernel, sizeof h->kernel, "%.48s %.32s", u.release, u.machine);
	if (!h->cpus) {
		long n = sysconf(_SC_NPROCESSORS_ONLN);

		h->cpus = n > 0 ? (uint32_t)n : 0;
	}
}

int run_write_head(struct record_writer *w, const struct run_head *h, struct error *err)
{
	record_begin(w, "run");
	line_put_text(&w->line, "id", h->id);
	line_put_text(&w->line, "kind", h->kind);
	line_put_text(&w->line, "tool", h->tool);
	line_put_text(&w->line, "started", h->started);
	line_put_text(&w->line, "label", h->label);
	line_put_u64(&w->line, "seed", h->seed);
	line_put_text(&w->line, "kernel", h->kernel);
	line_put_u64(&w->line, "cpus", h->cpus);
	line_put_text(&w->line, "command", h->command);
	return record_commit(w, false, err);
}

int run_write_target(struct record_writer *w, const struct run_target *t, struct error *err)
{
	record_begin(w, "target");
	line_put_text(&w->line, "kind", t->kind);
	line_put_text(&w->line, "path", t->path);
	line_put_text(&w->line, "name", t->name);
	line_put_text(&w->line, "vendor", t->vendor);
	line_put_text(&w->line, "model", t->model);
	line_put_text(&w->line, "serial", t->serial);
	line_put_text(&w->line, "transport", t->transport);
	line_put_text(&w->line, "token", t->token);
	line_put_u64(&w->line, "size_bytes", t->size_bytes);
	line_put_u64(&w->line, "logical_block_bytes", t->logical_block_bytes);
	line_put_u64(&w->line, "physical_block_bytes", t->physical_block_bytes);
	line_put_u64(&w->line, "request_limit_bytes", t->request_limit_bytes);
	line_put_u64(&w->line, "link_bits_per_second", t->link_bits_per_second);
	line_put_text(&w->line, "cache", t->cache);
	line_put_u64(&w->line, "fua", t->fua);
	line_put_u64(&w->line, "removable", t->removable);
	line_put_u64(&w->line, "read_only", t->read_only);
	line_put_u64(&w->line, "modelled", t->modelled);
	line_put_u64(&w->line, "disk_sequence", t->disk_sequence);
	return record_commit(w, false, err);
}

int run_write_plan(struct record_writer *w, const struct run_plan *p, struct error *err)
{
	record_begin(w, "plan");
	line_put_u64(&w->line, "region_start", p->region_start);
	line_put_u64(&w->line, "region_bytes", p->region_bytes);
	text_adds(&w->line, " sizes=");
	for (uint32_t i = 0; i < p->size_count; i++)
		text_addf(&w->line, "%s%llu", i ? "," : "", (unsigned long long)p->sizes[i]);
	line_put_u64(&w->line, "read", p->directions[RUN_READ]);
	line_put_u64(&w->line, "write", p->directions[RUN_WRITE]);
	line_put_u64(&w->line, "sequential", p->orders[RUN_SEQUENTIAL]);
	line_put_u64(&w->line, "random", p->orders[RUN_RANDOM]);
	line_put_u64(&w->line, "in_flight", p->in_flight);
	line_put_double(&w->line, "seconds", p->seconds);
	line_put_u64(&w->line, "passes", p->passes);
	line_put_u64(&w->line, "kept_data", p->kept_data);
	return record_commit(w, true, err);
}

int run_write_pass(struct record_writer *w, const struct run_pass *p, struct error *err)
{
	char flags[160];

	run_pass_flags_format(flags, sizeof flags, p->flags);
	record_begin(w, "pass");
	line_put_text(&w->line, "direction", run_direction_name(p->direction));
	line_put_text(&w->line, "order", run_order_name(p->order));
	line_put_u64(&w->line, "request_bytes", p->request_bytes);
	line_put_u64(&w->line, "in_flight", p->in_flight);
	line_put_u64(&w->line, "pass", p->pass);
	line_put_u64(&w->line, "at_ns", p->at_ns);
	line_put_u64(&w->line, "bytes", p->bytes);
	line_put_u64(&w->line, "requests", p->requests);
	if (p->device_known) {
		line_put_u64(&w->line, "device_requests", p->device_requests);
		line_put_u64(&w->line, "device_bytes", p->device_bytes);
		line_put_u64(&w->line, "device_flushes", p->device_flushes);
	}
	line_put_u64(&w->line, "busy_ns", p->busy_ns);
	line_put_u64(&w->line, "flush_ns", p->flush_ns);
	line_put_u64(&w->line, "lat_min_ns", p->lat_min_ns);
	line_put_u64(&w->line, "lat_p50_ns", p->lat_p50_ns);
	line_put_u64(&w->line, "lat_p90_ns", p->lat_p90_ns);
	line_put_u64(&w->line, "lat_p99_ns", p->lat_p99_ns);
	line_put_u64(&w->line, "lat_max_ns", p->lat_max_ns);
	line_put_u64(&w->line, "errors", p->errors);
	if (p->device_errors)
		line_put_u64(&w->line, "device_errors", p->device_errors);
	line_put_text(&w->line, "flags", flags);
	/* Synced: a finished pass survives whatever the target does to this machine next. */
	return record_commit(w, true, err);
}

int run_write_histogram(struct record_writer *w, uint64_t index, const uint64_t *bin_ns,
	const uint64_t *count, size_t bins, struct error *err)
{
	record_begin(w, "hist");
	line_put_u64(&w->line, "pass_index", index);
	text_adds(&w->line, " bins=");
	for (size_t i = 0; i < bins; i++)
		text_addf(&w->line, "%s%llu:%llu", i ? "," : "", (unsigned long long)bin_ns[i],
			(unsigned long long)count[i]);
	return record_commit(w, false, err);
}

int run_write_trace(struct record_writer *w, uint64_t index, uint64_t step_ns,
	const uint64_t *bytes, size_t steps, struct error *err)
{
	record_begin(w, "trace");
	line_put_u64(&w->line, "pass_index", index);
	line_put_u64(&w->line, "step_ns", step_ns);
	text_adds(&w->line, " bytes=");
	for (size_t i = 0; i < steps; i++)
		text_addf(&w->line, "%s%llu", i ? "," : "", (unsigned long long)bytes[i]);
	return record_commit(w, false, err);
}

int run_write_end(struct record_writer *w, const struct run_end *e, struct error *err)
{
	record_begin(w, "end");
	line_put_text(&w->line, "status", e->status);
	line_put_i64(&w->line, "exit_status", e->exit_status);
	line_put_text(&w->line, "reason", e->reason);
	record_put_holds(w);
	return record_commit(w, true, err);
}

/* ---- reading ---- */

#define GET_TEXT(l, s, field) line_get_text(l, #field, (s)->field, sizeof(s)->field)
#define GET_U64(l, s, field) line_get_u64(l, #field, &(s)->field)

static void get_u32(const struct line *l, const char *key, uint32_t *out)
{
	uint64_t n;

	if (line_get_u64(l, key, &n) && n <= UINT32_MAX)
		*out = (uint32_t)n;
}

static void get_bool(const struct line *l, const char *key, bool *out)
{
	uint64_t n;

	if (line_get_u64(l, key, &n))
		*out = n != 0;
}

static void take_head(struct run_head *h, const struct line *l)
{
	GET_TEXT(l, h, id);
	GET_TEXT(l, h, kind);
	GET_TEXT(l, h, tool);
	GET_TEXT(l, h, started);
	GET_TEXT(l, h, label);
	GET_TEXT(l, h, command);
	GET_TEXT(l, h, kernel);
	GET_U64(l, h, seed);
	get_u32(l, "cpus", &h->cpus);
}

static void take_target(struct run_target *t, const struct line *l)
{
	GET_TEXT(l, t, kind);
	GET_TEXT(l, t, path);
	GET_TEXT(l, t, name);
	GET_TEXT(l, t, vendor);
	GET_TEXT(l, t, model);
	GET_TEXT(l, t, serial);
	GET_TEXT(l, t, transport);
	GET_TEXT(l, t, token);
	GET_TEXT(l, t, cache);
	GET_U64(l, t, size_bytes);
	GET_U64(l, t, link_bits_per_second);
	GET_U64(l, t, disk_sequence);
	get_u32(l, "logical_block_bytes", &t->logical_block_bytes);
	get_u32(l, "physical_block_bytes", &t->physical_block_bytes);
	get_u32(l, "request_limit_bytes", &t->request_limit_bytes);
	get_bool(l, "fua", &t->fua);
	get_bool(l, "removable", &t->removable);
	get_bool(l, "read_only", &t->read_only);
	get_bool(l, "modelled", &t->modelled);
}

static void take_sizes(struct run_plan *p, const char *list)
{
	p->size_count = 0;
	while (list && *list && p->size_count < RUN_SIZES_MAX) {
		char one[24];
		size_t n = strcspn(list, ",");

		if (n >= sizeof one)
			return;
		memcpy(one, list, n);
		one[n] = 0;
		if (number_parse_u64(one, &p->sizes[p->size_count]) < 0)
			return;
		p->size_count++;
		list += n + (list[n] == ',');
	}
}

static void take_plan(struct run_plan *p, const struct line *l)
{
	GET_U64(l, p, region_start);
	GET_U64(l, p, region_bytes);
	take_sizes(p, line_get_raw(l, "sizes"));
	get_bool(l, "read", &p->directions[RUN_READ]);
	get_bool(l, "write", &p->directions[RUN_WRITE]);
	get_bool(l, "sequential", &p->orders[RUN_SEQUENTIAL]);
	get_bool(l, "random", &p->orders[RUN_RANDOM]);
	get_u32(l, "in_flight", &p->in_flight);
	line_get_double(l, "seconds", &p->seconds);
	get_u32(l, "passes", &p->passes);
	get_bool(l, "kept_data", &p->kept_data);
}

static struct run_pass *grow_passes(struct run *r)
{
	/* Doubling at powers of two: the count itself tells when the room is used up. */
	if (r->pass_count == 0 || number_is_power_of_two(r->pass_count)) {
		size_t room = r->pass_count ? r->pass_count * 2 : 1;
		struct run_pass *grown = reallocarray(r->passes, room, sizeof *grown);

		if (!grown)
			return NULL;
		r->passes = grown;
	}
	return &r->passes[r->pass_count++];
}

static void take_device_counts(struct run_pass *p, const struct line *l)
{
	p->device_known = GET_U64(l, p, device_requests);
	GET_U64(l, p, device_bytes);
	GET_U64(l, p, device_flushes);
	GET_U64(l, p, device_errors);
}

static int take_pass(struct run *r, const struct line *l, struct error *err)
{
	struct run_pass *p = grow_passes(r);
	char word[160];

	if (!p)
		return error_set(err, ERROR_IO, "out of memory for the passes of '%s'", r->path);
	*p = (struct run_pass){ 0 };
	if (line_get_text(l, "direction", word, sizeof word) && !strcmp(word, "write"))
		p->direction = RUN_WRITE;
	if (line_get_text(l, "order", word, sizeof word) && !strcmp(word, "random"))
		p->order = RUN_RANDOM;
	GET_U64(l, p, request_bytes);
	get_u32(l, "in_flight", &p->in_flight);
	get_u32(l, "pass", &p->pass);
	GET_U64(l, p, at_ns);
	GET_U64(l, p, bytes);
	GET_U64(l, p, requests);
	take_device_counts(p, l);
	GET_U64(l, p, busy_ns);
	GET_U64(l, p, flush_ns);
	GET_U64(l, p, lat_min_ns);
	GET_U64(l, p, lat_p50_ns);
	GET_U64(l, p, lat_p90_ns);
	GET_U64(l, p, lat_p99_ns);
	GET_U64(l, p, lat_max_ns);
	GET_U64(l, p, errors);
	if (line_get_text(l, "flags", word, sizeof word))
		p->flags = pass_flags_parse(word);
	return 0;
}

static void take_end(struct run_end *e, const struct line *l)
{
	int64_t status = 0;

	e->present = true;
	GET_TEXT(l, e, status);
	GET_TEXT(l, e, reason);
	line_get_i64(l, "exit_status", &status);
	e->exit_status = (int)status;
}

bool run_take_line(struct run *r, const struct line *line, struct error *err)
{
	if (!strcmp(line->kind, "pass"))
		return take_pass(r, line, err) == 0;
	if (!strcmp(line->kind, "run"))
		take_head(&r->head, line);
	else if (!strcmp(line->kind, "target"))
		take_target(&r->target, line);
	else if (!strcmp(line->kind, "plan"))
		take_plan(&r->plan, line);
	else if (!strcmp(line->kind, "end"))
		take_end(&r->end, line);
	else
		return false;
	return true;
}

void run_note_reader(struct run *r, const struct record_reader *reader)
{
	r->damaged_lines = reader->damaged;
	text_copy(r->lacks, sizeof r->lacks, reader->lacks);
	r->cut = reader->cut || !r->end.present;
}

bool run_damage_words(char out[RUN_DAMAGE_MAX], const struct run *r)
{
	bool one = r->damaged_lines == 1;

	out[0] = 0;
	if (!r->damaged_lines)
		return false;
	snprintf(out, RUN_DAMAGE_MAX, "%llu line%s of the record %s damaged or missing%s%s%s",
		(unsigned long long)r->damaged_lines, one ? "" : "s", one ? "is" : "are",
		*r->lacks ? " (" : "", r->lacks, *r->lacks ? ")" : "");
	return true;
}

int run_load(struct run *r, const char *path, struct error *err)
{
	struct record_reader reader;
	struct error line_error = { 0 };
	struct line line;
	int rc;

	*r = (struct run){ 0 };
	text_copy(r->path, sizeof r->path, path);
	if (record_open(&reader, path, err) < 0)
		return -1;
	while ((rc = record_next(&reader, &line, err)) > 0) {
		run_take_line(r, &line, &line_error);
		if (line_error.kind != ERROR_NONE) {
			if (err)
				*err = line_error;
			rc = -1;
			break;
		}
	}
	run_note_reader(r, &reader);
	record_reader_release(&reader);
	if (rc == 0 && !*r->head.kind)
		rc = error_set(err, ERROR_USAGE,
			"'%s' holds no run: it was cut before the run began", path);
	if (rc < 0)
		run_release(r);
	return rc;
}

void run_release(struct run *r)
{
	free(r->passes);
	r->passes = NULL;
	r->pass_count = 0;
}

/* "a:b,a:b,..." or "a,a,..." into arrays; how many there were, at most room. */
static size_t take_pairs(const char *list, uint64_t *a, uint64_t *b, size_t room)
{
	size_t n = 0;

	while (list && *list && n < room) {
		char *end;

		a[n] = strtoull(list, &end, 10);
		if (b && *end == ':')
			b[n] = strtoull(end + 1, &end, 10);
		if (end == list || (*end && *end != ','))
			break;
		n++;
		list = end + (*end == ',');
	}
	return n;
}

enum { DETAIL_MAX = 65536 };

static void visit_line(
	const struct run_histogram_visitor *v, const struct line *l, uint64_t *a, uint64_t *b)
{
	uint64_t index, step;

	if (!line_get_u64(l, "pass_index", &index))
		return;
	if (!strcmp(l->kind, "hist") && v->histogram)
		v->histogram(v->context, index, a, b,
			take_pairs(line_get_raw(l, "bins"), a, b, DETAIL_MAX));
	else if (!strcmp(l->kind, "trace") && v->trace && line_get_u64(l, "step_ns", &step) && step)
		v->trace(v->context, index, step, a,
			take_pairs(line_get_raw(l, "bytes"), a, NULL, DETAIL_MAX));
}

int run_visit_details(
	const char *path, const struct run_histogram_visitor *visit, struct error *err)
{
	uint64_t *a = calloc(DETAIL_MAX, 2 * sizeof *a);
	struct record_reader reader;
	struct line line;
	int rc;

	if (!a)
		return error_set(err, ERROR_IO, "out of memory");
	if (record_open(&reader, path, err) < 0) {
		free(a);
		return -1;
	}
	while ((rc = record_next(&reader, &line, err)) > 0)
		visit_line(visit, &line, a, a + DETAIL_MAX);
	record_reader_release(&reader);
	free(a);
	return rc;
}
