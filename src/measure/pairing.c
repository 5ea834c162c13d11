/* From events of a USB bus to commands of a bulk-only drive. */
#include "measure/pairing.h"

#include <errno.h>
#include <string.h>

#include "platform/usbmon_event.h"

enum { WRAPPER_BYTES = 31, STATUS_BYTES = 13 };

static uint32_t little_endian(const uint8_t *at)
{
	return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 |
	       (uint32_t)at[3] << 24;
}

static void give_up(struct pairing *p)
{
	p->broken += p->stage != PAIRING_IDLE;
	p->stage = PAIRING_IDLE;
	p->ended = false;
}

void pairing_lose(struct pairing *p)
{
	p->stage = PAIRING_IDLE;
	p->ended = false;
}

static bool is_wrapper(const struct usbmon_event *e)
{
	return !(e->endpoint & 0x80) && e->length == WRAPPER_BYTES &&
	       e->data_bytes >= WRAPPER_BYTES && !memcmp(e->data, "USBC", 4);
}

static void begin(struct pairing *p, const struct usbmon_event *e)
{
	if (p->stage != PAIRING_IDLE)
		give_up(p);
	p->now = (struct command_times){ .opcode = e->data[15],
		.lun = e->data[13] & 0x0f,
		.to_host = e->data[12] & 0x80,
		.begun_ns = e->at_us * 1000,
		.host_known = p->ended };
	p->stage = PAIRING_COMMAND;
	p->urb = e->urb;
	p->tag = little_endian(e->data + 4);
	p->expected_bytes = p->now.asked_bytes = little_endian(e->data + 8);
	p->data_open = 0;
	p->data_seen = false;
	p->sent_us = e->at_us;
}

/* A request for 13 bytes is for the status, unless the command's own data may be that short and has not come yet. */
static bool asks_status(const struct pairing *p, const struct usbmon_event *e)
{
	if (!(e->endpoint & 0x80) || e->length != STATUS_BYTES || p->data_open)
		return false;
	return !p->now.to_host || p->data_seen || p->expected_bytes != STATUS_BYTES;
}

static void submit_data(struct pairing *p, const struct usbmon_event *e)
{
	if (!p->data_seen)
		p->data_us = p->moved_us = e->at_us;
	p->data_seen = true;
	if (p->data_open < PAIRING_DATA_MAX)
		p->data_urbs[p->data_open++] = e->urb;
	else
		give_up(p);
}

static void submitted(struct pairing *p, const struct usbmon_event *e)
{
	if (is_wrapper(e)) {
		begin(p, e);
	} else if (p->stage == PAIRING_DATA && asks_status(p, e)) {
		p->stage = PAIRING_STATUS;
		p->urb = e->urb;
		p->asked_us = e->at_us;
	} else if (p->stage == PAIRING_DATA) {
		submit_data(p, e);
	} else if (p->stage == PAIRING_STATUS && !p->urb && asks_status(p, e)) {
		p->urb = e->urb; /* again, after a stall */
	} else if (p->stage != PAIRING_IDLE) {
		give_up(p);
	}
}

static void complete_command(struct pairing *p, const struct usbmon_event *e)
{
	if (e->urb != p->urb)
		return;
	p->taken_us = e->at_us;
	p->stage = PAIRING_DATA;
	if (e->status)
		give_up(p);
}

static void complete_data(struct pairing *p, const struct usbmon_event *e)
{
	for (unsigned i = 0; i < p->data_open; i++) {
		if (p->data_urbs[i] != e->urb)
			continue;
		p->data_urbs[i] = p->data_urbs[--p->data_open];
		p->now.failed |= e->status != 0;
		p->now.stalled |= e->status == -EPIPE;
		p->moved_us = e->at_us;
		if (e->length <= UINT32_MAX - p->now.data_bytes)
			p->now.data_bytes += e->length;
		return;
	}
}

/* ns of a stretch; false when it goes backwards: the wall clock was set. */
static bool stretch(uint64_t *ns, uint64_t from_us, uint64_t to_us)
{
	*ns += to_us >= from_us ? (to_us - from_us) * 1000 : 0;
	return to_us >= from_us;
}

static bool measure(struct pairing *p, uint64_t end_us)
{
	uint64_t *ns = p->now.ns;
	uint64_t moved_us = p->data_seen ? p->moved_us : p->taken_us;
	bool fine = stretch(&ns[PHASE_COMMAND], p->sent_us, p->taken_us);

	if (p->data_seen) {
		fine = stretch(&ns[PHASE_HOST], p->taken_us, p->data_us) && fine;
		fine = stretch(&ns[PHASE_DATA], p->data_us, p->moved_us) && fine;
	}
	fine = stretch(&ns[PHASE_HOST], moved_us, p->asked_us) && fine;
	fine = stretch(&ns[PHASE_STATUS], p->asked_us, end_us) && fine;
	if (p->ended)
		fine = stretch(&p->now.before_ns, p->end_us, p->sent_us) && fine;
	ns[PHASE_HOST] += p->now.before_ns;
	return fine;
}

/* A stalled or empty status is asked for once more (section 6.7.2; Linux drivers/usb/storage/transport.c). */
static bool complete_status(struct pairing *p, const struct usbmon_event *e)
{
	if (e->urb != p->urb)
		return false;
	p->urb = 0;
	if (e->status || !e->length) {
		p->now.failed = true;
		p->now.stalled |= e->status == -EPIPE;
		return false;
	}
	if (e->length != STATUS_BYTES || e->data_bytes < STATUS_BYTES ||
		memcmp(e->data, "USBS", 4) != 0 || little_endian(e->data + 4) != p->tag) {
		give_up(p);
		return false;
	}
	p->backwards += !measure(p, e->at_us);
	p->now.passed = e->data[12] == 0;
	p->now.failed |= !p->now.passed;
	p->stage = PAIRING_IDLE;
	p->ended = true;
	p->end_us = e->at_us;
	return true;
}

/* Bulk-Only Mass Storage Reset: section 3.1. */
static void take_control(struct pairing *p, const struct usbmon_event *e)
{
	if (!e->has_setup || e->setup[0] != 0x21 || e->setup[1] != 0xff)
		return;
	p->resets++;
	give_up(p);
}

bool pairing_take(struct pairing *p, const struct usbmon_event *e, struct command_times *out)
{
	if (e->transfer == USBMON_CONTROL)
		take_control(p, e);
	else if (e->type == USBMON_REFUSED)
		give_up(p);
	else if (e->type == USBMON_SUBMITTED)
		submitted(p, e);
	else if (p->stage == PAIRING_COMMAND)
		complete_command(p, e);
	else if (p->stage == PAIRING_DATA)
		complete_data(p, e);
	else if (p->stage == PAIRING_STATUS && complete_status(p, e)) {
		*out = p->now;
		return true;
	}
	return false;
}
