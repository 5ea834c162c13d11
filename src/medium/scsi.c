/* SCSI commands as bytes. */
#include "medium/scsi.h"

enum { TIMEOUT_MS = 30000, TIMEOUT_LONG_MS = 60000 };

void scsi_put_u16(uint8_t *p, uint16_t v)
{
	p[0] = (uint8_t)(v >> 8);
	p[1] = (uint8_t)v;
}

void scsi_put_u32(uint8_t *p, uint32_t v)
{
	scsi_put_u16(p, (uint16_t)(v >> 16));
	scsi_put_u16(p + 2, (uint16_t)v);
}

void scsi_put_u64(uint8_t *p, uint64_t v)
{
	scsi_put_u32(p, (uint32_t)(v >> 32));
	scsi_put_u32(p + 4, (uint32_t)v);
}

static void begin(struct scsi_exchange *x, uint8_t opcode, uint8_t cdb_length)
{
	*x = (struct scsi_exchange){ .cdb_length = cdb_length, .timeout_ms = TIMEOUT_MS };
	x->cdb[0] = opcode;
}

static void take_data(
	struct scsi_exchange *x, enum scsi_direction direction, void *data, uint32_t length)
{
	x->direction = length ? direction : SCSI_NO_DATA;
	x->data = data;
	x->data_length = length;
}

void scsi_build_test_unit_ready(struct scsi_exchange *x)
{
	begin(x, SCSI_TEST_UNIT_READY, 6);
}

void scsi_build_request_sense(struct scsi_exchange *x, void *data, uint8_t room)
{
	begin(x, SCSI_REQUEST_SENSE, 6);
	x->cdb[4] = room;
	take_data(x, SCSI_DATA_IN, data, room);
}

void scsi_build_inquiry(struct scsi_exchange *x, void *data, uint8_t room)
{
	begin(x, SCSI_INQUIRY, 6);
	x->cdb[4] = room;
	take_data(x, SCSI_DATA_IN, data, room);
}

void scsi_build_inquiry_page(struct scsi_exchange *x, uint8_t page, void *data, uint8_t room)
{
	scsi_build_inquiry(x, data, room);
	x->cdb[1] = 1;
	x->cdb[2] = page;
}

static uint8_t page_byte(enum scsi_page_control control, uint8_t page)
{
	return (uint8_t)((unsigned)control << 6 | (page & 0x3Fu));
}

void scsi_build_mode_sense_6(struct scsi_exchange *x, enum scsi_page_control control, uint8_t page,
	void *data, uint8_t room)
{
	begin(x, SCSI_MODE_SENSE_6, 6);
	x->cdb[2] = page_byte(control, page);
	x->cdb[4] = room;
	take_data(x, SCSI_DATA_IN, data, room);
}

void scsi_build_mode_sense_10(struct scsi_exchange *x, enum scsi_page_control control, uint8_t page,
	void *data, uint16_t room)
{
	begin(x, SCSI_MODE_SENSE_10, 10);
	x->cdb[2] = page_byte(control, page);
	scsi_put_u16(x->cdb + 7, room);
	take_data(x, SCSI_DATA_IN, data, room);
}

void scsi_build_read_capacity_10(struct scsi_exchange *x, void *data)
{
	begin(x, SCSI_READ_CAPACITY_10, 10);
	take_data(x, SCSI_DATA_IN, data, SCSI_CAPACITY_10_BYTES);
}

void scsi_build_read_capacity_16(struct scsi_exchange *x, void *data)
{
	begin(x, SCSI_SERVICE_ACTION_IN_16, 16);
	x->cdb[1] = 0x10;
	scsi_put_u32(x->cdb + 10, SCSI_CAPACITY_16_BYTES);
	take_data(x, SCSI_DATA_IN, data, SCSI_CAPACITY_16_BYTES);
}

static void build_io(struct scsi_exchange *x, uint8_t opcode_10, uint8_t opcode_16, uint64_t lba,
	uint32_t blocks, unsigned flags)
{
	bool form_16 = flags & SCSI_IO_FORCE_16 || lba > UINT32_MAX || blocks > UINT16_MAX;

	begin(x, form_16 ? opcode_16 : opcode_10, form_16 ? 16 : 10);
	x->cdb[1] = flags & SCSI_IO_FUA ? 0x08 : 0;
	if (form_16) {
		scsi_put_u64(x->cdb + 2, lba);
		scsi_put_u32(x->cdb + 10, blocks);
	} else {
		scsi_put_u32(x->cdb + 2, (uint32_t)lba);
		scsi_put_u16(x->cdb + 7, (uint16_t)blocks);
	}
}

void scsi_build_read(struct scsi_exchange *x, uint64_t lba, uint32_t blocks, uint32_t block_bytes,
	void *data, unsigned flags)
{
	build_io(x, SCSI_READ_10, SCSI_READ_16, lba, blocks, flags);
	take_data(x, SCSI_DATA_IN, data, blocks * block_bytes);
}

void scsi_build_write(struct scsi_exchange *x, uint64_t lba, uint32_t blocks, uint32_t block_bytes,
	const void *data, unsigned flags)
{
	build_io(x, SCSI_WRITE_10, SCSI_WRITE_16, lba, blocks, flags);
	/* Data to the device is only read; one pointer serves both ways. */
	take_data(x, SCSI_DATA_OUT, (void *)(uintptr_t)data, blocks * block_bytes);
}

void scsi_build_synchronize_cache(
	struct scsi_exchange *x, uint64_t lba, uint32_t blocks, bool form_16)
{
	unsigned flags = form_16 ? SCSI_IO_FORCE_16 : 0;

	build_io(x, SCSI_SYNCHRONIZE_CACHE_10, SCSI_SYNCHRONIZE_CACHE_16, lba, blocks, flags);
	x->timeout_ms = TIMEOUT_LONG_MS;
}

void scsi_build_start_stop(struct scsi_exchange *x, bool load_eject, bool start)
{
	begin(x, SCSI_START_STOP_UNIT, 6);
	x->cdb[4] = (uint8_t)((load_eject ? 2u : 0u) | (start ? 1u : 0u));
	x->timeout_ms = TIMEOUT_LONG_MS;
}

void scsi_build_prevent_removal(struct scsi_exchange *x, bool prevent)
{
	begin(x, SCSI_PREVENT_ALLOW, 6);
	x->cdb[4] = prevent ? 1 : 0;
}
