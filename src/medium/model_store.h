/* What a gadget model's card holds: an unlinked sparse temporary file, so that memory stays flat whatever the capacity
 * and however much is written. Blocks never written read as the fill byte. */
#ifndef MEDIUM_MODEL_STORE_H
#define MEDIUM_MODEL_STORE_H

#include <stddef.h>
#include <stdint.h>

struct error;

struct model_store {
	int fd; /* -1: nothing was ever written and nothing can be */
	unsigned char fill;
};

/* In $TMPDIR, else /var/tmp, else /tmp. 0, or -1 with *err. */
int model_store_open(struct model_store *s, unsigned char fill, struct error *err);
void model_store_empty(struct model_store *s, unsigned char fill); /* for reading only */
void model_store_close(struct model_store *s);

/* 0 or a negative errno (-ENOSPC when the temporary folder is full). */
int model_store_write(struct model_store *s, uint64_t at, const void *buf, size_t len);
int model_store_clear(struct model_store *s); /* as if nothing had ever been written */
int model_store_read(const struct model_store *s, uint64_t at, void *buf, size_t len);

#endif
