/* Does a flush take longer the more was written before it? */
#include "record/flush_pairs.h"

void flush_pairs_wrote(struct flush_pairs *p, uint64_t bytes, bool stored)
{
	/* A write-through often stores what was before it as well. */
	p->waiting_bytes = stored ? 0 : p->waiting_bytes + bytes;
}

static void compare(struct flush_pairs *p, uint64_t bytes, uint64_t ns)
{
	bool more = bytes > p->bytes, longer = ns > p->ns;
	uint64_t most = more ? bytes : p->bytes, least = more ? p->bytes : bytes;
	uint64_t longest = longer ? ns : p->ns, shortest = longer ? p->ns : ns;

	if (most / 2 < least || most == least || longest / 3 * 2 < shortest || longest == shortest)
		return;
	p->telling++;
	p->grew += more == longer;
}

void flush_pairs_flushed(struct flush_pairs *p, uint64_t ns)
{
	if (p->half)
		compare(p, p->waiting_bytes, ns);
	p->half = !p->half;
	p->bytes = p->waiting_bytes;
	p->ns = ns;
	p->waiting_bytes = 0;
}
