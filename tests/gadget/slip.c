/* Reads and writes that go wrong on order. */
#include "gadget/slip.h"

#include <stddef.h>
#include <string.h>

#include "medium/scsi.h"

int slip_parse(const char *word, enum slip_kind *kind)
{
	static const char *const words[] = { [SLIP_NONE] = "none",
		[SLIP_LOST] = "lost",
		[SLIP_TAG] = "tag",
		[SLIP_RESIDUE] = "residue",
		[SLIP_SHORT] = "short",
		[SLIP_HIDDEN] = "hidden",
		[SLIP_UNDONE] = "undone" };

	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (!strcmp(word, words[i])) {
			*kind = (enum slip_kind)i;
			return 0;
		}
	return -1;
}

/* Blocks of READ (10) and WRITE (10), which are all that the host's driver sends; 0 for other commands. */
static unsigned blocks_of(const uint8_t *cdb)
{
	return cdb[0] == SCSI_READ_10 || cdb[0] == SCSI_WRITE_10 ? scsi_get_u16(cdb + 7) : 0;
}

/* One of a single block has no half: the next one meets it. */
enum slip_kind slip_next(struct slip *s, const uint8_t *cdb)
{
	unsigned blocks = blocks_of(cdb);

	if (s->kind == SLIP_NONE || !blocks)
		return SLIP_NONE;
	if (s->count + 1 < s->each) {
		s->count++;
		return SLIP_NONE;
	}
	if (blocks < 2)
		return SLIP_NONE;
	s->count = 0;
	return s->kind;
}

void slip_shorten(enum slip_kind kind, uint8_t *cdb)
{
	unsigned half = blocks_of(cdb) / 2;

	if (kind != SLIP_SHORT && kind != SLIP_HIDDEN)
		return;
	cdb[7] = (uint8_t)(half >> 8);
	cdb[8] = (uint8_t)half;
}

void slip_status(enum slip_kind kind, struct model_bulk_command *x)
{
	if (x->status != MODEL_BULK_PASSED)
		return;
	if (kind == SLIP_TAG)
		x->wrong_tag = true;
	else if (kind == SLIP_RESIDUE)
		x->residue = 512;
	else if (kind == SLIP_HIDDEN)
		x->residue = 0;
	/* A short packet ends the data of a gadget that knows nothing is amiss. */
	if (kind == SLIP_SHORT || kind == SLIP_HIDDEN)
		x->stalls = false;
}
