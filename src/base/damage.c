/* Names of the classes of damage. */
#include "base/damage.h"

#include <string.h>

static const char *const names[DAMAGE_CLASSES] = {
	[DAMAGE_NONE] = "none",
	[DAMAGE_UNREADABLE] = "unreadable",
	[DAMAGE_BLANK] = "blank",
	[DAMAGE_STALE] = "stale",
	[DAMAGE_MISPLACED] = "misplaced",
	[DAMAGE_TORN] = "torn",
	[DAMAGE_SHIFTED] = "shifted",
	[DAMAGE_BIT_ERROR] = "bit error",
	[DAMAGE_FOREIGN] = "foreign",
};

const char *damage_class_name(enum damage_class c)
{
	return names[c];
}

int damage_class_parse(const char *name)
{
	for (int i = 0; i < DAMAGE_CLASSES; i++)
		if (!strcmp(names[i], name))
			return i;
	return -1;
}
