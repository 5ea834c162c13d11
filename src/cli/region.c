/* --region START+LENGTH. */
#include "cli/region.h"

#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "base/size.h"

static int split(uint64_t *start, uint64_t *bytes, const char *text)
{
	const char *plus = strchr(text, '+');
	char first[40];

	if (!plus || (size_t)(plus - text) >= sizeof first)
		return -1;
	memcpy(first, text, (size_t)(plus - text));
	first[plus - text] = 0;
	return size_parse(first, start) < 0 || size_parse(plus + 1, bytes) < 0 ? -1 : 0;
}

int region_parse(uint64_t *start, uint64_t *bytes, const char *text, uint64_t target_bytes,
	uint64_t align, struct error *err)
{
	unsigned long long block = align, size = target_bytes;
	uint64_t end;

	*start = 0;
	*bytes = number_round_down(target_bytes, align);
	if (!target_bytes)
		return error_set(err, ERROR_REFUSED,
			"the target holds nothing: a device without a card, or an empty file; "
			"insert the card, or name another target");
	if (!*bytes)
		return error_set(err, ERROR_REFUSED,
			"the target holds %llu bytes, less than one block of %llu: too small", size,
			block);
	if (!text)
		return 0;
	if (split(start, bytes, text) < 0)
		return error_set(err, ERROR_USAGE,
			"--region '%s' is not START+LENGTH; write it like 0+64Mi", text);
	if (!*bytes)
		return error_set(err, ERROR_USAGE,
			"--region '%s' has no length; give at least one block of %llu bytes", text,
			block);
	if (*start % align || *bytes % align)
		return error_set(err, ERROR_USAGE,
			"--region '%s': start and length must be multiples of %llu bytes here",
			text, block);
	if (!number_add_u64(*start, *bytes, &end) || end > target_bytes)
		return error_set(err, ERROR_USAGE,
			"--region '%s' goes past the end of the target, which holds %llu bytes",
			text, size);
	return 0;
}
