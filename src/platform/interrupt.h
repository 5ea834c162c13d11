/* SIGINT and SIGTERM set a flag; loops look at it between requests. */
#ifndef PLATFORM_INTERRUPT_H
#define PLATFORM_INTERRUPT_H

#include <stdbool.h>

/* also ignores SIGPIPE and SIGXFSZ: a failed write says so by its errno */
void interrupt_install(void);
bool interrupt_requested(void);
/* How many such signals came so far. */
unsigned interrupt_count(void);

#endif
