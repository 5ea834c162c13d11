/* Whether an open block device still is what it was when it was opened: by the kernel's disk sequence, its size, its place
 * in sysfs, and what the device itself says. */
#ifndef MEDIUM_DEVICE_IDENTITY_H
#define MEDIUM_DEVICE_IDENTITY_H

#include <stdbool.h>
#include <stdint.h>

#include "medium/medium.h"

struct scsi_exchange;

struct device_identity {
	int fd; /* borrowed */
	unsigned major, minor;
	uint64_t sequence; /* 0: the kernel has none (before Linux 5.15) */
	uint64_t size_bytes;
	/* answers to its own TEST UNIT READY that were no success; the kernel counts them */
	uint64_t sent_errors;
	/* The last command sent past the kernel's block layer of which the host took the answer for broken or missing, and reset
	 * the device: its operation code and host_status (0: none). A reset moves the disk sequence, too. */
	uint8_t broken_opcode;
	uint16_t broken_status;
	bool every_request; /* its medium can go while it is held open: asked at each request */
};

/* Of the device open at fd, now. 0, or a negative errno: what it is cannot be found out. */
int device_identity_take(struct device_identity *d, int fd, const struct medium_traits *t,
	unsigned major, unsigned minor);

/* As the `check` of medium_ops; m for the sentence. */
int device_identity_check(struct device_identity *d, enum medium_check how, const struct medium *m,
	struct error *why);

/* What a command came to that was sent past the block layer. */
void device_identity_note(struct device_identity *d, const struct scsi_exchange *x);

/* As its `renew`: unit attentions absorbed, the kernel made to look, same size as before. */
int device_identity_renew(struct device_identity *d, const struct medium *m, struct error *why);

/* At opening, before the first write: unit attentions that waited from before are absorbed; one that tells of another medium
 * leaves a doubt, for whoever has tell-tales. 0, or a negative errno with *why when the kernel still has the size of a
 * medium that is not there any more. */
int device_identity_settle(int fd, bool whole_disk, struct medium *m, struct error *why);

#endif
