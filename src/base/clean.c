/* Strangers' text, made safe to show. */
#include "base/clean.h"

#include <string.h>

#include "base/text.h"

static bool is_continuation(unsigned char c)
{
	return (c & 0xC0) == 0x80;
}

size_t clean_utf8_next(const char *s, uint32_t *code_point)
{
	const unsigned char *u = (const unsigned char *)s;
	static const uint32_t smallest[] = { 0, 0, 0x80, 0x800, 0x10000 };
	size_t length;
	uint32_t c;

	if (u[0] < 0x80) {
		*code_point = u[0];
		return u[0] ? 1 : 0;
	}
	length = u[0] >= 0xF0 ? 4 : u[0] >= 0xE0 ? 3 : u[0] >= 0xC0 ? 2 : 0;
	if (!length || u[0] > 0xF4)
		return 0;
	c = u[0] & (0x7Fu >> length);
	for (size_t i = 1; i < length; i++) {
		if (!is_continuation(u[i]))
			return 0;
		c = c << 6 | (u[i] & 0x3Fu);
	}
	if (c < smallest[length] || c > 0x10FFFF || (c >= 0xD800 && c <= 0xDFFF))
		return 0;
	*code_point = c;
	return length;
}

/* Unicode 15: format characters (category Cf), line and paragraph separators, what programs may ignore
 * (DerivedCoreProperties: Default_Ignorable_Code_Point), and what is no character at all. */
static const struct {
	uint32_t first, last;
} hidden[] = {
	{ 0x00AD, 0x00AD },
	{ 0x034F, 0x034F },
	{ 0x0600, 0x0605 },
	{ 0x061C, 0x061C },
	{ 0x06DD, 0x06DD },
	{ 0x070F, 0x070F },
	{ 0x0890, 0x0891 },
	{ 0x08E2, 0x08E2 },
	{ 0x115F, 0x1160 },
	{ 0x17B4, 0x17B5 },
	{ 0x180B, 0x180F },
	{ 0x200B, 0x200F },
	{ 0x2028, 0x202E },
	{ 0x2060, 0x206F },
	{ 0x3164, 0x3164 },
	{ 0xFDD0, 0xFDEF },
	{ 0xFE00, 0xFE0F },
	{ 0xFEFF, 0xFEFF },
	{ 0xFFA0, 0xFFA0 },
	{ 0xFFF0, 0xFFFB },
	{ 0x110BD, 0x110BD },
	{ 0x110CD, 0x110CD },
	{ 0x13430, 0x1343F },
	{ 0x1BCA0, 0x1BCA3 },
	{ 0x1D173, 0x1D17A },
	{ 0xE0000, 0xE0FFF },
};

bool clean_is_printable(uint32_t c)
{
	if (c < 0x20 || (c >= 0x7F && c < 0xA0) || (c & 0xFFFE) == 0xFFFE)
		return false;
	for (size_t i = 0; i < sizeof hidden / sizeof *hidden; i++)
		if (c >= hidden[i].first && c <= hidden[i].last)
			return false;
	return true;
}

void clean_add(struct text *t, const char *s, bool ascii)
{
	while (*s) {
		uint32_t c = 0;
		size_t n = clean_utf8_next(s, &c);

		if (n && clean_is_printable(c) && (!ascii || c < 0x80))
			text_add(t, s, n);
		else
			text_add(t, "?", 1);
		s += n ? n : 1;
	}
}

void clean_in_place(char *s)
{
	char *to = s;

	while (*s) {
		uint32_t c = 0;
		size_t n = clean_utf8_next(s, &c);

		if (n && clean_is_printable(c)) {
			memmove(to, s, n);
			to += n;
		} else {
			*to++ = '?';
		}
		s += n ? n : 1;
	}
	*to = 0;
}

size_t clean_columns(const char *s)
{
	size_t columns = 0;
	uint32_t c;

	while (*s) {
		size_t n = clean_utf8_next(s, &c);

		s += n ? n : 1;
		columns++;
	}
	return columns;
}
