/* Promises that an audit asks after. */
#include "base/promise.h"

#include <string.h>

static const struct promise_row rows[] = {
	[PROMISE_ID_INQUIRY] = { "inquiry",
		"INQUIRY is answered in full and agrees with the kernel", "answers" },
	[PROMISE_ID_CAPACITY] = { "capacity", "READ CAPACITY names the size the kernel uses",
		"answers" },
	[PROMISE_ID_CACHE_PAGE] = { "cache-page",
		"the caching page is found where the kernel looks for it", "answers" },
	[PROMISE_ID_KERNEL_VIEW] = { "kernel-view",
		"the kernel believes what the device says of its cache", "answers" },
	[PROMISE_ID_BUFFER] = { "buffer",
		"writes wait for the card, or run ahead of it by a bounded amount", "bursts" },
	[PROMISE_ID_FLUSH] = { "flush", "SYNCHRONIZE CACHE returns when everything is stored",
		"flushes" },
	[PROMISE_ID_FUA] = { "fua", "a write with FUA returns when it is stored", "writes" },
	[PROMISE_ID_FSYNC] = { "fsync",
		"fsync through the kernel returns when everything is stored", "flushes" },
	[PROMISE_ID_READ_AFTER_WRITE] = { "read-after-write", "a read sees what was just written",
		"blocks" },
	[PROMISE_ID_INTERLEAVED] = { "interleaved", "reads between writes see the newest data",
		"blocks" },
	[PROMISE_ID_OVERLAP] = { "overlap", "of several writes to one place the last one wins",
		"blocks" },
	[PROMISE_ID_PARTIAL_OVERLAP] = { "partial-overlap",
		"writes that cover parts of one another stay in order", "blocks" },
	[PROMISE_ID_STRADDLE] = { "straddle", "requests that only half fit the buffer arrive whole",
		"blocks" },
	[PROMISE_ID_ODD_LENGTH] = { "odd-length",
		"odd lengths are stored exactly, and a length of 0 does nothing", "blocks" },
	[PROMISE_ID_STORED] = { "stored", "every write that was acknowledged and flushed is stored",
		"blocks" },
	[PROMISE_ID_PAST_END] = { "past-end",
		"requests past the last block are refused, and touch nothing", "requests" },
	[PROMISE_ID_SENSE] = { "sense",
		"sense data is gone once it was told and the next command went well", "refusals" },
	[PROMISE_ID_BACKGROUND_ERROR] = { "background-error",
		"a write that fails after it was acknowledged is reported", "errors" },
	[PROMISE_ID_POWER_CUT] = { "power-cut",
		"after a power cut all that was flushed is there, the rest old or new", "blocks" },
	[PROMISE_ID_WRITE_BEHIND] = { "write-behind",
		"a device that acknowledges early says so (WCE 1)", "answers" },
	[PROMISE_ID_TRANSFER_LENGTH] = { "transfer-length",
		"a read or write that is answered GOOD has moved all of its data", "requests" },
	[PROMISE_ID_EJECT] = { "eject", "an eject empties the buffer before it returns", "ejects" },
	[PROMISE_ID_EJECTED] = { "ejected",
		"after an eject the medium is gone until it is loaded again", "ejects" },
	[PROMISE_ID_STEADY] = { "steady",
		"what it says of itself stays the same while it is tested", "answers" },
	[PROMISE_ID_ANSWERED] = { "answered", "every command is answered, if only by a refusal",
		"commands" },
	[PROMISE_ID_VITAL_PAGES] = { "vital-pages",
		"a vital product data page is answered as what it is, or refused", "pages" },
};
_Static_assert(sizeof rows / sizeof *rows == PROMISE_IDS, "one row a promise");

const struct promise_row *promise_row(enum promise_id id)
{
	return &rows[id];
}

int promise_parse(const char *name)
{
	for (int i = 0; i < PROMISE_IDS; i++)
		if (!strcmp(rows[i].name, name))
			return i;
	return -1;
}

static const struct {
	const char *name, *code;
} verdicts[] = {
	[PROMISE_KEPT] = { "kept", "kept" },
	[PROMISE_BROKEN] = { "broken", "broken" },
	[PROMISE_NOT_SHOWN] = { "not shown", "not-shown" },
	[PROMISE_NOT_ASKED] = { "not asked", "not-asked" },
};
_Static_assert(sizeof verdicts / sizeof *verdicts == PROMISE_VERDICTS, "one row a verdict");

const char *promise_verdict_name(enum promise_verdict v)
{
	return verdicts[v].name;
}

const char *promise_verdict_code(enum promise_verdict v)
{
	return verdicts[v].code;
}

bool promise_verdict_parse(const char *name, enum promise_verdict *out)
{
	for (int i = 0; i < PROMISE_VERDICTS; i++)
		if (!strcmp(verdicts[i].name, name)) {
			*out = (enum promise_verdict)i;
			return true;
		}
	return false;
}

size_t promises_tally(const struct promises *f, enum promise_verdict v)
{
	size_t n = 0;

	for (size_t i = 0; i < f->count; i++)
		n += f->list[i].verdict == v;
	return n;
}

enum promise_verdict promises_conclude(const struct promises *f)
{
	if (promises_tally(f, PROMISE_BROKEN))
		return PROMISE_BROKEN;
	if (f->partial || promises_tally(f, PROMISE_NOT_SHOWN))
		return PROMISE_NOT_SHOWN;
	return promises_tally(f, PROMISE_KEPT) ? PROMISE_KEPT : PROMISE_NOT_ASKED;
}
