/* What every view of a run says of the run itself. */
#include "findings/facts.h"
#include "findings/link.h"
#include "findings/view.h"
#include "record/run.h"

#define RUN(function, expression) COLUMN_VALUE(function, struct run, r, expression)

RUN(id, value_text(r->head.id))
RUN(label, value_text(r->head.label))
RUN(modelled, value_flag(r->target.modelled))
RUN(not_known, value_text(r->target.not_known))
RUN(path, value_text(r->path))
RUN(status, r->end.present ? value_text(r->end.status) : value_unknown())
RUN(reason, value_text(r->end.reason))
RUN(damaged_lines, value_count(r->damaged_lines))
RUN(started, value_text(r->head.started))
RUN(command, value_text(r->head.command))
RUN(tool, value_text(r->head.tool))
RUN(kernel, value_text(r->head.kernel))
RUN(cpus, value_if(r->head.cpus, value_count(r->head.cpus)))
RUN(seed, value_count(r->head.seed))
RUN(target_kind, value_text(r->target.kind))
RUN(target_path, value_text(r->target.path))
RUN(target_token, value_text(r->target.token))
RUN(vendor, value_text(r->target.vendor))
RUN(model, value_text(r->target.model))
RUN(revision, value_text(r->target.revision))
RUN(usb_release, value_text(r->target.usb_release))
RUN(serial, value_text(r->target.serial))
RUN(size, value_if(r->target.size_bytes, value_bytes_decimal(r->target.size_bytes)))
RUN(logical, value_if(r->target.logical_block_bytes, value_bytes(r->target.logical_block_bytes)))
RUN(physical, value_if(r->target.physical_block_bytes, value_bytes(r->target.physical_block_bytes)))
RUN(limit, value_if(r->target.request_limit_bytes, value_bytes(r->target.request_limit_bytes)))
RUN(transport, value_text(r->target.transport))
RUN(link_bits,
	value_if(r->target.link_bits_per_second, value_count(r->target.link_bits_per_second)))
RUN(cache, value_text(r->target.cache))
RUN(fua, value_flag(r->target.fua))
RUN(removable, value_flag(r->target.removable))

static struct value ceiling(const void *row)
{
	const struct run_target *g = &((const struct run *)row)->target;
	double bps = link_ceiling_bps(g->transport, g->link_bits_per_second);

	return value_if(bps > 0, value_rate(bps));
}

static const struct column columns[] = {
	{ .key = "id", .meaning = "identity of the run", .value = id },
	{ .key = "label", .meaning = "what was tested, as named with --label", .value = label },
	{ .key = "modelled",
		.meaning = "the target is a gadget model: nothing was measured",
		.value = modelled },
	{ .key = "model_not_known",
		.meaning =
			"what the model was made without knowing, with commas between; null: its "
			"description says nothing of that",
		.value = not_known },
	{ .key = "record", .meaning = "the file", .value = path },
	{ .key = "status",
		.meaning = "complete, interrupted or failed; null: the record has no end",
		.value = status },
	{ .key = "reason", .meaning = "why it failed", .value = reason },
	{ .key = "damaged_lines",
		.meaning = "lines of the record that were left out",
		.value = damaged_lines },
	{ .key = "started", .meaning = "UTC, as in ISO 8601", .value = started },
	{ .key = "command", .meaning = "the command line", .value = command },
	{ .key = "tool_version", .meaning = "version of blkassay that ran it", .value = tool },
	{ .key = "kernel", .meaning = "release and machine", .value = kernel },
	{ .key = "cpus", .meaning = "processors of the host", .value = cpus },
	{ .key = "seed", .meaning = "seed of the run, up to 2^64 - 1", .value = seed },
	{ .key = "target_kind", .meaning = "device, image or model", .value = target_kind },
	{ .key = "target_path", .meaning = "its path then", .value = target_path },
	{ .key = "target_token", .meaning = "its consent token", .value = target_token },
	{ .key = "target_vendor", .meaning = "as the device says", .value = vendor },
	{ .key = "target_model", .meaning = "as the device says", .value = model },
	{ .key = "target_revision",
		.meaning = "of the firmware, as it calls itself in INQUIRY data or its like",
		.value = revision },
	{ .key = "target_usb_release",
		.meaning = "bcdDevice of the USB device descriptor",
		.value = usb_release },
	{ .key = "target_serial", .meaning = "as the device says", .value = serial },
	{ .key = "target_size_bytes", .meaning = "its capacity", .value = size },
	{ .key = "logical_block_bytes", .meaning = "of the target", .value = logical },
	{ .key = "physical_block_bytes", .meaning = "of the target", .value = physical },
	{ .key = "request_limit_bytes",
		.meaning = "the kernel splits larger requests",
		.value = limit },
	{ .key = "transport", .meaning = "usb, mmc, ...; model or file", .value = transport },
	{ .key = "link_bits_per_second", .meaning = "signalling rate", .value = link_bits },
	{ .key = "link_ceiling_bytes_per_second",
		.meaning = "the most that such a link can carry",
		.value = ceiling },
	{ .key = "cache", .meaning = "write back, write through or unknown", .value = cache },
	{ .key = "fua", .meaning = "whether the kernel would ask for it", .value = fua },
	{ .key = "removable", .meaning = "as the kernel sees it", .value = removable },
};

const struct table_spec view_run_spec = { .key = "run",
	.meaning = "the run that was looked at",
	.json = JSON_OBJECT,
	.row_bytes = sizeof(struct run),
	TABLE_COLUMNS(columns) };

const struct table_spec view_runs_spec = { .key = "runs",
	.meaning = "the runs that were set against each other",
	.row_bytes = sizeof(struct run),
	TABLE_COLUMNS(columns) };

void view_of_run(struct view *v, const struct run *run)
{
	const struct run_target *g = &run->target;

	v->runs = (struct table){ &view_run_spec, run, 1 };
	v->title = pool_printf(&v->pool, "%s", *run->head.label ? run->head.label : g->name);
	v->subtitle = pool_printf(&v->pool, "%s of %s, %s", run->head.kind,
		*g->model ? g->model : g->path, run->head.started);
	v->head = pool_printf(&v->pool, "Run %s", run->head.id);
	facts_add(v, run);
}
