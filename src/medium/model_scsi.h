/* SCSI commands as a modelled gadget answers them: bytes in, bytes out. SPC-4, SBC-3. */
#ifndef MEDIUM_MODEL_SCSI_H
#define MEDIUM_MODEL_SCSI_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "medium/model_gadget.h"
#include "medium/scsi.h"

enum { MODEL_SENSE_BYTES = 18 };

struct model_scsi {
	const uint8_t *cdb;
	size_t cdb_len;
	uint8_t *data; /* in or out, as the command has it */
	size_t data_len;
	/* the answer */
	uint8_t status; /* 00h GOOD, 02h CHECK CONDITION */
	size_t moved; /* bytes of data */
	uint8_t sense[MODEL_SENSE_BYTES]; /* fixed format, with CHECK CONDITION */
};

/* What a command moves, by its CDB of 16 bytes alone. */
struct model_meaning {
	enum scsi_direction direction; /* SCSI_NO_DATA also for commands the device does not know */
	bool exact; /* READ and WRITE: this many bytes; other answers are as long as they are */
	uint64_t bytes;
};
struct model_meaning model_scsi_meaning(const struct model_spec *s, const uint8_t *cdb);

/* 0 when the device answered, whatever it said; -EINVAL for what no host adapter would send (a command of the wrong
 * length, more data than the request limit or fewer than the command moves), or another negative errno (the temporary
 * file failed). */
int model_scsi_run(struct model_gadget *g, struct model_scsi *x);

#endif
