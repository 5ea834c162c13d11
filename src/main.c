/* blkassay: hands its arguments to the command line layer. */
#include "cli/dispatch.h"

int main(int argc, char **argv)
{
	return cli_main(argc, argv);
}
