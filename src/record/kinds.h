/* All kinds of lines there are, for their documentation and for tests. */
#ifndef RECORD_KINDS_H
#define RECORD_KINDS_H

#include <stddef.h>

struct line_kind;

struct kind_group {
	const char *name; /* of the records that have them */
	const struct line_kind *const *kinds;
	size_t count;
};

extern const struct kind_group kind_groups[];
extern const size_t kind_group_count;

#endif
