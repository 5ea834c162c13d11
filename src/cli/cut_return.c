/* Waiting for a target that was cut off to come back. */
#include "cli/cut_return.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "cli/message.h"
#include "cli/options.h"
#include "cli/session.h"
#include "medium/telltale.h"
#include "platform/blockdev.h"
#include "platform/clock.h"
#include "platform/interrupt.h"

static const uint64_t look_every_ns = 500000000;

struct identity {
	char token[160], serial[96], model[96];
	char revision[24], usb_release[8]; /* of the firmware that wrote; "": unknown */
	uint64_t size_bytes, region_start, region_bytes;
	/* blocks that were flushed before the cut: a serial number is the reader's, not the card's */
	struct telltales *told;
	bool wrong; /* what came back has not one of them, or is run by another firmware */
};

/* Plugged in again, a disk may get another name: its serial number finds it. */
static bool find_elsewhere(const struct identity *who, char path[80])
{
	struct blockdev *list = NULL;
	size_t count = 0;
	bool found = false;

	if (!*who->serial || blockdev_list(&list, &count, NULL, NULL) < 0)
		return false;
	for (size_t i = 0; i < count && !found; i++) {
		found = !strcmp(list[i].serial, who->serial) &&
			!strcmp(list[i].model, who->model) && list[i].size_bytes == who->size_bytes;
		if (found)
			text_copy(path, 80, list[i].node);
	}
	free(list);
	return found;
}

/* Nothing is judged and nothing written before what was flushed is there: some of it, whatever the cut took. */
static int confirm(struct session *s, struct identity *who, struct error *err)
{
	medium_give_telltales(s->medium, who->told);
	who->told = NULL;
	if (medium_confirm(s->medium) == 0)
		return 0;
	who->wrong = true;
	medium_explain(s->medium, err);
	error_add(err, "; nothing was judged");
	session_close(s, NULL);
	return -1;
}

static bool differ(const char *a, const char *b)
{
	return *a && *b && strcmp(a, b) != 0;
}

/* A boot loader may start another image when power was cut: what one build stored would count for the other. */
static int check_build(struct session *s, struct identity *who, struct error *err)
{
	const struct medium_traits *t = s->traits;

	if (!differ(who->revision, t->revision) && !differ(who->usb_release, t->usb_release))
		return 0;
	who->wrong = true;
	error_set(err, ERROR_IO,
		"'%s' came back with another firmware: revision '%s' (bcdDevice %s), before the "
		"cut '%s' (%s); cuts of two builds show nothing of either, so nothing was judged; "
		"look at what it starts after a cut",
		t->path, t->revision, *t->usb_release ? t->usb_release : "unknown", who->revision,
		*who->usb_release ? who->usb_release : "unknown");
	session_close(s, NULL);
	return -1;
}

static int open_at(struct session *s, const struct options *o, const char *path,
	struct identity *who, struct error *err)
{
	const char *args[] = { path, NULL };
	struct options again = *o;

	again.args = args;
	again.arg_count = 1;
	/* The region is known already and the image exists by now. */
	if (again.given[OPTION_CREATE]) {
		again.given[OPTION_CREATE] = false;
		again.given[OPTION_ERASE] = true;
		again.text[OPTION_ERASE] = who->token;
	}
	if (session_open(s, &again, SESSION_WRITES, err) < 0)
		return -1;
	if (!strcmp(s->token, who->token) && s->traits->size_bytes == who->size_bytes) {
		s->region_start = who->region_start;
		s->region_bytes = who->region_bytes;
		return check_build(s, who, err) < 0 ? -1 : confirm(s, who, err);
	}
	session_close(s, NULL);
	return error_set(err, ERROR_REFUSED, "'%s' is now a different target", path);
}

static int try_open(
	struct session *s, const struct options *o, struct identity *who, struct error *err)
{
	char path[80];

	if (open_at(s, o, o->args[0], who, err) == 0)
		return 0;
	return !who->wrong && find_elsewhere(who, path) && open_at(s, o, path, who, err) == 0 ? 0
											      : -1;
}

int cut_return_wait(
	struct session *s, const struct options *o, uint64_t limit_ns, struct error *err)
{
	struct identity who = { .size_bytes = s->traits->size_bytes,
		.region_start = s->region_start,
		.region_bytes = s->region_bytes };
	uint64_t begun = clock_now_ns();
	struct error why = { 0 };

	text_copy(who.token, sizeof who.token, s->token);
	text_copy(who.serial, sizeof who.serial, s->traits->serial);
	text_copy(who.model, sizeof who.model, s->traits->model);
	text_copy(who.revision, sizeof who.revision, s->traits->revision);
	text_copy(who.usb_release, sizeof who.usb_release, s->traits->usb_release);
	who.told = medium_take_telltales(s->medium);
	session_close(s, NULL);
	message_note("the target is gone; %s",
		limit_ns ? "waiting for it to come back" : "plug it in again; Ctrl-C ends");
	do {
		clock_sleep_ns(look_every_ns);
		if (interrupt_requested()) {
			telltales_free(who.told);
			return error_set(err, ERROR_INTERRUPTED,
				"interrupted while waiting for the target to come back");
		}
		why = (struct error){ 0 };
		if (try_open(s, o, &who, &why) == 0)
			return 0;
		if (who.wrong) {
			telltales_free(who.told);
			*err = why;
			return -1;
		}
	} while (!limit_ns || clock_span_ns(begun, clock_now_ns()) <= limit_ns);
	telltales_free(who.told);
	return error_set(err, ERROR_IO, "the target did not come back within %llu s: %s",
		(unsigned long long)(limit_ns / 1000000000), why.text);
}
