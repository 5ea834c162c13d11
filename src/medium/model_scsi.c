/* SCSI commands as a modelled gadget answers them. */
#include "medium/model_scsi.h"

#include <errno.h>
#include <stdbool.h>
#include <string.h>

#include "medium/model_mode.h"
#include "medium/scsi.h"

enum { CURRENT = 0x70, DEFERRED = 0x71, VALID = 0x80 };
enum { LONG_ANSWER = 252 }; /* of a firmware that sends its whole buffer */

/* Sense key, additional sense code and qualifier: SPC-4. */
struct fault {
	uint8_t key, asc, ascq;
};

static const struct fault write_error = { 3, 0x0C, 0 }, read_error = { 3, 0x11, 0 },
			  bad_opcode = { 5, 0x20, 0 }, out_of_range = { 5, 0x21, 0 },
			  bad_field = { 5, 0x24, 0 }, no_saving = { 5, 0x39, 0 },
			  prevented = { 5, 0x53, 2 }, no_medium = { 2, 0x3A, 0 },
			  changed = { 6, 0x28, 0 }, was_reset = { 6, 0x29, 0 },
			  protected = { 7, 0x27, 0 };

static uint64_t big_endian(const uint8_t *bytes, size_t n)
{
	uint64_t v = 0;

	for (size_t i = 0; i < n; i++)
		v = v << 8 | bytes[i];
	return v;
}

static void put_big_endian(uint8_t *to, size_t n, uint64_t v)
{
	for (size_t i = n; i-- > 0; v >>= 8)
		to[i] = (uint8_t)v;
}

static void fill_sense(uint8_t *sense, uint8_t code, struct fault f)
{
	memset(sense, 0, MODEL_SENSE_BYTES);
	sense[0] = code;
	sense[2] = f.key;
	sense[7] = MODEL_SENSE_BYTES - 8;
	sense[12] = f.asc;
	sense[13] = f.ascq;
}

static int fails(struct model_scsi *x, struct fault f)
{
	x->status = SCSI_CHECK_CONDITION;
	fill_sense(x->sense, CURRENT, f);
	return 0;
}

/* An error with the block it was at, which fixed sense has room for up to 2^32. */
static void place_sense(
	const struct model_gadget *g, uint8_t *sense, uint8_t code, struct fault f, uint64_t at)
{
	uint64_t lba = at / g->spec.device.block_bytes;

	fill_sense(sense, lba <= UINT32_MAX ? code | VALID : code, f);
	if (lba <= UINT32_MAX)
		put_big_endian(sense + 3, 4, lba);
}

static void write_error_sense(
	const struct model_gadget *g, uint8_t *sense, uint8_t code, uint64_t at)
{
	place_sense(g, sense, code, write_error, at);
}

static bool has_deferred(const struct model_gadget *g)
{
	return g->background_failed && g->spec.faults.bad_report == MODEL_REPORT_DEFERRED;
}

static int fails_deferred(struct model_gadget *g, struct model_scsi *x)
{
	x->status = SCSI_CHECK_CONDITION;
	write_error_sense(g, x->sense, DEFERRED, g->background_failed_at);
	g->background_failed = false;
	return 0;
}

/* An answer of n bytes, cut to what was allocated. */
static int answers(struct model_scsi *x, const uint8_t *bytes, size_t n, uint64_t allocated)
{
	if (n > allocated)
		n = (size_t)allocated;
	if (n > x->data_len)
		n = x->data_len;
	if (n)
		memcpy(x->data, bytes, n);
	x->moved = n;
	return 0;
}

static int inquiry(struct model_gadget *g, struct model_scsi *x)
{
	uint8_t page[64];
	uint64_t allocated = big_endian(x->cdb + 3, 2);
	size_t n = 36;

	if (x->cdb[1] & 1 && !g->spec.faults.vital_confused) {
		n = model_mode_vital_page(&g->spec, x->cdb[2], page);
		return n ? answers(x, page, n, allocated) : fails(x, bad_field);
	}
	if (x->cdb[2] && !(x->cdb[1] & 1))
		return fails(x, bad_field);
	model_mode_inquiry(&g->spec, page);
	return answers(x, page, n, allocated);
}

static int request_sense(struct model_gadget *g, struct model_scsi *x)
{
	uint8_t sense[MODEL_SENSE_BYTES];

	fill_sense(sense, CURRENT, (struct fault){ 0, 0, 0 });
	if (has_deferred(g)) {
		write_error_sense(g, sense, DEFERRED, g->background_failed_at);
		g->background_failed = false;
	}
	return answers(x, sense, sizeof sense, x->cdb[4]);
}

static int mode_sense(struct model_gadget *g, struct model_scsi *x)
{
	bool ten = x->cdb[0] == SCSI_MODE_SENSE_10;
	uint8_t bytes[LONG_ANSWER] = { 0 }, page = x->cdb[2] & 0x3F, control = x->cdb[2] >> 6;
	size_t n;

	if (control == 3)
		return fails(x, no_saving);
	n = model_mode_sense(&g->spec, ten, page, control == 1, bytes);
	if (!n)
		return fails(x, bad_field);
	if (g->spec.faults.mode_sense == MODEL_MODE_LONG)
		return answers(x, bytes, sizeof bytes, sizeof bytes);
	if (g->spec.faults.mode_sense == MODEL_MODE_SHORT)
		n = ten ? 8 : 4; /* the header, which tells of more */
	return answers(x, bytes, n, ten ? big_endian(x->cdb + 7, 2) : x->cdb[4]);
}

