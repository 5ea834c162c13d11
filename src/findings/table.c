/* Tables: reading them. */
#include "findings/table.h"

struct value table_value(const struct table *t, size_t row, const struct column *c)
{
	return c->value((const char *)t->rows + row * t->spec->row_bytes);
}

bool table_shows(const struct table *t, const struct column *c)
{
	return c->heading && (!c->shown || c->shown(t));
}
