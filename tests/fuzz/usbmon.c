/* Fuzz: any events of the USB monitor, one after the other as they lie in its ring, and the commands they add up to. */
#include <stdlib.h>

#include "fuzz.h"
#include "measure/pairing.h"
#include "platform/usbmon_event.h"

static const struct usbmon_filter disk = { .bus = 3, .device = 5, .in = 0x81, .out = 0x02 };

static void check_event(const struct usbmon_event *e, const uint8_t *at, size_t left)
{
	if (at[11] != disk.device || e->data_bytes > left - USBMON_HEADER_BYTES ||
		(e->data_bytes && e->transfer != USBMON_BULK) ||
		(e->data && e->data != at + USBMON_HEADER_BYTES))
		abort();
}

/* Moments lie within the time from one end to the next, so no phase is longer than that. */
static void check_command(const struct pairing *p, const struct command_times *c)
{
	if (c->begun_ns > UINT64_MAX / 2 && !p->backwards)
		return; /* a clock that far on */
	for (int i = 0; i < COMMAND_PHASES && !p->backwards; i++)
		if (i != PHASE_HOST && c->begun_ns + c->ns[i] > p->end_us * 1000)
			abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct pairing p = { .stage = PAIRING_IDLE };
	struct usbmon_event e;
	struct command_times c;

	while (size >= USBMON_HEADER_BYTES) {
		size_t n = usbmon_event_bytes(data);

		if (usbmon_event_parse(&e, data, size, &disk)) {
			check_event(&e, data, size);
			if (pairing_take(&p, &e, &c))
				check_command(&p, &c);
		}
		if (n > size)
			break;
		data += n;
		size -= n;
	}
	return 0;
}
