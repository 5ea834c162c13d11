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
	bool hung; /* a fault: nothing is answered before a reset */
	uint64_t transfers; /* reads and writes so far */
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
	uint32_t excess; /* a fault: zeros that are sent beyond what the host expects */
	bool stalls; /* the endpoint to the host is halted behind them */
	bool silent; /* a fault: no status comes; without a stall no data passes either */
	bool wrong_tag; /* a fault: the status is for another command */
	uint8_t status; /* enum model_bulk_status */
	uint32_t residue;
};

/* 0 or a negative errno: the line gave up, or the temporary file failed. */
int model_bulk_run(struct model_bulk *b, struct model_bulk_command *x);
/* How the status of a read or write that has just been done is wrong, each by its own count. */
enum model_bulk_slip { MODEL_BULK_RIGHT, MODEL_BULK_WRONG_TAG, MODEL_BULK_WRONG_RESIDUE };
enum model_bulk_slip model_bulk_count(struct model_bulk *b);
/* By the bus or by Bulk-Only Mass Storage Reset: forgets what was going on, and says so to the next command. */
void model_bulk_reset(struct model_bulk *b);

#endif
