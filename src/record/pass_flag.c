/* Flags of a pass. */
#include "record/pass_flag.h"

#include <stdio.h>
#include <string.h>

/* A flag without its row does not compile. */
#define FLAGS(ROW)                                                                               \
	ROW(FOREIGN_IO, "foreign-io",                                                            \
		"the device served more than the pass asked for; like errors, cut, resets and "  \
		"host this makes it count for nothing")                                          \
	ROW(SPLIT, "split", "more requests reached the device than the host sent")               \
	ROW(MERGED, "merged", "fewer requests reached the device than the host sent")            \
	ROW(WRAPPED, "wrapped", "the region was used up and begun again")                        \
	ROW(SHORT, "short", "too few requests for a reliable rate")                              \
	ROW(ERRORS, "errors", "requests failed")                                                 \
	ROW(CUT, "cut", "interrupted before its time was up")                                    \
	ROW(TAIL, "tail",                                                                        \
		"touched the last 8 sectors, which the kernel asks of a USB disk one by one")    \
	ROW(RESETS, "resets",                                                                    \
		"the kernel counted errors, resets or timeouts of the device meanwhile, and no " \
		"request of the pass failed")                                                    \
	ROW(HOST, "host",                                                                        \
		"this computer was away for some of it: stopped, suspended, too busy, or its "   \
		"clock was moved")
/* NOLINTBEGIN(bugprone-macro-parentheses): pieces of an initializer and of a sum */
#define WORD_OF(bit, name, meaning) [RUN_PASS_BIT_##bit] = name,
#define ROW_OF(bit, name, meaning) [RUN_PASS_BIT_##bit] = { name, meaning },
#define ONE(bit, name, meaning) +1
/* NOLINTEND(bugprone-macro-parentheses) */

const char *const run_pass_flag_words[RUN_PASS_FLAGS + 1] = { FLAGS(WORD_OF) };
static const struct run_pass_flag_row rows[RUN_PASS_FLAGS] = { FLAGS(ROW_OF) };
_Static_assert(FLAGS(ONE) == RUN_PASS_FLAGS, "one row a flag of a pass");

const struct run_pass_flag_row *run_pass_flag_row(enum run_pass_bit bit)
{
	return &rows[bit];
}

void run_pass_flags_format(char *out, size_t room, uint32_t flags)
{
	size_t n = 0;

	out[0] = 0;
	for (int i = 0; i < RUN_PASS_FLAGS; i++)
		if (flags & UINT32_C(1) << i && n + strlen(rows[i].name) + 2 <= room)
			n += (size_t)snprintf(
				out + n, room - n, "%s%s", n ? "+" : "", rows[i].name);
}
