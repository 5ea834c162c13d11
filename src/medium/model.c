/* model:FILE as a target: what the host's kernel does on top of a modelled gadget. */
#include "medium/model.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "medium/command_times.h"
#include "medium/identity.h"
#include "medium/model_bulk.h"
#include "medium/model_gadget.h"
#include "medium/model_spec.h"
#include "medium/scsi.h"

static const char prefix[] = "model:";

enum { DID_TIME_OUT = 3, DID_ERROR = 7 }; /* Linux include/scsi/scsi_status.h */
enum { KERNEL_TRIES = 6 }; /* of a read, write or flush: Linux drivers/scsi/sd.h, SD_MAX_RETRIES */
static const double flush_patience_ns =
	60e9; /* for each: Linux sd.h, SD_TIMEOUT and SD_FLUSH_TIMEOUT_MULTIPLIER */

struct model {
	struct medium medium;
	struct model_gadget gadget;
	struct model_bulk bulk;
	struct medium_counts counts;
	enum medium_access access;
	struct command_watch watch; /* command NULL: nobody */
	double ended_ns; /* when the last command was over */
	bool refuses; /* the host saw a unit attention: no block I/O before it has looked (Linux sd.c) */
};

static struct model *model_of(struct medium *m)
{
	return (struct model *)m;
}

/* What of [at, at+len) the kernel passes on; 0 or -EINVAL for what it refuses. */
static int clip(const struct medium *m, uint64_t at, size_t *len)
{
	uint32_t block = m->traits.logical_block_bytes;

	if (at % block || *len % block)
		return -EINVAL;
	if (at >= m->traits.size_bytes)
		*len = 0;
	else if (*len > m->traits.size_bytes - at)
		*len = (size_t)(m->traits.size_bytes - at);
	return 0;
}

/* A unit attention on its way to block I/O: the host notes that the medium may have changed, and fails the request; a reset it
 * takes for none, and repeats (Linux scsi_io_completion_action, scsi_check_sense). */
static int meet_attention(struct model *k)
{
	struct model_gadget *g = &k->gadget;

	k->counts.errors += g->was_reset + g->attention;
	k->refuses |= g->attention;
	g->was_reset = g->attention = false;
	return k->refuses ? -EIO : 0;
}

/* No medium, no I/O. A deferred error ends the command it meets, which the kernel then just repeats: block I/O never sees it
 * (SPC-4 on deferred errors; Linux scsi_check_sense). */
static int before_command(struct model *k)
{
	int rc = model_gadget_arrive(&k->gadget);

	if (!rc)
		rc = model_gadget_settle(&k->gadget);
	if (rc < 0)
		return rc;
	if (k->gadget.ejected)
		return -ENOMEDIUM;
	rc = meet_attention(k);
	if (rc < 0)
		return rc;
	if (!k->gadget.background_failed ||
		k->gadget.spec.faults.bad_report != MODEL_REPORT_DEFERRED)
		return 0;
	k->gadget.background_failed = false;
	k->counts.errors++;
	return model_gadget_nothing(&k->gadget);
}

static uint64_t stretch(double from, double to)
{
	return to > from ? (uint64_t)(to - from + 0.5) : 0;
}

/* The command that is just over, as a monitor of its bus would have seen it. */
static void tell_times(struct model *k, struct command_times c)
{
	const struct model_gadget *g = &k->gadget;
	double data_end = fmax(g->pace.data_end, g->taken_ns);

	c.begun_ns = (uint64_t)g->sent_ns;
	c.host_known = true;
	c.ns[PHASE_COMMAND] = stretch(g->sent_ns, g->taken_ns);
	c.ns[PHASE_DATA] = stretch(g->taken_ns, data_end);
	c.ns[PHASE_STATUS] = stretch(data_end, g->now_ns);
	c.ns[PHASE_HOST] = stretch(k->ended_ns, g->sent_ns);
	c.before_ns = c.ns[PHASE_HOST];
	k->ended_ns = g->now_ns;
	if (k->watch.command)
		k->watch.command(k->watch.context, &c);
}

static void tell(struct model *k, uint8_t opcode, bool to_host, size_t bytes, int rc)
{
	tell_times(k, (struct command_times){ .opcode = opcode,
			      .to_host = to_host,
			      .data_bytes = (uint32_t)bytes,
			      .asked_bytes = (uint32_t)bytes,
			      .passed = rc >= 0,
			      .failed = rc < 0 });
}

static void tell_bulk(struct model *k, const struct model_bulk_command *c)
{
	bool passed = c->status == MODEL_BULK_PASSED;

	tell_times(k, (struct command_times){ .opcode = c->cdb[0],
			      .to_host = c->in,
			      .data_bytes = c->moved,
			      .asked_bytes = c->length,
			      .stalled = c->stalls,
			      .passed = passed && !c->silent,
			      .failed = !passed });
}

