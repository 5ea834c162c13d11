/* blkassay: hands its arguments to the command line layer. */
#include "cli/command.h"

int main(int argc, char **argv)
{
	return cli_main(argc, argv);
}