static int read_capacity_10(struct model_gadget *g, struct model_scsi *x)
{
	uint64_t last = g->spec.device.capacity_bytes / g->spec.device.block_bytes - 1;
	uint8_t bytes[8];

	put_big_endian(bytes, 4, last > UINT32_MAX ? UINT32_MAX : last);
	put_big_endian(bytes + 4, 4, g->spec.device.block_bytes);
	return answers(x, bytes, sizeof bytes, sizeof bytes);
}

static int read_capacity_16(struct model_gadget *g, struct model_scsi *x)
{
	uint8_t bytes[32] = { 0 };

	if ((x->cdb[1] & 0x1F) != 0x10) /* the one service action known */
		return fails(x, bad_field);
	put_big_endian(bytes, 8, g->spec.device.capacity_bytes / g->spec.device.block_bytes - 1);
	put_big_endian(bytes + 8, 4, g->spec.device.block_bytes);
	return answers(x, bytes, sizeof bytes, big_endian(x->cdb + 10, 4));
}

static int prevent_allow(struct model_gadget *g, struct model_scsi *x)
{
	/* A medium that can be pulled out by hand cannot be kept in. */
	if (g->spec.claims.removable && !g->spec.faults.prevent_accepted)
		return fails(x, bad_opcode);
	if (x->cdb[4] & 0xFE)
		return fails(x, bad_field);
	g->removal_prevented = x->cdb[4] & 1;
	return 0;
}

/* Empties the buffer and tells of what failed on the way, or before. */
static int store_all(struct model_gadget *g, struct model_scsi *x)
{
	int rc = model_gadget_synchronize(g);

	if (has_deferred(g))
		return fails_deferred(g, x);
	if (rc != -EIO)
		return rc;
	x->status = SCSI_CHECK_CONDITION;
	write_error_sense(g, x->sense, CURRENT, g->background_failed_at);
	return 0;
}

static int start_stop(struct model_gadget *g, struct model_scsi *x)
{
	bool load_eject = x->cdb[4] & 2, start = x->cdb[4] & 1;

	if (x->cdb[4] & 0xF0)
		return fails(x, bad_field); /* power conditions: none here */
	if (!load_eject)
		return start ? model_gadget_nothing(g) : store_all(g, x);
	if (start) {
		g->attention = g->ejected;
		g->ejected = false;
		return model_gadget_nothing(g);
	}
	return g->removal_prevented ? fails(x, prevented) : model_gadget_eject(g);
}

static int synchronize(struct model_gadget *g, struct model_scsi *x)
{
	bool ten = x->cdb[0] == SCSI_SYNCHRONIZE_CACHE_10;
	uint64_t lba = big_endian(x->cdb + 2, ten ? 4 : 8);
	uint64_t last = g->spec.device.capacity_bytes / g->spec.device.block_bytes - 1;

	if (!g->spec.claims.synchronize_cache)
		return fails(x, bad_opcode);
	if (lba > last)
		return fails(x, out_of_range);
	if (x->cdb[1] & 2) /* IMMED: GOOD at once, storing goes on */
		return model_gadget_nothing(g);
	return store_all(g, x);
}

/* A transfer past the end, by a device that does not look. */
static int past_end(struct model_gadget *g, struct model_scsi *x, bool write, size_t len)
{
	if (!g->spec.faults.past_end_accepted)
		return fails(x, out_of_range);
	if (!write)
		memset(x->data, (int)g->spec.device.fill, len);
	x->moved = len;
	return model_gadget_nothing(g);
}

static uint64_t transfer_blocks(const uint8_t *cdb)
{
	return cdb[0] == SCSI_READ_10 || cdb[0] == SCSI_WRITE_10 ? big_endian(cdb + 7, 2)
								 : big_endian(cdb + 10, 4);
}

/* After the blocks that could be read. */
static int fails_reading(struct model_gadget *g, struct model_scsi *x, uint64_t at, size_t len)
{
	x->moved = model_fault_readable(&g->spec, at, len);
	x->status = SCSI_CHECK_CONDITION;
	place_sense(g, x->sense, CURRENT, read_error, at + x->moved);
	return 0;
}

