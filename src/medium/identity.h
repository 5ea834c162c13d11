/* Whether a medium is still the one that was opened: asked at every request, remembered for good. For medium/ only;
 * others use medium_check, medium_lost and medium_explain. */
#ifndef MEDIUM_IDENTITY_H
#define MEDIUM_IDENTITY_H

#include <stdatomic.h>

#include "medium/medium.h"

/* The errno it was lost with, 0 while it is not. */
static inline int identity_lost(const struct medium *m)
{
	return atomic_load_explicit(&m->identity.lost, memory_order_acquire);
}

/* Before a request that may change the medium: 0 when it may go out, or a negative errno. */
int identity_admit(struct medium *m);

#endif
