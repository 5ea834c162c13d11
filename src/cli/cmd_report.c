#include "cli/command.h"

int cmd_report(const struct options *o)
{
	(void)o;
	return 3;
}