/* Is what has just been read or written to be repeated? A status for another command makes the driver reset the device; a
 * residue that says too little came is no success either (Linux drivers/usb/storage/transport.c). */
static bool must_repeat(struct model *k)
{
	enum model_bulk_slip slip = model_bulk_count(&k->bulk);

	k->counts.errors += slip != MODEL_BULK_RIGHT;
	if (slip == MODEL_BULK_WRONG_TAG)
		model_bulk_reset(&k->bulk);
	return slip != MODEL_BULK_RIGHT;
}

static int do_read(struct model *k, uint64_t at, void *buf, size_t n)
{
	int rc = model_gadget_read(&k->gadget, at, buf, n);

	tell(k, SCSI_READ_10, true, rc < 0 ? 0 : n, rc);
	return rc;
}

static int do_write(struct model *k, uint64_t at, const void *buf, size_t n, bool fua)
{
	int rc = model_gadget_write(&k->gadget, at, buf, n, fua);

	tell(k, SCSI_WRITE_10, false, rc < 0 ? 0 : n, rc);
	return rc;
}

static int read_piece(struct model *k, uint64_t at, void *buf, size_t n)
{
	for (int i = 0; i < KERNEL_TRIES; i++) {
		int rc = before_command(k);

		if (!rc)
			rc = do_read(k, at, buf, n);
		if (rc < 0 || !must_repeat(k))
			return rc;
	}
	return -EIO;
}

static int write_piece(struct model *k, uint64_t at, const void *buf, size_t n, bool fua)
{
	for (int i = 0; i < KERNEL_TRIES; i++) {
		int rc = before_command(k);

		/* Protected, and the kernel does not know it. */
		if (!rc && k->gadget.spec.claims.write_protected)
			rc = -EREMOTEIO;
		if (!rc)
			rc = do_write(k, at, buf, n, fua);
		if (rc < 0 || !must_repeat(k))
			return rc;
	}
	return -EIO;
}

static int model_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	struct model *k = model_of(m);
	int rc = clip(m, at, &len);

	*got = 0;
	for (size_t done = 0; !rc && done < len;) {
		size_t limit = m->traits.request_limit_bytes;
		size_t n = len - done < limit ? len - done : limit;

		rc = read_piece(k, at + done, (unsigned char *)buf + done, n);
		k->counts.reads++;
		k->counts.read_bytes += n;
		done += n;
	}
	if (!rc)
		*got = len;
	return rc;
}

static int write_pieces(struct medium *m, uint64_t at, const void *buf, size_t len, bool fua)
{
	struct model *k = model_of(m);
	size_t limit = m->traits.request_limit_bytes;
	int rc = 0;

	for (size_t done = 0; !rc && done < len;) {
		size_t n = len - done < limit ? len - done : limit;

		rc = write_piece(k, at + done, (const unsigned char *)buf + done, n, fua);
		k->counts.writes++;
		k->counts.written_bytes += n;
		done += n;
	}
	return rc;
}

static int kernel_write(
	struct medium *m, uint64_t at, const void *buf, size_t len, bool fua, size_t *got)
{
	const struct model *k = model_of(m);
	size_t wanted = len;
	int rc = clip(m, at, &len);

	*got = 0;
	if (rc < 0)
		return rc;
	if (m->traits.read_only)
		return -EROFS;
	if (k->access == MEDIUM_READ_ONLY)
		return -EBADF;
	if (!len && wanted)
		return -ENOSPC;
	rc = write_pieces(m, at, buf, len, fua);
	if (!rc)
		*got = len;
	return rc;
}

static int model_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	return kernel_write(m, at, buf, len, false, got);
}

/* Refused with ILLEGAL REQUEST, which the sd driver takes for success (Linux sd_sync_cache); without an answer it tries
 * again after each reset. */
static int flush_unknown(struct model *k)
{
	if (k->gadget.spec.faults.unknown_command == MODEL_UNKNOWN_REFUSED)
		return model_gadget_nothing(&k->gadget);
	k->gadget.now_ns += KERNEL_TRIES * flush_patience_ns;
	k->counts.errors += KERNEL_TRIES;
	model_bulk_reset(&k->bulk);
	return -EIO;
}

/* Without a write cache claimed the kernel has nothing to send (Linux Documentation/block/
 * writeback_cache_control). */
static int model_flush(struct medium *m)
{
	struct model *k = model_of(m);
	int rc;

	if (m->traits.cache != MEDIUM_CACHE_WRITE_BACK)
		return 0;
	rc = before_command(k);
	if (rc < 0)
		return rc;
	k->counts.flushes++;
	if (!k->gadget.spec.claims.synchronize_cache)
		return flush_unknown(k);
	rc = model_gadget_synchronize(&k->gadget);
	tell(k, SCSI_SYNCHRONIZE_CACHE_10, false, 0, rc);
	return rc;
}

