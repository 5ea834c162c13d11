/* Who else has a file or block device open: /proc/PID/fd and fdinfo, /proc/locks (proc(5)). What the kernel hides from
 * this user (processes of others, without root) cannot be seen: finding nobody proves nothing. */
#ifndef PLATFORM_OPENERS_H
#define PLATFORM_OPENERS_H

#include <stdbool.h>
#include <sys/types.h>

struct stat;

struct opener {
	pid_t pid;
	char program[64]; /* as the kernel calls it, cleaned; "" unknown */
	bool writes; /* open for writing */
	bool locks; /* holds a lock on it by this descriptor */
};

enum opener_want { OPENER_ANY, OPENER_WRITES, OPENER_LOCKS };

/* The first process but this one that has what `st` describes open in the wanted way; a block device by its number, under
 * whatever name. Takes milliseconds with hundreds of processes. true: *out is filled. */
bool opener_find(struct opener *out, const struct stat *st, enum opener_want want);

/* "process 1234 (name)", in *text; "another program" when o is NULL. Returns text. */
const char *opener_words(char text[112], const struct opener *o);

#endif
