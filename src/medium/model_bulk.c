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

static void forget_sense(struct model_bulk *b)
{
	if (!b->gadget->spec.faults.sense_stays)
		b->told = false;
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
		forget_sense(b);
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
	forget_sense(b);
	return rc;
}

static bool sends_too_much(const struct model_bulk *b, const struct model_bulk_command *x)
{
	return b->gadget->spec.faults.mode_sense == MODEL_MODE_LONG &&
	       (x->cdb[0] == SCSI_MODE_SENSE_6 || x->cdb[0] == SCSI_MODE_SENSE_10);
}

static int answer(struct model_bulk *b, struct model_bulk_command *x)
{
	uint8_t bytes[ANSWER_BYTES];
	struct model_scsi s = { .data = bytes, .data_len = sizeof bytes };
	int rc = x->cdb[0] == SCSI_REQUEST_SENSE && b->told ? hand_out_sense(b, x, bytes)
							    : run_scsi(b, x, s);

	if (rc < 0)
		return rc;
	if (x->length && x->moved > x->length && sends_too_much(b, x)) {
		x->excess = x->moved - x->length;
		x->moved = x->length;
	}
	if (x->moved > x->length)
		phase_error(x);
	else if (x->moved)
		memcpy(x->data, bytes, x->moved);
	return 0;
}

enum model_bulk_slip model_bulk_count(struct model_bulk *b)
{
	const struct model_faults *f = &b->gadget->spec.faults;

	b->transfers++;
	if (f->wrong_tag && b->transfers % f->wrong_tag == 0)
		return MODEL_BULK_WRONG_TAG;
	return f->wrong_residue && b->transfers % f->wrong_residue == 0 ? MODEL_BULK_WRONG_RESIDUE
									: MODEL_BULK_RIGHT;
}

static int transfer(struct model_bulk *b, struct model_bulk_command *x)
{
	struct model_scsi s = { .data = x->data, .data_len = x->length };
	uint32_t block = (uint32_t)b->gadget->spec.device.block_bytes;
	int rc = run_scsi(b, x, s);
	enum model_bulk_slip slip = MODEL_BULK_RIGHT;

	if (!rc && x->moved && x->status == MODEL_BULK_PASSED)
		slip = model_bulk_count(b);
	x->wrong_tag = slip == MODEL_BULK_WRONG_TAG;
	x->residue = x->length - x->moved + (slip == MODEL_BULK_WRONG_RESIDUE ? block : 0);
	return rc;
}

/* How data ends that is less than the host wants: 6.7.2 has it end in a stall. */
static void end_short(struct model_bulk *b, struct model_bulk_command *x)
{
	int how = x->status == MODEL_BULK_PASSED ? b->gadget->spec.faults.short_answer
						 : MODEL_SHORT_STALLED;

	x->stalls = how != MODEL_SHORT_ENDED;
	x->silent = how == MODEL_SHORT_LOST;
}

static bool is_unknown(const struct model_bulk *b, const struct model_bulk_command *x)
{
	return x->status == MODEL_BULK_FAILED && b->sense[2] == SENSE_ILLEGAL_REQUEST &&
	       scsi_get_u16(b->sense + 12) == SENSE_INVALID_OPCODE;
}

static void meet_unknown(struct model_bulk *b, struct model_bulk_command *x)
{
	int how = b->gadget->spec.faults.unknown_command;

	if (!is_unknown(b, x) || how == MODEL_UNKNOWN_REFUSED)
		return;
	b->told = false;
	x->silent = true;
	x->stalls = how == MODEL_UNKNOWN_STALL;
}

/* A firmware that loses itself where a vital product data page is asked for. */
static void meet_vital_page(struct model_bulk *b, struct model_bulk_command *x)
{
	if (!b->gadget->spec.faults.vital_unanswered || x->cdb[0] != SCSI_INQUIRY ||
		!(x->cdb[1] & 1))
		return;
	b->told = false;
	x->moved = x->residue = 0;
	x->silent = true;
	x->stalls = false;
}

static int perform(struct model_bulk *b, struct model_bulk_command *x)
{
	const struct model_spec *s = &b->gadget->spec;
	struct model_meaning m = model_scsi_meaning(s, x->cdb);

	if (disagree(&m, x))
		return refuse_phases(b, x);
	if (!m.exact)
		return answer(b, x);
	return m.bytes > s->link.request_limit_bytes ? refuse_length(b, x) : transfer(b, x);
}

int model_bulk_run(struct model_bulk *b, struct model_bulk_command *x)
{
	int rc;

	x->moved = x->excess = x->residue = 0;
	x->stalls = x->silent = x->wrong_tag = false;
	x->status = MODEL_BULK_PASSED;
	if (b->hung) {
		x->silent = true;
		return 0;
	}
	rc = perform(b, x);
	if (x->residue < x->length - x->moved)
		x->residue = x->length - x->moved;
	if (x->in && x->moved < x->length)
		end_short(b, x);
	meet_unknown(b, x);
	meet_vital_page(b, x);
	b->hung = x->silent;
	return rc;
}

void model_bulk_reset(struct model_bulk *b)
{
	b->told = b->hung = false;
	b->gadget->removal_prevented = false;
	b->gadget->was_reset = true;
}
