/* Makes the record of an invented sweep, for tests and for timing on large records:
 *
 *   make_record FILE PASSES_PER_POINT SIZES FIXED_US RATE NOISE SEED [read|write|both] [key=value...]
 *
 * SIZES points 512, 1024, ... with t = FIXED_US + n / RATE (B/s), each pass off by NOISE (0.02: 2 %).
 * Keys: label, kind, transport, link (bits/s), limit (bytes), in_flight, seconds, region (bytes), modelled, flush_ms,
 * shown (0: writes are not shown to be stored), end (status). */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/random.h"
#include "base/text.h"
#include "record/file.h"
#include "record/run.h"

struct recipe {
	const char *path;
	unsigned long passes, sizes;
	double fixed_us, rate, noise, flush_ms;
	struct random random;
	bool directions[2];
	struct run run;
	uint32_t in_flight;
};

static double noise(struct recipe *r)
{
	double u = 1 - random_unit(&r->random), v = random_unit(&r->random);

	return exp(r->noise * sqrt(-2 * log(u)) * cos(2 * M_PI * v));
}

static void take_key(struct recipe *r, const char *pair)
{
	const char *value = strchr(pair, '=');
	size_t n = value ? (size_t)(value - pair) : 0;
	struct run_target *t = &r->run.target;
	double number = value ? strtod(value + 1, NULL) : 0;

#define IS(name) (n == sizeof name - 1 && !memcmp(pair, name, n))
	if (IS("label"))
		text_copy(r->run.head.label, sizeof r->run.head.label, value + 1);
	else if (IS("runkind"))
		text_copy(r->run.head.kind, sizeof r->run.head.kind, value + 1);
	else if (IS("kind"))
		text_copy(t->kind, sizeof t->kind, value + 1);
	else if (IS("transport"))
		text_copy(t->transport, sizeof t->transport, value + 1);
	else if (IS("link"))
		t->link_bits_per_second = (uint64_t)number;
	else if (IS("limit"))
		t->request_limit_bytes = (uint32_t)number;
	else if (IS("in_flight"))
		r->in_flight = (uint32_t)number;
	else if (IS("seconds"))
		r->run.plan.seconds = number;
	else if (IS("region"))
		r->run.plan.region_bytes = (uint64_t)number;
	else if (IS("modelled"))
		t->modelled = number != 0;
	else if (IS("flush_ms"))
		r->flush_ms = number;
	else if (IS("shown")) /* 0: nothing shows when writes are stored */
		r->run.storing.by = number != 0 ? RUN_STORED_FLUSH : RUN_NOT_SHOWN;
	else if (IS("end"))
		text_copy(r->run.end.status, sizeof r->run.end.status, value + 1);
	else {
		fprintf(stderr, "make_record: no key '%s'\n", pair);
		exit(2);
	}
}

static void fill_defaults(struct recipe *r)
{
	struct run_target *t = &r->run.target;

	text_copy(r->run.head.kind, sizeof r->run.head.kind, "sweep");
	text_copy(t->kind, sizeof t->kind, "device");
	text_copy(t->transport, sizeof t->transport, "usb");
	text_copy(t->model, sizeof t->model, "invented stick");
	text_copy(t->cache, sizeof t->cache, "write through");
	text_copy(r->run.end.status, sizeof r->run.end.status, "complete");
	t->size_bytes = 64000000;
	t->logical_block_bytes = t->physical_block_bytes = 512;
	t->request_limit_bytes = 122880;
	t->link_bits_per_second = 12000000;
	r->run.plan.region_bytes = 64000000;
	r->run.plan.seconds = 1;
	r->run.storing = (struct run_storing){ .by = RUN_STORED_FLUSH,
		.flusher = "kernel",
		.burst_bytes = 8 << 20,
		.burst_ns = UINT64_C(8000000000),
		.free_bytes = 8 << 20 };
	r->in_flight = 1;
}

