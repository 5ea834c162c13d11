/* SCSI commands as a modelled gadget answers them: bytes in, bytes out. SPC-4, SBC-3. */
#ifndef MEDIUM_MODEL_SCSI_H
#define MEDIUM_MODEL_SCSI_H

#include <stddef.h>
#include <stdint.h>

#include "medium/model_gadget.h"

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

/* 0 when the device answered, whatever it said; -EINVAL for what no host adapter would send (a command of the wrong
 * length, more data than the request limit or fewer than the command moves), or another negative errno (the temporary
 * file failed). */
int model_scsi_run(struct model_gadget *g, struct model_scsi *x);

#endif
