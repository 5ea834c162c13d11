/* What kinds and keys were called in records of version 1: old name beside new one, and nothing else about them is
 * different, but that times were whole numbers of nanoseconds or milliseconds there. */
#ifndef RECORD_OLD_NAMES_H
#define RECORD_OLD_NAMES_H

enum { RECORD_VERSION_OLD = 1 };

/* Today's name of a kind of line. */
const char *old_names_kind(const char *kind);

/* The old name of a key of this kind, today's name given; NULL when it had the same, or there was none. */
const char *old_names_key(const char *kind, const char *key);

#endif
