/* Whether a command watches the phases of what its target is sent. */
#include "cli/phase_watch.h"

#include <errno.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>

#include "base/error.h"
#include "base/text.h"
#include "cli/message.h"
#include "cli/options.h"
#include "measure/phases.h"
#include "medium/medium.h"
#include "platform/usb_place.h"
#include "platform/usbmon.h"

/* NULL: it can be watched. */
static const char *find_place(struct usb_place *place, unsigned major, unsigned minor)
{
	if (usb_place_find(place, NULL, major, minor) < 0)
		return "where the target is on its bus cannot be found out";
	switch (place->way) {
	case USB_WAY_BULK_ONLY:
		return NULL;
	case USB_WAY_UAS:
		return "the target is driven by UAS, not by bulk-only transport";
	case USB_WAY_OTHER:
		return "the target is not driven by usb-storage";
	default:
		return "the target is not on USB";
	}
}

static const char *why_refused(int code)
{
	return code == ENOENT                    ? "the kernel's module usbmon is not loaded; "
						   "--phases loads it, as root"
	       : code == EACCES || code == EPERM ? "only root may watch the bus"
						 : "the bus cannot be watched";
}

/* NULL: it is watched. */
static const char *watch_disk(struct phase_watch *w, const struct usb_place *place, bool load)
{
	struct error err = { 0 };

	if (phases_open(&w->phases, NULL, &place->filter, &err) == 0)
		return NULL;
	if (!load || err.sys_errno != ENOENT)
		return why_refused(err.sys_errno);
	err = (struct error){ 0 };
	if (usbmon_load_module(&err) < 0)
		return "the kernel's module usbmon cannot be loaded";
	message_note("loaded the kernel's module usbmon; 'modprobe -r usbmon' unloads it");
	if (phases_open(&w->phases, NULL, &place->filter, &err) == 0)
		return NULL;
	return why_refused(err.sys_errno);
}

static const char *watch_number(
	struct phase_watch *w, const struct options *o, unsigned major, unsigned minor)
{
	struct usb_place place;
	const char *why = find_place(&place, major, minor);

	return why ? why : watch_disk(w, &place, o->given[OPTION_PHASES]);
}

static const char *watch(
	struct phase_watch *w, const struct options *o, struct medium *m, unsigned in_flight)
{
	struct stat st;

	if (o->given[OPTION_NO_PHASES])
		return "--no-phases was given";
	if (in_flight > 1)
		return "with several requests in flight their times overlap";
	if (medium_traits(m)->kind == MEDIUM_MODEL)
		return phases_open(&w->phases, m, NULL, NULL) == 0 ? NULL
								   : "there was not enough memory";
	if (medium_traits(m)->kind != MEDIUM_BLOCK_DEVICE)
		return "the target is a file";
	if (stat(medium_traits(m)->path, &st) < 0)
		return "where the target is on its bus cannot be found out";
	return watch_number(w, o, major(st.st_rdev), minor(st.st_rdev));
}

int phase_watch_check(const struct options *o, struct error *err)
{
	if (o->given[OPTION_PHASES] && o->given[OPTION_NO_PHASES])
		return error_set(err, ERROR_USAGE,
			"--phases and --no-phases exclude each other; give one of them");
	return 0;
}

static void take_why(struct phase_watch *w, const struct options *o, const char *why)
{
	if (!why)
		return;
	text_copy(w->why, sizeof w->why, why);
	if (o->given[OPTION_PHASES])
		message_warning("where the time of requests goes is not shown: %s", why);
}

void phase_watch_open(
	struct phase_watch *w, const struct options *o, struct medium *m, unsigned in_flight)
{
	*w = (struct phase_watch){ .phases = NULL };
	take_why(w, o, watch(w, o, m, in_flight));
}

void phase_watch_open_disk(
	struct phase_watch *w, const struct options *o, unsigned major, unsigned minor)
{
	*w = (struct phase_watch){ .phases = NULL };
	take_why(w, o,
		o->given[OPTION_NO_PHASES] ? "--no-phases was given"
					   : watch_number(w, o, major, minor));
}

void phase_watch_close(struct phase_watch *w)
{
	phases_close(w->phases);
	w->phases = NULL;
}

static void begin_stretch(void *context, enum command_deed deed)
{
	phases_begin_stretch(context, deed);
}

static void end_stretch(void *context, struct command_sum *out)
{
	phases_end_stretch(context, out);
}

const struct command_watcher *phase_watch_bus(struct phase_watch *w, struct command_watcher *out)
{
	*out = (struct command_watcher){ w->phases, begin_stretch, end_stretch };
	return w->phases ? out : NULL;
}

const enum run_phase phase_in_record[COMMAND_PHASES] = {
	[PHASE_COMMAND] = RUN_PHASE_COMMAND,
	[PHASE_DATA] = RUN_PHASE_DATA,
	[PHASE_STATUS] = RUN_PHASE_STATUS,
	[PHASE_HOST] = RUN_PHASE_HOST,
};

const enum run_phases phases_state_in_record[PHASES_STATES] = {
	[PHASES_NOT_WATCHED] = RUN_PHASES_NOT_WATCHED,
	[PHASES_SEEN] = RUN_PHASES_SEEN,
	[PHASES_DROPPED] = RUN_PHASES_DROPPED,
	[PHASES_BROKEN] = RUN_PHASES_BROKEN,
	[PHASES_OTHERS] = RUN_PHASES_OTHERS,
	[PHASES_CLOCK] = RUN_PHASES_CLOCK,
};
