/* What to do about a failure, by what the target is. */
#include "base/advice.h"

#include <stddef.h>
#include <string.h>

static const struct advice {
	const char *transport, *gone, *another;
} advices[] = {
	{ "model", "check its model file", "check its model file" },
	{ "loop", "check what is attached to it", "attach the right file to it" },
	{ NULL, "check cable, power and card", "put the right one in" },
};

static const struct advice *advice_for(const char *transport)
{
	const struct advice *a = advices;

	while (a->transport && strcmp(a->transport, transport) != 0)
		a++;
	return a;
}

const char *advice_gone(const char *transport)
{
	return advice_for(transport)->gone;
}

const char *advice_another(const char *transport)
{
	return advice_for(transport)->another;
}

bool advice_has_plug(const char *transport)
{
	return strcmp(transport, "file") != 0 && strcmp(transport, "model") != 0;
}

const char *advice_errors(bool modelled)
{
	return modelled ? "see its model file" : "see the kernel log (dmesg)";
}
