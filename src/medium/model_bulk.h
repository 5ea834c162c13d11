/* Bulk-only transport as a modelled gadget does it: what passes for one command and its status. USB Mass Storage Class,
 * Bulk-Only Transport 1.0: sections 5 and 6, the cases of 6.7 where host and device disagree. The same decisions serve
 * model:FILE and the gadget on a real bus (tests/gadget). */
#ifndef MEDIUM_MODEL_BULK_H
#define MEDIUM_MODEL_BULK_H

#include <stdbool.h>
#include <stdint.h>

#include "medium/model_gadget.h"
#include "medium/model_scsi.h"

struct model_bulk {
	struct model_gadget *gadget;
	bool told; /* the last command failed, and why is in sense until it is asked for */
	uint8_t sense[MODEL_SENSE_BYTES];
};

enum model_bulk_status { MODEL_BULK_PASSED, MODEL_BULK_FAILED, MODEL_BULK_PHASE_ERROR };

struct model_bulk_command {
	/* the command block wrapper */
	uint8_t cdb[SCSI_CDB_MAX];
	uint32_t length; /* of the data the host expects to move */
	bool in; /* to the host */
	uint8_t *data; /* that long: a write's data, or room for an answer */
	/* what passes */
	uint32_t moved; /* bytes of data that mean something; the host's data is taken whole */
	bool stalls; /* the endpoint to the host is halted behind them */
	uint8_t status; /* enum model_bulk_status */
	uint32_t residue;
};

/* 0 or a negative errno: the line gave up, or the temporary file failed. */
int model_bulk_run(struct model_bulk *b, struct model_bulk_command *x);
/* By the bus or by Bulk-Only Mass Storage Reset: forgets what was going on, and says so to the next command. */
void model_bulk_reset(struct model_bulk *b);

#endif
