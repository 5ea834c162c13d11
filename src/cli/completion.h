/* Shell completion, made from the tables of commands and options. */
#ifndef CLI_COMPLETION_H
#define CLI_COMPLETION_H

#include <stdbool.h>
#include <stdio.h>

/* shell: bash, zsh or fish. False when it is none of them. */
bool completion_print(FILE *out, const char *shell);

#endif