static int transfer(struct model_gadget *g, struct model_scsi *x)
{
	bool ten = x->cdb[0] == SCSI_READ_10 || x->cdb[0] == SCSI_WRITE_10;
	bool write = x->cdb[0] == SCSI_WRITE_10 || x->cdb[0] == SCSI_WRITE_16, fua = x->cdb[1] & 8;
	uint64_t lba = big_endian(x->cdb + 2, ten ? 4 : 8), blocks = transfer_blocks(x->cdb);
	uint64_t block = g->spec.device.block_bytes, total = g->spec.device.capacity_bytes / block;
	size_t len;
	int rc;

	if (x->cdb[1] & 0xE0)
		return fails(x, bad_field); /* no protection information */
	if (blocks * block > x->data_len || blocks * block > g->spec.link.request_limit_bytes)
		return -EINVAL;
	if (write && g->spec.claims.write_protected)
		return fails(x, protected);
	len = (size_t)(blocks * block);
	if (lba > total || blocks > total - lba)
		return past_end(g, x, write, len);
	if (!len)
		return 0;
	rc = write ? model_gadget_write(g, lba * block, x->data, len, fua)
		   : model_gadget_read(g, lba * block, x->data, len);
	if (rc == -ENODATA)
		return fails_reading(g, x, lba * block, len);
	if (rc == -EIO)
		return fails(x, write_error);
	x->moved = rc < 0 ? 0 : len;
	return rc;
}

struct operation {
	uint8_t code, cdb_len;
	bool always; /* answered without a medium and before pending conditions */
	bool timed; /* the handler lets its time pass by itself */
	enum scsi_direction direction;
	int (*run)(struct model_gadget *g, struct model_scsi *x);
};

static int ready(struct model_gadget *g, struct model_scsi *x)
{
	(void)g, (void)x;
	return 0;
}

static const struct operation operations[] = {
	{ SCSI_TEST_UNIT_READY, 6, false, false, SCSI_NO_DATA, ready },
	{ SCSI_REQUEST_SENSE, 6, true, false, SCSI_DATA_IN, request_sense },
	{ SCSI_INQUIRY, 6, true, false, SCSI_DATA_IN, inquiry },
	{ SCSI_MODE_SENSE_6, 6, false, false, SCSI_DATA_IN, mode_sense },
	{ SCSI_START_STOP_UNIT, 6, false, true, SCSI_NO_DATA, start_stop },
	{ SCSI_PREVENT_ALLOW, 6, false, false, SCSI_NO_DATA, prevent_allow },
	{ SCSI_READ_CAPACITY_10, 10, false, false, SCSI_DATA_IN, read_capacity_10 },
	{ SCSI_READ_10, 10, false, true, SCSI_DATA_IN, transfer },
	{ SCSI_WRITE_10, 10, false, true, SCSI_DATA_OUT, transfer },
	{ SCSI_SYNCHRONIZE_CACHE_10, 10, false, true, SCSI_NO_DATA, synchronize },
	{ SCSI_MODE_SENSE_10, 10, false, false, SCSI_DATA_IN, mode_sense },
	{ SCSI_READ_16, 16, false, true, SCSI_DATA_IN, transfer },
	{ SCSI_WRITE_16, 16, false, true, SCSI_DATA_OUT, transfer },
	{ SCSI_SYNCHRONIZE_CACHE_16, 16, false, true, SCSI_NO_DATA, synchronize },
	{ SCSI_SERVICE_ACTION_IN_16, 16, false, false, SCSI_DATA_IN, read_capacity_16 },
};

static const struct operation *find(uint8_t code)
{
	for (size_t i = 0; i < sizeof operations / sizeof *operations; i++)
		if (operations[i].code == code)
			return &operations[i];
	return NULL;
}

struct model_meaning model_scsi_meaning(const struct model_spec *s, const uint8_t *cdb)
{
	const struct operation *op = find(cdb[0]);
	struct model_meaning m = { .direction = op ? op->direction : SCSI_NO_DATA };

	m.exact = op && op->run == transfer;
	if (m.exact)
		m.bytes = transfer_blocks(cdb) * s->device.block_bytes;
	return m;
}

static bool is_load(const struct model_scsi *x)
{
	return x->cdb[0] == SCSI_START_STOP_UNIT && (x->cdb[4] & 3) == 3;
}

/* Conditions that end any command but a few before it is looked at. */
static bool interrupted(struct model_gadget *g, struct model_scsi *x)
{
	if (has_deferred(g))
		fails_deferred(g, x);
	else if (g->ejected && !is_load(x))
		fails(x, no_medium);
	else if (g->was_reset)
		fails(x, was_reset);
	else if (g->attention)
		fails(x, changed);
	else
		return false;
	/* Each is told once. */
	if (x->sense[12] == was_reset.asc)
		g->was_reset = false;
	if (x->sense[12] == changed.asc)
		g->attention = false;
	return true;
}

int model_scsi_run(struct model_gadget *g, struct model_scsi *x)
{
	const struct operation *op = x->cdb_len ? find(x->cdb[0]) : NULL;
	int rc;

	x->status = SCSI_GOOD;
	x->moved = 0;
	if (!x->cdb_len || (op && x->cdb_len < op->cdb_len))
		return -EINVAL;
	rc = model_gadget_arrive(g);
	if (!rc)
		rc = model_gadget_settle(g);
	if (rc < 0)
		return rc;
	if (!op || !op->timed)
		rc = model_gadget_nothing(g);
	if (rc < 0)
		return rc;
	if (!op)
		return fails(x, bad_opcode);
	if (!op->always && interrupted(g, x))
		return op->timed ? model_gadget_nothing(g) : 0;
	return op->run(g, x);
}
