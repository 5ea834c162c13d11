/* A progress line on a terminal. */
#include "cli/progress.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "base/size.h"
#include "cli/message.h"
#include "platform/clock.h"
#include "platform/interrupt.h"

static const uint64_t redraw_ns = 250000000;

static bool stop(void *context)
{
	(void)context;
	return interrupt_requested();
}

static void draw(struct progress *p, const struct watch_step *s, double left)
{
	char line[160], time[SIZE_TEXT_MAX] = "", *end = line;
	size_t room = p->columns < sizeof line ? p->columns : sizeof line;
	double share = s->total ? (double)s->done / (double)s->total * 100 : 0;

	if (left >= 0)
		duration_format(time, left < 1 ? 1 : left);
	if (s->total)
		snprintf(end, room, "%s: %.0f %%%s%s%s", s->phase, share, *time ? ", about " : "",
			time, *time ? " left" : "");
	else
		snprintf(end, room, "%s", s->phase);
	fprintf(stderr, "\r%s\033[K", line);
	fflush(stderr);
}

static void step(void *context, const struct watch_step *s)
{
	struct progress *p = context;
	uint64_t now = clock_now_ns();
	double left = s->seconds_left;

	if (!p->live || (p->drawn_ns && now - p->drawn_ns < redraw_ns))
		return;
	if (p->phase != s->phase) {
		p->phase = s->phase;
		p->phase_ns = now;
		p->phase_done = s->done;
	}
	if (left < 0 && s->done > p->phase_done && s->total >= s->done)
		left = (double)(now - p->phase_ns) / 1e9 * (double)(s->total - s->done) /
		       (double)(s->done - p->phase_done);
	p->drawn_ns = now;
	draw(p, s, left);
}

/* A terminal that can go back to the start of its line. */
static bool can_redraw(void)
{
	const char *term = getenv("TERM");

	return isatty(STDERR_FILENO) && term && *term && strcmp(term, "dumb") != 0;
}

void progress_start(struct progress *p)
{
	struct winsize w;

	*p = (struct progress){ .columns = 80, .started_ns = clock_now_ns() };
	p->watch = (struct watch){ .context = p, .stop = stop, .step = step };
	p->live = can_redraw() && !message_is_quiet();
	if (p->live && ioctl(STDERR_FILENO, TIOCGWINSZ, &w) == 0 && w.ws_col >= 20)
		p->columns = w.ws_col;
}

void progress_finish(struct progress *p)
{
	if (p->live && p->drawn_ns)
		fputs("\r\033[K", stderr);
	p->live = false;
}
