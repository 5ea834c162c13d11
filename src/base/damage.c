/* The classes of damage. */
#include "base/damage.h"

#include <string.h>

static const struct damage_row rows[] = {
	[DAMAGE_NONE] = { "none", "none", "right", '=', "what was written last", "" },
	[DAMAGE_UNREADABLE] = { "unreadable", "unreadable", "unreadable", 'U',
		"the target refuses to read it, or ends before it",
		"the card itself, or firmware that gives up on a slow read" },
	[DAMAGE_BLANK] = { "blank", "blank", "blank", 'B', "all bytes are the same",
		"a write that was acknowledged and dropped, a buffer that was sent before it was "
		"filled, or an address beyond the real capacity" },
	[DAMAGE_STALE] = { "stale", "stale", "stale", 'S',
		"whole, but what was there before the last write",
		"an acknowledged write that was lost behind a cache, or dropped because a buffer "
		"was full" },
	[DAMAGE_MISPLACED] = { "misplaced", "misplaced", "misplaced", 'M',
		"a whole block that belongs to another place",
		"a buffer that was used again before it was sent, or a block number cut to too few "
		"bits" },
	[DAMAGE_TORN] = { "torn", "torn", "torn", 'T',
		"part of the block, or of its request, is not new",
		"a multi-block write cut short, or a card operation that ended before its last "
		"blocks were programmed" },
	[DAMAGE_SHIFTED] = { "shifted", "shifted", "shifted", 'H', "the right bytes, slipped",
		"bytes lost or doubled on the card bus, or in a FIFO that over- or underruns" },
	[DAMAGE_BIT_ERROR] = { "bit error", "bit-error", "with bit errors", 'E',
		"the right bytes with some bits flipped",
		"timing or power on a bus, bad RAM, or a worn-out card; the link's own CRC does "
		"not cover what happens inside the gadget" },
	[DAMAGE_FOREIGN] = { "foreign", "foreign", "foreign", 'F', "nothing that this tool wrote",
		"data that was there before, or memory that was never filled" },
};

/* A class without its row does not compile, or leaves a hole that a test finds. */
_Static_assert(sizeof rows / sizeof *rows == DAMAGE_CLASSES, "one row a class of damage");

const struct damage_row *damage_row(enum damage_class c)
{
	return &rows[c];
}

const char *damage_class_name(enum damage_class c)
{
	return rows[c].name;
}

int damage_class_parse(const char *name)
{
	for (int i = 0; i < DAMAGE_CLASSES; i++)
		if (!strcmp(rows[i].name, name))
			return i;
	return -1;
}