static int model_write_through(
	struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	bool fua = m->traits.cache == MEDIUM_CACHE_WRITE_BACK && m->traits.fua;
	int rc = kernel_write(m, at, buf, len, fua, got);

	return rc < 0 || fua ? rc : model_flush(m);
}

/* The driver asks for the sense of a command that failed, at once (Linux drivers/usb/storage/transport.c). */
static void take_sense(struct model *k, struct scsi_exchange *x)
{
	x->status = SCSI_CHECK_CONDITION;
	x->sense_length = MODEL_SENSE_BYTES;
	memcpy(x->sense, k->bulk.sense, MODEL_SENSE_BYTES);
	if (!k->gadget.spec.faults.sense_stays)
		k->bulk.told = false;
}

/* The driver resets the device, which then says so. */
static void give_up(struct model *k, struct scsi_exchange *x, uint16_t host_status)
{
	x->host_status = host_status;
	model_bulk_reset(&k->bulk);
}

/* What usb-storage makes of what came over the bus. Too much data is still on its way when it asks for the status, and is
 * taken for a broken one. */
static void take_answer(
	struct model *k, struct scsi_exchange *x, const struct model_bulk_command *c)
{
	x->status = SCSI_GOOD;
	x->sense_length = 0;
	x->host_status = x->driver_status = 0;
	x->residual = x->data_length - c->moved;
	if (x->residual < c->residue)
		x->residual = c->residue;
	if (c->silent)
		give_up(k, x, DID_TIME_OUT);
	else if (c->status == MODEL_BULK_PHASE_ERROR || c->excess || c->wrong_tag)
		give_up(k, x, DID_ERROR);
	else if (c->status == MODEL_BULK_FAILED)
		take_sense(k, x);
}

/* As SG_IO hands a command to the device: past the kernel's own retries and counters. */
static int model_scsi(struct medium *m, struct scsi_exchange *x)
{
	struct model *k = model_of(m);
	struct model_bulk_command c = {
		.in = x->direction == SCSI_DATA_IN, .data = x->data, .length = x->data_length
	};
	double before = k->gadget.now_ns;
	int rc;

	if (k->access == MEDIUM_READ_ONLY && x->direction == SCSI_DATA_OUT)
		return -EPERM;
	if (!x->cdb_length || x->data_length > m->traits.request_limit_bytes)
		return -EINVAL;
	memcpy(c.cdb, x->cdb, sizeof c.cdb);
	rc = model_bulk_run(&k->bulk, &c);
	if (rc < 0)
		return rc;
	tell_bulk(k, &c);
	if (c.silent)
		k->gadget.now_ns = fmax(k->gadget.now_ns, before + x->timeout_ms * 1e6);
	take_answer(k, x, &c);
	k->counts.errors += !scsi_succeeded(x);
	x->duration_ns = (uint64_t)(k->gadget.now_ns - before);
	return 0;
}

static int model_counts(struct medium *m, struct medium_counts *counts)
{
	*counts = model_of(m)->counts;
	counts->errors_known = true;
	return 0;
}

static uint64_t model_now_ns(struct medium *m)
{
	return (uint64_t)model_of(m)->gadget.now_ns;
}

static void model_idle_ns(struct medium *m, uint64_t ns)
{
	model_of(m)->gadget.now_ns += (double)ns;
}

static void model_move_clock_ns(struct medium *m, uint64_t now_ns)
{
	model_of(m)->gadget.now_ns = (double)now_ns;
}

static int model_watch_commands(struct medium *m, const struct command_watch *w)
{
	model_of(m)->watch = w ? *w : (struct command_watch){ NULL, NULL };
	return 0;
}

static int model_replug(struct medium *m, bool power_lost)
{
	int rc = model_gadget_replug(&model_of(m)->gadget, power_lost);

	model_of(m)->refuses = false;
	m->traits.disk_sequence = model_of(m)->gadget.sequence;
	return rc;
}

/* As a host that looks what is in the drive: an attention tells it. */
static void look(struct model *k)
{
	k->gadget.sequence += k->refuses || k->gadget.attention;
	k->refuses = k->gadget.attention = false;
}

static int model_check(struct medium *m, enum medium_check how, struct error *why)
{
	struct model *k = model_of(m);
	char text[100];

	if (how == MEDIUM_CHECK_FAILED && !k->gadget.unplugged)
		look(k);
	if (k->gadget.unplugged)
		return identity_gone(m, why, -ENODEV, "the model was unplugged");
	if (how == MEDIUM_CHECK_FAILED && k->gadget.ejected)
		return identity_gone(m, why, -ENOMEDIUM, "the model holds no card");
	if (k->gadget.sequence == m->traits.disk_sequence)
		return 0;
	snprintf(text, sizeof text, "its disk sequence went from %llu to %llu",
		(unsigned long long)m->traits.disk_sequence,
		(unsigned long long)k->gadget.sequence);
	return identity_changed(m, why, text);
}

