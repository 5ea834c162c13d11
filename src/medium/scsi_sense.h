/* Sense data: what a SCSI device says went wrong (SPC-4 4.5). Every length is checked: a gadget under development
 * answers with too little, too much, or noise. */
#ifndef MEDIUM_SCSI_SENSE_H
#define MEDIUM_SCSI_SENSE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct scsi_exchange;

enum scsi_sense_key { /* SPC-4 table 48 */
	SENSE_NO_SENSE,
	SENSE_RECOVERED_ERROR,
	SENSE_NOT_READY,
	SENSE_MEDIUM_ERROR,
	SENSE_HARDWARE_ERROR,
	SENSE_ILLEGAL_REQUEST,
	SENSE_UNIT_ATTENTION,
	SENSE_DATA_PROTECT,
	SENSE_BLANK_CHECK,
	SENSE_VENDOR,
	SENSE_COPY_ABORTED,
	SENSE_ABORTED_COMMAND,
	SENSE_OBSOLETE,
	SENSE_VOLUME_OVERFLOW,
	SENSE_MISCOMPARE,
	SENSE_COMPLETED,
};

/* Additional sense codes with qualifier, ASC << 8 | ASCQ. */
enum {
	SENSE_WRITE_FAULT = 0x0300,
	SENSE_WRITE_ERROR = 0x0C00,
	SENSE_READ_ERROR = 0x1100,
	SENSE_INVALID_OPCODE = 0x2000,
	SENSE_LBA_OUT_OF_RANGE = 0x2100,
	SENSE_INVALID_FIELD = 0x2400,
	SENSE_WRITE_PROTECTED = 0x2700,
	SENSE_MEDIUM_CHANGED = 0x2800,
	SENSE_POWER_ON = 0x2900,
	SENSE_CAPACITY_CHANGED = 0x2A09,
	SENSE_NO_MEDIUM = 0x3A00,
	SENSE_REMOVAL_PREVENTED = 0x5302,
};

struct scsi_sense {
	bool valid; /* false: no sense, or not of a known form; then all below is 0 */
	bool deferred; /* 71h, 73h: about an earlier command that was already answered GOOD */
	bool descriptor; /* 72h, 73h */
	uint8_t response_code; /* 70h..73h */
	uint8_t key; /* enum scsi_sense_key */
	uint16_t code; /* ASC << 8 | ASCQ; 0 when the data ends before it */
	bool has_information;
	uint64_t information; /* for media commands: the first block concerned */
};

/* length: bytes that came, any number including 0; garbage gives valid == false. */
void scsi_sense_decode(struct scsi_sense *out, const uint8_t *bytes, size_t length);

/* The command did what it was asked: GOOD, or CHECK CONDITION with a current key of NO SENSE or RECOVERED ERROR, which tell
 * of success (SPC-4 table 48), as Linux takes them. */
bool scsi_completed(const struct scsi_exchange *x);

/* What it says of the medium: 0, -ESTALE (another may be there: 06/28/00, 06/2A/09) or -ENOMEDIUM (none: 02/3A). A deferred
 * one speaks of an earlier command and says nothing of this. */
int scsi_sense_identity(const struct scsi_sense *s);

/* The adapter itself says that there is no such device any more: 01h no connect, 04h bad target (Linux scsi_status.h). */
bool scsi_lost_device(const struct scsi_exchange *x);

/* Builds one, for models and tests: fixed (18 bytes) or descriptor (20 bytes with information, else 8).
 * Returns the length. `out` has room for 20. */
size_t scsi_sense_encode(uint8_t *out, const struct scsi_sense *s);

const char *scsi_sense_key_name(uint8_t key); /* "medium error" */
const char *scsi_sense_code_name(uint16_t code); /* standard meaning; NULL when not in the table */

/* "deferred medium error, 0C/00 write error, block 2048". Returns buf. */
enum { SCSI_SENSE_TEXT_MAX = 160 };
const char *scsi_sense_format(char buf[SCSI_SENSE_TEXT_MAX], const struct scsi_sense *s);

#endif
