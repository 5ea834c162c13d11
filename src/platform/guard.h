/* Whether a target may be written, why not, and its consent token. Decides; opens and writes nothing. */
#ifndef PLATFORM_GUARD_H
#define PLATFORM_GUARD_H

#include <stdbool.h>
#include <stddef.h>

#include "platform/blockdev.h"
#include "platform/usage.h"

enum guard_reason {
	GUARD_FINE,
	GUARD_SYSTEM, /* holds /, /usr, /boot or this program: never, whatever the options */
	GUARD_MOUNTED, /* it, a partition of its disk, or something stacked on them */
	GUARD_SWAP,
	GUARD_HELD, /* by device mapper, RAID, a loop device */
	GUARD_ALIAS, /* a loop device on a block device: another way to write that one */
	GUARD_READ_ONLY,
	GUARD_EMPTY, /* no card in it */
	GUARD_AMBIGUOUS, /* another device present has the same token */
	GUARD_FIXED, /* not removable: needs --fixed-disk */
	GUARD_UNKNOWN, /* what uses it could not be found out */
};

enum { GUARD_TOKEN_MAX = 160, GUARD_SENTENCE_MAX = 640 };

struct guard_verdict {
	bool may_write;
	enum guard_reason reason;
	char sentence[GUARD_SENTENCE_MAX]; /* why not and what to do; "" when fine */
	char token[GUARD_TOKEN_MAX]; /* only [A-Za-z0-9._-] */
};

/* "fine", "system", "mounted", ... one word for lists. */
const char *guard_reason_word(enum guard_reason reason);

/* What the device is: serial and size ("A0031-7948206080"); vendor and model where there is no serial; a loop device's
 * file, as below, and size. A partition adds its own name's number: "A0031-7948206080-part1". */
void guard_token_of_device(char out[GUARD_TOKEN_MAX], const struct blockdev *d);
/* An image by its full real path: base name and the CRC-32 of the whole path ("card.img-3f0a91c2"), so that the same line in
 * another folder names nothing there. */
void guard_token_of_image(char out[GUARD_TOKEN_MAX], const char *place);
/* A model's name. */
void guard_token_of_name(char out[GUARD_TOKEN_MAX], const char *name);
/* Whether two tokens of images (loop: of loop devices) are of files with the same base name, whatever folders they lie in:
 * one may have been moved since it was written about. Those of earlier versions, without the path's CRC-32, fit too. */
bool guard_token_has_same_name(const char *a, const char *b, bool loop);

/* all: every disk present, for ambiguity. usage: of d's whole disk; NULL when it could not be read. A partition is
 * fine only when nothing else of its disk is in use either. Loop devices count as removable: they are made on purpose
 * and lie in a file. */
void guard_judge_device(struct guard_verdict *out, const struct blockdev *d,
	const struct blockdev *all, size_t count, const struct usage *usage, bool fixed_allowed);

/* path: as the user named it, for the sentence; place: its full real path. */
void guard_judge_image(
	struct guard_verdict *out, const char *path, const char *place, const struct usage *usage);

/* The same after reading everything itself; src may be NULL. 0, or -1 with *err when sysfs cannot be read. */
int guard_check_device(struct guard_verdict *out, const struct usage_sources *src,
	const struct blockdev *d, bool fixed_allowed, struct error *err);

#endif
