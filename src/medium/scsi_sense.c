/* Sense data, decoded and named. */
#include "medium/scsi_sense.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "medium/scsi.h"

enum { FIXED_BYTES = 18, DESCRIPTOR_HEADER = 8, INFORMATION_BYTES = 12 };

static void decode_fixed(struct scsi_sense *out, const uint8_t *b, size_t length)
{
	out->key = b[2] & 0x0F;
	/* Byte 7 says how much follows; a device that says less than ASC needs sent no ASC (SPC-4 4.5.3). */
	if (length > 13 && b[7] >= 6)
		out->code = scsi_get_u16(b + 12);
	if (b[0] & 0x80 && length >= 7) {
		out->has_information = true;
		out->information = scsi_get_u32(b + 3);
	}
}

static void decode_descriptors(struct scsi_sense *out, const uint8_t *b, size_t length)
{
	size_t end = DESCRIPTOR_HEADER + (size_t)b[7];
	size_t at = DESCRIPTOR_HEADER;

	if (end > length)
		end = length;
	while (at + 2 <= end) {
		size_t whole = 2 + (size_t)b[at + 1];

		/* Information descriptor: type 0, VALID in bit 7 of byte 2, 8 bytes at 4 (SPC-4 4.5.2.2). */
		if (b[at] == 0 && whole >= INFORMATION_BYTES && at + INFORMATION_BYTES <= end &&
			b[at + 2] & 0x80) {
			out->has_information = true;
			out->information = scsi_get_u64(b + at + 4);
			return;
		}
		at += whole;
	}
}

void scsi_sense_decode(struct scsi_sense *out, const uint8_t *bytes, size_t length)
{
	*out = (struct scsi_sense){ 0 };
	if (length < 3)
		return;
	out->response_code = bytes[0] & 0x7F;
	if (out->response_code < 0x70 || out->response_code > 0x73) {
		out->response_code = 0;
		return;
	}
	out->descriptor = out->response_code >= 0x72;
	out->deferred = out->response_code & 1;
	if (out->descriptor) {
		if (length < DESCRIPTOR_HEADER) {
			*out = (struct scsi_sense){ 0 }; /* half of it would mislead */
			return;
		}
		out->key = bytes[1] & 0x0F;
		out->code = scsi_get_u16(bytes + 2);
		decode_descriptors(out, bytes, length);
	} else {
		decode_fixed(out, bytes, length);
	}
	out->valid = true;
}

bool scsi_completed(const struct scsi_exchange *x)
{
	struct scsi_sense s;

	if (scsi_succeeded(x))
		return true;
	if (x->status != SCSI_CHECK_CONDITION || x->host_status || x->driver_status)
		return false;
	scsi_sense_decode(&s, x->sense, x->sense_length);
	return s.valid && !s.deferred &&
	       (s.key == SENSE_NO_SENSE || s.key == SENSE_RECOVERED_ERROR);
}

int scsi_sense_identity(const struct scsi_sense *s)
{
	if (!s->valid || s->deferred)
		return 0;
	if (s->key == SENSE_NOT_READY && s->code >> 8 == SENSE_NO_MEDIUM >> 8)
		return -ENOMEDIUM;
	if (s->key == SENSE_UNIT_ATTENTION &&
		(s->code == SENSE_MEDIUM_CHANGED || s->code == SENSE_CAPACITY_CHANGED))
		return -ESTALE;
	return 0;
}

bool scsi_lost_device(const struct scsi_exchange *x)
{
	return x->host_status == 1 || x->host_status == 4;
}

static size_t encode_descriptor(uint8_t *out, const struct scsi_sense *s)
{
	out[0] = s->deferred ? 0x73 : 0x72;
	out[1] = s->key;
	scsi_put_u16(out + 2, s->code);
	if (!s->has_information)
		return DESCRIPTOR_HEADER;
	out[7] = INFORMATION_BYTES;
	out[8] = 0;
	out[9] = INFORMATION_BYTES - 2;
	out[10] = 0x80;
	scsi_put_u64(out + 12, s->information);
	return DESCRIPTOR_HEADER + INFORMATION_BYTES;
}

