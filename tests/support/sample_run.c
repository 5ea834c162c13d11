#include "support/sample_run.h"

#include <check.h>
#include <stdlib.h>

#include "base/error.h"
#include "base/text.h"
#include "record/file.h"

void sample_run_init(struct run *r)
{
	*r = (struct run){ .head = { .seed = 42, .cpus = 2 } };
	text_copy(r->head.id, sizeof r->head.id, "20261125T021500Z-1f3a9c07");
	text_copy(r->head.kind, sizeof r->head.kind, "sweep");
	text_copy(r->head.tool, sizeof r->head.tool, "0.1.0");
	text_copy(r->head.started, sizeof r->head.started, "2026-11-25T02:15:00Z");
	text_copy(r->head.label, sizeof r->head.label, "behind-r14");
	text_copy(r->head.kernel, sizeof r->head.kernel, "6.1.0 x86_64");
	text_copy(r->head.command, sizeof r->head.command, "blkassay sweep /dev/sdq");
	text_copy(r->path, sizeof r->path, "sample.assay");
	r->target = (struct run_target){ .size_bytes = 7948206080,
		.logical_block_bytes = 512,
		.physical_block_bytes = 512,
		.request_limit_bytes = 122880,
		.link_bits_per_second = 12000000,
		.removable = true };
	text_copy(r->target.kind, sizeof r->target.kind, "device");
	text_copy(r->target.path, sizeof r->target.path, "/dev/sdq");
	text_copy(r->target.name, sizeof r->target.name, "sdq");
	text_copy(r->target.vendor, sizeof r->target.vendor, "Bench");
	text_copy(r->target.model, sizeof r->target.model, "Card Gadget");
	text_copy(r->target.serial, sizeof r->target.serial, "00A1F7");
	text_copy(r->target.transport, sizeof r->target.transport, "usb");
	text_copy(r->target.token, sizeof r->target.token, "00A1F7-7948206080");
	text_copy(r->target.cache, sizeof r->target.cache, "write back");
	r->plan = (struct run_plan){ .region_bytes = 64 << 20,
		.sizes = { 512, 4096 },
		.size_count = 2,
		.directions = { true, true },
		.orders = { true, true },
		.in_flight = 1,
		.seconds = 1,
		.passes = 5 };
	r->storing = (struct run_storing){ .present = true,
		.by = RUN_STORED_FLUSH,
		.flusher = "kernel",
		.idle_flush_ns = 1000000,
		.usual_read_ns = 2000000,
		.request_bytes = 65536,
		.burst_bytes = 8 << 20,
		.burst_ns = UINT64_C(8000000000),
		.burst_flush_ns = 500000000,
		.free_bytes = 8 << 20 };
	r->end.present = true;
	text_copy(r->end.status, sizeof r->end.status, "complete");
}

struct run_pass *sample_run_add(struct run *r, enum run_direction direction, enum run_order order,
	uint64_t request_bytes, uint32_t pass, double rate_bps)
{
	struct run_pass *grown = reallocarray(r->passes, r->pass_count + 1, sizeof *grown);
	struct run_pass *p;
	uint64_t requests = (uint64_t)(rate_bps / (double)request_bytes) + 1, each;

	ck_assert_ptr_nonnull(grown);
	r->passes = grown;
	p = &grown[r->pass_count++];
	*p = (struct run_pass){ .direction = direction,
		.order = order,
		.request_bytes = request_bytes,
		.in_flight = 1,
		.pass = pass,
		.at_ns = r->pass_count * UINT64_C(1100000000),
		.bytes = requests * request_bytes,
		.requests = requests,
		.device_known = true,
		.device_requests = requests,
		.device_bytes = requests * request_bytes };
	p->busy_ns = (uint64_t)((double)p->bytes * 1e9 / rate_bps);
	if (direction == RUN_WRITE) {
		p->stored_by = RUN_STORED_FLUSH;
		p->stored_ns = p->busy_ns;
	}
	each = p->busy_ns / requests;
	p->lat_min_ns = p->lat_p50_ns = p->lat_p90_ns = p->lat_p99_ns = p->lat_max_ns = each;
	return p;
}

static void write_details(struct record_writer *w, const struct run_pass *p, uint64_t index)
{
	struct error err = { 0 };
	uint64_t bins[3] = { p->lat_p50_ns, p->lat_p99_ns + 1, p->lat_max_ns + 2 };
	uint64_t counts[3] = { p->requests - p->requests / 50 - 1, p->requests / 50, 1 };
	uint64_t steps[10];

	for (size_t i = 0; i < 10; i++)
		steps[i] = p->bytes / 10;
	ck_assert_int_eq(run_write_histogram(w, index, bins, counts, 3, &err), 0);
	ck_assert_int_eq(run_write_trace(w, index, p->busy_ns / 10, steps, 10, &err), 0);
}

void sample_run_write(const struct run *r, const char *path)
{
	struct record_writer w;
	struct error err = { 0 };

	ck_assert_msg(!record_create(&w, path, r->head.kind, &err), "%s", err.text);
	ck_assert_int_eq(run_write_head(&w, &r->head, &err), 0);
	ck_assert_int_eq(run_write_target(&w, &r->target, &err), 0);
	ck_assert_int_eq(run_write_plan(&w, &r->plan, &err), 0);
	if (r->storing.present)
		ck_assert_int_eq(run_write_storing(&w, &r->storing, &err), 0);
	for (size_t i = 0; i < r->pass_count; i++) {
		ck_assert_int_eq(run_write_pass(&w, &r->passes[i], &err), 0);
		write_details(&w, &r->passes[i], i);
	}
	if (r->end.present)
		ck_assert_int_eq(run_write_end(&w, &r->end, &err), 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
}
