#include "cli/command.h"

int cmd_targets(const struct options *o)
{
	(void)o;
	return 3;
}
