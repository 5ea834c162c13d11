/* Fuzz: sizes, numbers, lists and whole command lines. The input is cut into words at newlines; the first word picks
 * the command. */
#include <stdlib.h>
#include <string.h>

#include "analysis/card_bus.h"
#include "base/error.h"
#include "base/number.h"
#include "base/size.h"
#include "cli/command.h"
#include "cli/lists.h"
#include "cli/options.h"
#include "fuzz.h"

enum { WORDS_MAX = 64 };

/* What is parsed and shown must parse to the same again. */
static void try_size(const char *word)
{
	char shown[SIZE_TEXT_MAX], *blank;
	uint64_t bytes, again;

	if (size_parse(word, &bytes) < 0)
		return;
	size_format(shown, bytes);
	blank = strchr(shown, ' ');
	if (!blank)
		abort();
	memmove(blank, blank + 1, strlen(blank));
	if (size_parse(shown, &again) < 0 || again != bytes)
		abort();
}

static void try_word(const char *word)
{
	static const char *const names[2] = { "read", "write" };
	struct error err = { 0 };
	struct size_list list;
	struct card_bus bus;
	bool which[2];
	uint64_t n;
	double d;

	try_size(word);
	number_parse_u64(word, &n);
	if (number_parse_decimal(word, &d) == 0 && !(d >= 0))
		abort();
	if (rate_parse(word, &d) == 0 && !(d >= 0))
		abort();
	if (card_bus_parse(&bus, word, &err) < 0 && !err.text[0])
		abort(); /* refused without a word */
	if (size_list_parse(&list, word, &err) == 0) {
		if (!list.count || list.count > LIST_SIZES_MAX)
			abort();
		for (size_t i = 1; i < list.count; i++)
			if (list.bytes[i - 1] >= list.bytes[i])
				abort();
	}
	pair_list_parse(which, word, "direction", names, &err);
}

static void try_options(int argc, char **argv)
{
	const struct command *c = command_find(argv[0]);
	struct error err = { 0 };
	struct options o;

	if (!c)
		c = &commands[strlen(argv[0]) % command_count];
	if (options_parse(&o, argc, argv, c->options, &err) < 0 && !err.text[0])
		abort(); /* refused without a word */
	options_release(&o);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	char *copy = malloc(size + 1), *argv[WORDS_MAX + 1], *rest = copy;
	int argc = 0;

	if (!copy)
		abort();
	if (size)
		memcpy(copy, data, size);
	copy[size] = 0;
	while (argc < WORDS_MAX && rest) {
		argv[argc] = strsep(&rest, "\n");
		try_word(argv[argc++]);
	}
	argv[argc] = NULL;
	try_options(argc, argv);
	free(copy);
	return 0;
}