static void fill_pass(struct recipe *r, struct run_pass *p)
{
	double pieces = ceil((double)p->request_bytes / r->run.target.request_limit_bytes);
	double each_ns = pieces * r->fixed_us * 1e3 + (double)p->request_bytes / r->rate * 1e9;

	each_ns *= noise(r);
	p->requests = (uint64_t)fmax(1, r->run.plan.seconds * 1e9 / each_ns);
	p->bytes = p->requests * p->request_bytes;
	p->busy_ns = (uint64_t)((double)p->requests * each_ns);
	if (p->direction == RUN_WRITE) {
		p->flush_ns = (uint64_t)(r->flush_ms * 1e6);
		p->stored_by = r->run.storing.by;
		p->stored_ns = p->stored_by ? p->busy_ns + p->flush_ns : 0;
	}
	p->lat_min_ns = (uint64_t)(each_ns * 0.98);
	p->lat_p50_ns = (uint64_t)each_ns;
	p->lat_p90_ns = (uint64_t)(each_ns * 1.05);
	p->lat_p99_ns = (uint64_t)(each_ns * 1.2 * noise(r));
	p->lat_max_ns = p->lat_p99_ns * 2;
	p->device_known = true;
	p->device_requests = (uint64_t)(pieces * (double)p->requests);
	p->device_bytes = p->bytes;
}

static int write_passes(struct recipe *r, struct record_writer *w, struct error *err)
{
	uint64_t at = 0;

	for (uint32_t pass = 1; pass <= r->passes; pass++) {
		for (unsigned i = 0; i < r->sizes * 2; i++) {
			struct run_pass p = { .direction = i % 2 ? RUN_WRITE : RUN_READ,
				.request_bytes = UINT64_C(512) << (i / 2),
				.in_flight = r->in_flight,
				.pass = pass,
				.at_ns = at };

			if (!r->directions[p.direction])
				continue;
			fill_pass(r, &p);
			at += p.busy_ns + p.flush_ns;
			if (run_write_pass(w, &p, err) < 0)
				return -1;
		}
	}
	return 0;
}

static int write_record(struct recipe *r, struct error *err)
{
	struct record_writer w;
	int rc;

	if (record_create(&w, r->path, "run", err) < 0)
		return -1;
	run_head_complete(&r->run.head);
	rc = run_write_head(&w, &r->run.head, err);
	rc = rc ? rc : run_write_target(&w, &r->run.target, err);
	rc = rc ? rc : run_write_plan(&w, &r->run.plan, err);
	if (r->directions[RUN_WRITE])
		rc = rc ? rc : run_write_storing(&w, &r->run.storing, err);
	rc = rc ? rc : write_passes(r, &w, err);
	rc = rc ? rc : run_write_end(&w, &r->run.end, err);
	return record_close(&w, rc ? NULL : err) < 0 ? -1 : rc;
}

int main(int argc, char **argv)
{
	struct recipe r = { 0 };
	struct error err = { 0 };

	if (argc < 9) {
		fprintf(stderr, "usage: make_record FILE PASSES SIZES FIXED_US RATE NOISE SEED "
				"read|write|both [key=value...]\n");
		return 2;
	}
	fill_defaults(&r);
	r.path = argv[1];
	r.passes = strtoul(argv[2], NULL, 10);
	r.sizes = strtoul(argv[3], NULL, 10);
	r.fixed_us = strtod(argv[4], NULL);
	r.rate = strtod(argv[5], NULL);
	r.noise = strtod(argv[6], NULL);
	r.random.state = r.run.head.seed = strtoull(argv[7], NULL, 10);
	r.directions[RUN_READ] = strcmp(argv[8], "write") != 0;
	r.directions[RUN_WRITE] = strcmp(argv[8], "read") != 0;
	for (int i = 9; i < argc; i++)
		take_key(&r, argv[i]);
	r.run.plan.passes = (uint32_t)r.passes;
	r.run.plan.in_flight = r.in_flight;
	if (write_record(&r, &err) == 0)
		return 0;
	fprintf(stderr, "make_record: %s\n", err.text);
	return 3;
}
