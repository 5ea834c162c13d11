/* What a modelled gadget says of itself. */
#include "medium/model_mode.h"

#include <string.h>

enum { ALL_PAGES = 0x3F, CACHING = 0x08, CACHING_BYTES = 20, WCE = 0x04, WP = 0x80, DPOFUA = 0x10 };

/* Left-aligned, blanks behind. */
static void put_padded(uint8_t *to, size_t n, const char *text)
{
	size_t length = strnlen(text, n);

	memset(to, ' ', n);
	memcpy(to, text, length);
}

void model_mode_inquiry(const struct model_spec *s, uint8_t out[36])
{
	memset(out, 0, 36);
	out[1] = s->claims.removable ? 0x80 : 0;
	out[2] = 6; /* SPC-4 */
	out[3] = 2; /* response data format */
	out[4] = 36 - 5;
	put_padded(out + 8, 8, s->device.vendor);
	put_padded(out + 16, 16, s->device.product);
	put_padded(out + 32, 4, *s->device.revision ? s->device.revision : "1.00");
}

size_t model_mode_vital_page(const struct model_spec *s, uint8_t page, uint8_t out[64])
{
	size_t n = strlen(s->device.serial);

	memset(out, 0, 64);
	out[1] = page;
	if (page == 0x00) { /* the list of pages */
		out[3] = 2;
		out[5] = 0x80;
		return 6;
	}
	if (page != 0x80)
		return 0;
	out[3] = (uint8_t)n;
	memcpy(out + 4, s->device.serial, n);
	return 4 + n;
}

/* SBC-3, caching mode page. Nothing in it can be changed. */
static size_t caching_page(const struct model_spec *s, bool changeable, uint8_t *out)
{
	memset(out, 0, CACHING_BYTES);
	out[0] = CACHING;
	out[1] = CACHING_BYTES - 2;
	if (s->claims.write_cache && !changeable)
		out[2] = WCE;
	return CACHING_BYTES;
}

size_t model_mode_sense(
	const struct model_spec *s, bool ten, uint8_t page, bool changeable, uint8_t out[64])
{
	size_t header = ten ? 8 : 4, n = header;
	uint8_t specific = 0;

	if (page != ALL_PAGES && (page != CACHING || !s->claims.caching_page))
		return 0;
	if (s->claims.write_protected)
		specific |= WP;
	if (s->claims.fua)
		specific |= DPOFUA;
	memset(out, 0, header);
	if (s->claims.caching_page)
		n += caching_page(s, changeable, out + n);
	out[ten ? 1 : 0] = (uint8_t)(n - (ten ? 2 : 1));
	out[ten ? 3 : 2] = specific;
	return n;
}
