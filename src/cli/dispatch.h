/* The whole program behind main. */
#ifndef CLI_DISPATCH_H
#define CLI_DISPATCH_H

/* Finds the command and runs it, checks that stdout could be written, returns the exit status. */
int cli_main(int argc, char **argv);

#endif
