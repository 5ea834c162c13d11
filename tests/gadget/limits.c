/* Which models an emulated bus can carry. */
#include "gadget/limits.h"

#include "base/error.h"
#include "base/size.h"

/* Payload of bulk packets: USB 2.0, tables 5-9 and 5-10. */
static const double ceilings[] = { [MODEL_SPEED_FULL] = 1216000, [MODEL_SPEED_HIGH] = 53248000 };

int limits_check(const struct model_spec *s, const char *path, struct error *err)
{
	const struct model_link *l = &s->link;
	char rate[SIZE_TEXT_MAX], ceiling[SIZE_TEXT_MAX];

	if (l->speed == MODEL_SPEED_NONE)
		return error_set(err, ERROR_USAGE,
			"'%s' cannot run on a bus: its link has no USB speed; give 'speed = full' "
			"or "
			"'speed = high'",
			path);
	if (!l->frames && l->rate > ceilings[l->speed])
		return error_set(err, ERROR_USAGE,
			"'%s' cannot run on a bus: its link of %s is faster than bulk transfers at "
			"that "
			"speed, %s at most (USB 2.0, tables 5-9 and 5-10)",
			path, l->rate > 1e12 ? "unlimited rate" : rate_format(rate, l->rate),
			rate_format(ceiling, ceilings[l->speed]));
	if (l->request_limit_bytes < LIMITS_REQUEST_BYTES)
		return error_set(err, ERROR_USAGE,
			"'%s' cannot run on a bus: its request limit of %s is below that of the "
			"host's "
			"driver, 120 KiB, which a gadget cannot lower; leave 'request limit' out",
			path, size_format(rate, l->request_limit_bytes));
	if (s->events.swap_at || s->events.unplug_at || s->events.reset_at)
		return error_set(err, ERROR_USAGE,
			"'%s' cannot run on a bus: its events are counted in commands, and there "
			"they "
			"are orders (bus_gadget tell); leave that section out",
			path);
	return 0;
}

void limits_adapt(struct model_spec *s)
{
	s->link.host_gap_ns = 0;
}
