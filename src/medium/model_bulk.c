/* Bulk-only transport as a modelled gadget does it. */
#include "medium/model_bulk.h"

#include <string.h>

#include "medium/scsi_sense.h"

enum { ANSWER_BYTES = 256 }; /* more than any answer but a read's */

/* Cases 2, 3, 7, 8, 10 and 13, as far as the command itself tells; an answer's length is known when it is made. */
static bool disagree(const struct model_meaning *m, const struct model_bulk_command *x)
{
	if (m->exact && m->bytes > x->length)
		return true;
	if (m->direction == SCSI_DATA_OUT)
		return m->bytes && x->in;
	return m->direction == SCSI_DATA_IN && x->length && !x->in && (!m->exact || m->bytes);
}

static void phase_error(struct model_bulk_command *x)
{
	x->status = MODEL_BULK_PHASE_ERROR;
	x->moved = 0;
}

/* A command that is answered here, and that the gadget counts like any other. */
static int nothing(struct model_bulk *b)
{
	int rc = model_gadget_arrive(b->gadget);

	return rc < 0 ? rc : model_gadget_nothing(b->gadget);
}

static int refuse_phases(struct model_bulk *b, struct model_bulk_command *x)
{
	phase_error(x);
	return nothing(b);
}

static void fail(struct model_bulk *b, struct model_bulk_command *x, const uint8_t *sense)
{
	x->status = MODEL_BULK_FAILED;
	b->told = true;
	memcpy(b->sense, sense, sizeof b->sense);
}

/* More than the gadget takes at once, which no host of its speed asks for. */
static int refuse_length(struct model_bulk *b, struct model_bulk_command *x)
{
	static const struct scsi_sense why = {
		.response_code = 0x70, .key = SENSE_ILLEGAL_REQUEST, .code = SENSE_INVALID_FIELD
	};
	uint8_t sense[20];

	scsi_sense_encode(sense, &why);
	fail(b, x, sense);
	return nothing(b);
}

static int run_scsi(struct model_bulk *b, struct model_bulk_command *x, struct model_scsi s)
{
	int rc;

	s.cdb = x->cdb;
	s.cdb_len = sizeof x->cdb;
	rc = model_scsi_run(b->gadget, &s);
	if (rc < 0)
		return rc;
	x->moved = (uint32_t)s.moved;
	if (s.status == SCSI_GOOD)
		b->told = false;
	else
		fail(b, x, s.sense);
	return 0;
}

/* Sense of a command that failed goes before anything the device would say now. */
static int hand_out_sense(struct model_bulk *b, struct model_bulk_command *x, uint8_t *answer)
{
	int rc = nothing(b);

	memcpy(answer, b->sense, sizeof b->sense);
	x->moved = x->cdb[4] < sizeof b->sense ? x->cdb[4] : sizeof b->sense;
	b->told = false;
	return rc;
}

static int answer(struct model_bulk *b, struct model_bulk_command *x)
{
	uint8_t bytes[ANSWER_BYTES];
	struct model_scsi s = { .data = bytes, .data_len = sizeof bytes };
	int rc = x->cdb[0] == SCSI_REQUEST_SENSE && b->told ? hand_out_sense(b, x, bytes)
							    : run_scsi(b, x, s);

	if (rc < 0)
		return rc;
	if (x->moved > x->length)
		phase_error(x);
	else if (x->moved)
		memcpy(x->data, bytes, x->moved);
	return 0;
}

int model_bulk_run(struct model_bulk *b, struct model_bulk_command *x)
{
	const struct model_spec *s = &b->gadget->spec;
	struct model_meaning m = model_scsi_meaning(s, x->cdb);
	int rc;

	x->moved = 0;
	x->status = MODEL_BULK_PASSED;
	if (disagree(&m, x))
		rc = refuse_phases(b, x);
	else if (!m.exact)
		rc = answer(b, x);
	else if (m.bytes > s->link.request_limit_bytes)
		rc = refuse_length(b, x);
	else
		rc = run_scsi(b, x, (struct model_scsi){ .data = x->data, .data_len = x->length });
	x->residue = x->length - x->moved;
	/* 6.7.2: less than the host asked for ends in a stall. */
	x->stalls = x->in && x->residue;
	return rc;
}

void model_bulk_reset(struct model_bulk *b)
{
	b->told = false;
	b->gadget->removal_prevented = false;
	b->gadget->was_reset = true;
}