size_t scsi_sense_encode(uint8_t *out, const struct scsi_sense *s)
{
	memset(out, 0, DESCRIPTOR_HEADER + INFORMATION_BYTES);
	if (s->descriptor)
		return encode_descriptor(out, s);
	out[0] = s->deferred ? 0x71 : 0x70;
	if (s->has_information && s->information <= UINT32_MAX) {
		out[0] |= 0x80;
		scsi_put_u32(out + 3, (uint32_t)s->information);
	}
	out[2] = s->key;
	out[7] = FIXED_BYTES - 8;
	scsi_put_u16(out + 12, s->code);
	return FIXED_BYTES;
}

const char *scsi_sense_key_name(uint8_t key)
{
	static const char *const names[] = { "no sense", "recovered error", "not ready",
		"medium error", "hardware error", "illegal request", "unit attention",
		"data protect", "blank check", "vendor specific", "copy aborted", "aborted command",
		"obsolete key", "volume overflow", "miscompare", "completed" };

	return names[key & 0x0F];
}

const char *scsi_sense_code_name(uint16_t code)
{
	/* The T10 list of additional sense codes (SPC-4 annex D): those a removable disk may send. */
	static const struct {
		uint16_t code;
		const char *name;
	} names[] = {
		{ 0x0000, "no additional sense" },
		{ SENSE_WRITE_FAULT, "peripheral device write fault" },
		{ 0x0400, "not ready, cause not reportable" },
		{ 0x0401, "becoming ready" },
		{ 0x0402, "initializing command required" },
		{ 0x0403, "manual intervention required" },
		{ 0x0B06, "non-volatile cache now volatile" },
		{ 0x0B07, "degraded power to non-volatile cache" },
		{ 0x0B08, "power loss expected" },
		{ SENSE_WRITE_ERROR, "write error" },
		{ 0x0C02, "write error, auto reallocation failed" },
		{ 0x1000, "id crc or ecc error" },
		{ SENSE_READ_ERROR, "unrecovered read error" },
		{ 0x1A00, "parameter list length error" },
		{ 0x1D00, "miscompare during verify operation" },
		{ SENSE_INVALID_OPCODE, "invalid command operation code" },
		{ SENSE_LBA_OUT_OF_RANGE, "logical block address out of range" },
		{ SENSE_INVALID_FIELD, "invalid field in cdb" },
		{ 0x2500, "logical unit not supported" },
		{ 0x2600, "invalid field in parameter list" },
		{ SENSE_WRITE_PROTECTED, "write protected" },
		{ SENSE_MEDIUM_CHANGED, "not ready to ready change, medium may have changed" },
		{ SENSE_POWER_ON, "power on, reset, or bus device reset occurred" },
		{ 0x2A01, "mode parameters changed" },
		{ SENSE_CAPACITY_CHANGED, "capacity data has changed" },
		{ 0x3000, "incompatible medium installed" },
		{ 0x3100, "medium format corrupted" },
		{ SENSE_NO_MEDIUM, "medium not present" },
		{ 0x4400, "internal target failure" },
		{ 0x5300, "media load or eject failed" },
		{ SENSE_REMOVAL_PREVENTED, "medium removal prevented" },
		{ 0x5A01, "operator medium removal request" },
	};

	for (size_t i = 0; i < sizeof names / sizeof *names; i++)
		if (names[i].code == code)
			return names[i].name;
	return NULL;
}

const char *scsi_sense_format(char buf[SCSI_SENSE_TEXT_MAX], const struct scsi_sense *s)
{
	const char *name = scsi_sense_code_name(s->code);
	char block[40] = "";

	if (!s->valid) {
		snprintf(buf, SCSI_SENSE_TEXT_MAX, "no valid sense data");
		return buf;
	}
	if (s->has_information)
		snprintf(block, sizeof block, ", block %llu", (unsigned long long)s->information);
	snprintf(buf, SCSI_SENSE_TEXT_MAX, "%s%s, %02X/%02X%s%s%s", s->deferred ? "deferred " : "",
		scsi_sense_key_name(s->key), (unsigned)(s->code >> 8), s->code & 0xFFu,
		name ? " " : "", name ? name : "", block);
	return buf;
}
