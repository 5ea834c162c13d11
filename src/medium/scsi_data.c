/* What a SCSI device says about itself. */
#include "medium/scsi_data.h"

#include <string.h>

#include "medium/scsi.h"

static void take_ascii(char *out, const uint8_t *from, size_t n)
{
	for (size_t i = 0; i < n; i++)
		out[i] = from[i] >= 0x20 && from[i] < 0x7F ? (char)from[i] : '?';
	out[n] = 0;
	while (n && out[n - 1] == ' ')
		out[--n] = 0;
}

bool scsi_inquiry_decode(struct scsi_inquiry *out, const uint8_t *bytes, size_t length)
{
	*out = (struct scsi_inquiry){ 0 };
	if (length < 36 || bytes[4] < 31) /* standard data is 36 bytes: SPC-4 6.4.2 */
		return false;
	out->device_type = bytes[0] & 0x1F;
	out->removable = bytes[1] & 0x80;
	out->version = bytes[2];
	take_ascii(out->vendor, bytes + 8, 8);
	take_ascii(out->product, bytes + 16, 16);
	take_ascii(out->revision, bytes + 32, 4);
	return true;
}

static bool block_size_is_sane(uint32_t n)
{
	return n >= 256 && n <= 65536 && !(n & (n - 1));
}

bool scsi_capacity_10_decode(struct scsi_capacity *out, const uint8_t *bytes, size_t length)
{
	uint32_t last;

	*out = (struct scsi_capacity){ 0 };
	if (length < SCSI_CAPACITY_10_BYTES || !block_size_is_sane(scsi_get_u32(bytes + 4)))
		return false;
	last = scsi_get_u32(bytes);
	out->block_bytes = scsi_get_u32(bytes + 4);
	out->needs_16 = last == UINT32_MAX;
	out->blocks = out->needs_16 ? 0 : (uint64_t)last + 1;
	return true;
}

bool scsi_capacity_16_decode(struct scsi_capacity *out, const uint8_t *bytes, size_t length)
{
	uint64_t last;

	*out = (struct scsi_capacity){ 0 };
	if (length < 12 || !block_size_is_sane(scsi_get_u32(bytes + 8)))
		return false;
	last = scsi_get_u64(bytes);
	if (last == UINT64_MAX)
		return false;
	out->block_bytes = scsi_get_u32(bytes + 8);
	out->blocks = last + 1;
	return true;
}

bool scsi_capacity_is(const struct scsi_capacity *c, uint64_t bytes, uint32_t block_bytes)
{
	return c->block_bytes && c->block_bytes == block_bytes && bytes % block_bytes == 0 &&
	       c->blocks == bytes / block_bytes;
}

struct mode_header {
	size_t bytes; /* of the header */
	size_t total; /* of the whole answer, as it says itself */
	size_t descriptors; /* bytes of block descriptors */
	uint8_t specific; /* device-specific parameter */
};

static bool take_header(struct mode_header *h, const uint8_t *b, size_t length, bool form_10)
{
	h->bytes = form_10 ? 8 : 4;
	if (length < h->bytes)
		return false;
	h->total = form_10 ? (size_t)scsi_get_u16(b) + 2 : (size_t)b[0] + 1;
	h->specific = form_10 ? b[3] : b[2];
	h->descriptors = form_10 ? scsi_get_u16(b + 6) : b[3];
	return h->total >= h->bytes;
}

static void take_caching(struct scsi_mode *out, const uint8_t *page)
{
	out->has_caching = true;
	out->caching_rbc = (page[0] & 0x3F) == SCSI_PAGE_CACHING_RBC;
	if (out->caching_rbc) {
		out->write_cache = !(page[2] & 0x01);
	} else {
		out->write_cache = page[2] & 0x04;
		out->read_cache_disabled = page[2] & 0x01;
	}
}

static void walk_pages(struct scsi_mode *out, const uint8_t *b, size_t at, size_t end)
{
	while (at + 2 <= end) {
		uint8_t code = b[at] & 0x3F;
		bool sub = b[at] & 0x40; /* SPF: sub-page format, length in bytes 2 and 3 */
		size_t whole;

		if (sub && at + 4 > end)
			return;
		whole = sub ? 4 + (size_t)scsi_get_u16(b + at + 2) : 2 + (size_t)b[at + 1];
		if (!sub && at + 3 <= end && whole >= 3 &&
			(code == SCSI_PAGE_CACHING || code == SCSI_PAGE_CACHING_RBC)) {
			take_caching(out, b + at);
			return;
		}
		at += whole;
	}
}

bool scsi_mode_decode(struct scsi_mode *out, const uint8_t *bytes, size_t length, bool form_10)
{
	struct mode_header h;
	size_t end;

	*out = (struct scsi_mode){ 0 };
	if (!take_header(&h, bytes, length, form_10))
		return false;
	out->write_protected = h.specific & 0x80;
	out->dpo_fua = h.specific & 0x10;
	out->truncated = h.total > length;
	end = h.total < length ? h.total : length;
	if (h.descriptors <= end - h.bytes)
		walk_pages(out, bytes, h.bytes + h.descriptors, end);
	return true;
}
