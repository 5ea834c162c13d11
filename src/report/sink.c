/* Where a long drawing goes piece by piece. */
#include "report/sink.h"

#include "base/text.h"

enum { ENOUGH_BYTES = 64 * 1024 };

int sink_offer(const struct sink *s, struct text *t, struct error *err)
{
	return t->length > ENOUGH_BYTES || t->failed ? s->take(s->context, t, err) : 0;
}

int sink_finish(const struct sink *s, struct text *t, struct error *err)
{
	return s->take(s->context, t, err);
}
