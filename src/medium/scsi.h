/* SCSI commands as bytes: one exchange, and the command descriptor blocks (CDBs) this tool sends.
 * Pure: no I/O here. Layouts: SPC-4 and SBC-3 (T10), READ CAPACITY(16) as in SBC-3 5.16.
 * Answers are decoded in scsi_sense.h and scsi_data.h. */
#ifndef MEDIUM_SCSI_H
#define MEDIUM_SCSI_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum scsi_opcode { /* SPC-4 table 54 and SBC-3 table 19 */
	SCSI_TEST_UNIT_READY = 0x00,
	SCSI_REQUEST_SENSE = 0x03,
	SCSI_INQUIRY = 0x12,
	SCSI_MODE_SENSE_6 = 0x1A,
	SCSI_START_STOP_UNIT = 0x1B,
	SCSI_PREVENT_ALLOW = 0x1E,
	SCSI_READ_CAPACITY_10 = 0x25,
	SCSI_READ_10 = 0x28,
	SCSI_WRITE_10 = 0x2A,
	SCSI_SYNCHRONIZE_CACHE_10 = 0x35,
	SCSI_MODE_SENSE_10 = 0x5A,
	SCSI_READ_16 = 0x88,
	SCSI_WRITE_16 = 0x8A,
	SCSI_SYNCHRONIZE_CACHE_16 = 0x91,
	SCSI_SERVICE_ACTION_IN_16 = 0x9E, /* with service action 10h: READ CAPACITY(16) */
};

enum scsi_status { SCSI_GOOD = 0x00, SCSI_CHECK_CONDITION = 0x02, SCSI_BUSY = 0x08 }; /* SAM-5 */

enum scsi_direction { SCSI_NO_DATA, SCSI_DATA_IN, SCSI_DATA_OUT };

enum { SCSI_CDB_MAX = 16, SCSI_SENSE_MAX = 64 };

/* One command and its answer. The caller fills the upper part, medium_scsi the lower. */
struct scsi_exchange {
	uint8_t cdb[SCSI_CDB_MAX];
	uint8_t cdb_length; /* 6, 10 or 16 */
	enum scsi_direction direction;
	void *data; /* aligned to memory_align_bytes for reads and writes of blocks */
	uint32_t data_length; /* bytes */
	uint32_t timeout_ms;

	uint8_t status; /* enum scsi_status */
	uint8_t sense[SCSI_SENSE_MAX];
	uint8_t sense_length; /* bytes of sense that are valid; 0: none came */
	uint32_t residual; /* bytes asked but not transferred; never above data_length */
	uint16_t host_status, driver_status; /* of the operating system; 0: fine */
	uint64_t duration_ns; /* by the medium's clock */
};

/* The target took the command and answered GOOD, and the host had no trouble of its own. */
static inline bool scsi_succeeded(const struct scsi_exchange *x)
{
	return x->status == SCSI_GOOD && x->host_status == 0 && x->driver_status == 0;
}

/* Bytes of data that really came or went. */
static inline uint32_t scsi_transferred(const struct scsi_exchange *x)
{
	return x->residual <= x->data_length ? x->data_length - x->residual : 0;
}

/* Big-endian fields. */
static inline uint16_t scsi_get_u16(const uint8_t *p)
{
	return (uint16_t)(p[0] << 8 | p[1]);
}

static inline uint32_t scsi_get_u32(const uint8_t *p)
{
	return (uint32_t)scsi_get_u16(p) << 16 | scsi_get_u16(p + 2);
}

static inline uint64_t scsi_get_u64(const uint8_t *p)
{
	return (uint64_t)scsi_get_u32(p) << 32 | scsi_get_u32(p + 4);
}

void scsi_put_u16(uint8_t *p, uint16_t v);
void scsi_put_u32(uint8_t *p, uint32_t v);
void scsi_put_u64(uint8_t *p, uint64_t v);

/* Builders: each clears the whole exchange, fills CDB, direction and lengths, and sets a timeout of 30 s (60 s for
 * SYNCHRONIZE CACHE and START STOP UNIT). `data` must hold the allocation length. */
void scsi_build_test_unit_ready(struct scsi_exchange *x);
/* room: 18 for the fixed form, as Linux asks. */
void scsi_build_request_sense(struct scsi_exchange *x, void *data, uint8_t room);
void scsi_build_inquiry(struct scsi_exchange *x, void *data, uint8_t room);
/* A vital product data page, EVPD set (SPC-4 6.4.4). DANGER: some drives answer none of them and hang. */
enum {
	SCSI_PAGE_SUPPORTED = 0x00,
	SCSI_PAGE_SERIAL = 0x80,
	SCSI_PAGE_DEVICE_ID = 0x83,
	SCSI_PAGE_BLOCK_LIMITS = 0xB0
};
void scsi_build_inquiry_page(struct scsi_exchange *x, uint8_t page, void *data, uint8_t room);
enum scsi_page_control { SCSI_CURRENT, SCSI_CHANGEABLE, SCSI_DEFAULT, SCSI_SAVED };
enum { SCSI_PAGE_CACHING = 0x08, SCSI_PAGE_CACHING_RBC = 0x06, SCSI_PAGE_ALL = 0x3F };
void scsi_build_mode_sense_6(struct scsi_exchange *x, enum scsi_page_control control, uint8_t page,
	void *data, uint8_t room);
void scsi_build_mode_sense_10(struct scsi_exchange *x, enum scsi_page_control control, uint8_t page,
	void *data, uint16_t room);
enum { SCSI_CAPACITY_10_BYTES = 8, SCSI_CAPACITY_16_BYTES = 32 };
void scsi_build_read_capacity_10(struct scsi_exchange *x, void *data);
void scsi_build_read_capacity_16(struct scsi_exchange *x, void *data);

/* READ and WRITE: the 10-byte form unless lba or blocks do not fit it. data_length = blocks * block_bytes, which fits 32
 * bits: no buffer of this tool is longer. */
enum scsi_io_flag { SCSI_IO_FUA = 1 << 0, SCSI_IO_FORCE_16 = 1 << 1 };
void scsi_build_read(struct scsi_exchange *x, uint64_t lba, uint32_t blocks, uint32_t block_bytes,
	void *data, unsigned flags);
void scsi_build_write(struct scsi_exchange *x, uint64_t lba, uint32_t blocks, uint32_t block_bytes,
	const void *data, unsigned flags);

/* blocks 0: to the end of the unit (SBC-3). IMMED is always 0: an early answer would prove nothing. */
void scsi_build_synchronize_cache(
	struct scsi_exchange *x, uint64_t lba, uint32_t blocks, bool form_16);

/* DANGER: Linux lets START STOP UNIT pass even on a read-only handle. Only behind an option of the user. */
void scsi_build_start_stop(struct scsi_exchange *x, bool load_eject, bool start);
void scsi_build_prevent_removal(struct scsi_exchange *x, bool prevent);

#endif
