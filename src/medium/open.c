/* Which medium a name means. */
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/raw.h"

int medium_open(
	struct medium **out, const char *target, enum medium_access access, struct error *err)
{
	*out = NULL;
	if (model_is_target(target))
		return model_open(out, target, access, err);
	return raw_open(out, target, access, err);
}

int medium_open_held(struct medium **out, struct hold *hold, const char *target,
	enum medium_access access, struct error *err)
{
	return hold ? raw_open_held(out, hold, target, access, err)
		    : medium_open(out, target, access, err);
}