static int model_renew(struct medium *m, struct error *why)
{
	(void)why;
	look(model_of(m));
	m->traits.disk_sequence = model_of(m)->gadget.sequence;
	return 0;
}

uint64_t model_strays(const struct medium *m)
{
	return ((const struct model *)m)->gadget.memory.strays;
}

static void model_close(struct medium *m)
{
	model_gadget_release(&model_of(m)->gadget);
	free(m);
}

static const struct medium_ops model_ops = {
	.read = model_read,
	.write = model_write,
	.write_through = model_write_through,
	.flush = model_flush,
	.scsi = model_scsi,
	.counts = model_counts,
	.now_ns = model_now_ns,
	.idle_ns = model_idle_ns,
	.move_clock_ns = model_move_clock_ns,
	.replug = model_replug,
	.watch_commands = model_watch_commands,
	.check = model_check,
	.renew = model_renew,
	.close = model_close,
};

/* The driver asks for 192 bytes of mode pages, so that the answer is always short. */
static bool modes_arrive(const struct model_spec *s)
{
	return s->faults.mode_sense == MODEL_MODE_RIGHT &&
	       s->faults.short_answer != MODEL_SHORT_LOST;
}

static void describe(struct medium_traits *t, const struct model_spec *s, const char *path)
{
	static const uint64_t bits[] = {
		[MODEL_SPEED_FULL] = 12000000, [MODEL_SPEED_HIGH] = 480000000
	};

	t->kind = MEDIUM_MODEL;
	text_copy(t->path, sizeof t->path, path);
	text_copy(t->name, sizeof t->name, s->device.name);
	text_copy(t->vendor, sizeof t->vendor, s->device.vendor);
	text_copy(t->model, sizeof t->model, s->device.product);
	text_copy(t->revision, sizeof t->revision, s->device.revision);
	text_copy(t->serial, sizeof t->serial, s->device.serial);
	text_copy(t->not_known, sizeof t->not_known, s->device.not_known);
	text_copy(t->transport, sizeof t->transport, "model");
	t->size_bytes = s->device.capacity_bytes;
	t->logical_block_bytes = (uint32_t)s->device.block_bytes;
	t->physical_block_bytes = t->logical_block_bytes;
	t->memory_align_bytes = t->logical_block_bytes;
	t->offset_align_bytes = t->logical_block_bytes;
	t->request_limit_bytes = (uint32_t)s->link.request_limit_bytes;
	t->link_bits_per_second = bits[s->link.speed];
	/* As the sd driver decides: write back when the caching page says so, FUA only then, never on a
	 * protected medium; what it cannot learn it takes for no (Linux drivers/scsi/sd.c). */
	t->read_only = s->claims.write_protected && modes_arrive(s);
	t->cache = s->claims.write_cache && modes_arrive(s) && !t->read_only
			   ? MEDIUM_CACHE_WRITE_BACK
			   : MEDIUM_CACHE_WRITE_THROUGH;
	t->fua = t->cache == MEDIUM_CACHE_WRITE_BACK && s->claims.fua;
	t->removable = t->marked_removable = s->claims.removable;
	t->virtual_clock = true;
	t->disk_sequence = 1;
}

bool model_is_target(const char *target)
{
	return !strncmp(target, prefix, sizeof prefix - 1);
}

int model_open_spec(struct medium **out, const struct model_spec *spec, const char *path,
	enum medium_access access, struct error *err)
{
	struct model *k = calloc(1, sizeof *k);

	*out = NULL;
	if (!k)
		return error_set(err, ERROR_IO, "out of memory for the gadget model");
	k->medium.ops = &model_ops;
	k->access = access;
	describe(&k->medium.traits, spec, path);
	if (model_gadget_init(&k->gadget, spec, access == MEDIUM_READ_WRITE, err) < 0) {
		free(k);
		return -1;
	}
	k->bulk.gadget = &k->gadget;
	*out = &k->medium;
	return 0;
}

int model_open(
	struct medium **out, const char *target, enum medium_access access, struct error *err)
{
	const char *path = target + sizeof prefix - 1;
	struct model_spec spec;

	*out = NULL;
	if (!*path)
		return error_set(err, ERROR_USAGE,
			"the target 'model:' names no file; name it like model:gadget.model");
	if (strlen(target) >= sizeof((struct medium_traits *)0)->path)
		return error_set(err, ERROR_USAGE,
			"the target's path is longer than this tool takes (511 bytes)");
	if (model_spec_load(&spec, path, err) < 0)
		return -1;
	return model_open_spec(out, &spec, target, access, err);
}
