/* Option values that are lists. */
#include "cli/lists.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"

static int parse_one_size(const char *text, size_t length, uint64_t *bytes, struct error *err)
{
	char word[40];

	if (!length || length >= sizeof word)
		return error_set(err, ERROR_USAGE,
			"--sizes has an empty or overlong entry; write it like 512..1Mi or "
			"512,4Ki,24Ki");
	memcpy(word, text, length);
	word[length] = 0;
	if (size_parse(word, bytes) < 0 || !*bytes)
		return error_set(err, ERROR_USAGE,
			"--sizes: '%s' is not a request size; write it like 512, 4Ki or 1Mi", word);
	return 0;
}

static int add_size(struct size_list *out, uint64_t bytes, struct error *err)
{
	size_t i = out->count;

	for (size_t j = 0; j < out->count; j++)
		if (out->bytes[j] == bytes)
			return 0;
	if (out->count == LIST_SIZES_MAX)
		return error_set(
			err, ERROR_USAGE, "--sizes lists more than %d sizes", LIST_SIZES_MAX);
	for (; i > 0 && out->bytes[i - 1] > bytes; i--)
		out->bytes[i] = out->bytes[i - 1];
	out->bytes[i] = bytes;
	out->count++;
	return 0;
}

/* Somebody who writes 512..1M wants the megabyte measured, too: leaving it out would pass unnoticed. */
static int refuse_missed(uint64_t low, uint64_t below, uint64_t high, struct error *err)
{
	char from[SIZE_TEXT_MAX], end[SIZE_TEXT_MAX], next[SIZE_TEXT_MAX];

	return error_set(err, ERROR_USAGE,
		"--sizes: doubling from %s never meets %llu bytes; end the range at %s or %s, or "
		"list the size after a comma",
		size_format(from, low), (unsigned long long)high, size_format(end, below),
		size_format(next, below * 2));
}

static int add_range(struct size_list *out, uint64_t low, uint64_t high, struct error *err)
{
	if (low > high)
		return error_set(err, ERROR_USAGE,
			"--sizes: a range goes from the smaller size to the larger, like 512..1Mi");
	for (uint64_t n = low;; n *= 2) {
		if (add_size(out, n, err) < 0)
			return -1;
		if (n > high / 2)
			return n == high ? 0 : refuse_missed(low, n, high, err);
	}
}

static int add_entry(struct size_list *out, const char *text, size_t length, struct error *err)
{
	const char *dots = memmem(text, length, "..", 2);
	uint64_t low, high;

	if (!dots)
		return parse_one_size(text, length, &low, err) < 0 ? -1 : add_size(out, low, err);
	if (parse_one_size(text, (size_t)(dots - text), &low, err) < 0 ||
		parse_one_size(dots + 2, length - (size_t)(dots - text) - 2, &high, err) < 0)
		return -1;
	return add_range(out, low, high, err);
}

int size_list_parse(struct size_list *out, const char *text, struct error *err)
{
	*out = (struct size_list){ .count = 0 };
	for (;;) {
		size_t length = strcspn(text, ",");

		if (add_entry(out, text, length, err) < 0)
			return -1;
		if (!text[length])
			return 0;
		text += length + 1;
	}
}

int size_list_check(
	const struct size_list *list, uint64_t block, uint64_t largest, struct error *err)
{
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];

	for (size_t i = 0; i < list->count; i++) {
		if (list->bytes[i] % block)
			return error_set(err, ERROR_USAGE,
				"--sizes: %llu byte%s is not a multiple of the target's block of "
				"%llu bytes",
				(unsigned long long)list->bytes[i], text_plural(list->bytes[i]),
				(unsigned long long)block);
		if (list->bytes[i] > largest)
			return error_set(err, ERROR_USAGE,
				"--sizes: %s is larger than %s, the most that fits here",
				size_format(a, list->bytes[i]), size_format(b, largest));
	}
	return 0;
}

int pair_list_parse(bool which[2], const char *text, const char *option, const char *const names[2],
	struct error *err)
{
	which[0] = which[1] = false;
	for (;;) {
		size_t length = strcspn(text, ",");
		bool known = false;

		for (int i = 0; i < 2; i++) {
			if (strlen(names[i]) == length && !memcmp(names[i], text, length))
				which[i] = known = true;
		}
		if (!known)
			return error_set(err, ERROR_USAGE,
				"--%s takes %s, %s or both with a comma, not '%.*s'", option,
				names[0], names[1], (int)(length > 40 ? 40 : length), text);
		if (!text[length])
			return 0;
		text += length + 1;
	}
}
