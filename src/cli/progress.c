/* A progress line on a terminal. */
#include "cli/progress.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "base/size.h"
#include "base/text.h"
#include "cli/message.h"
#include "platform/clock.h"
#include "platform/interrupt.h"

static const uint64_t redraw_ns = 250000000;

static bool stop(void *context)
{
	(void)context;
	return interrupt_requested();
}

/* Bytes per second since the phase began; 0: not known. */
static double rate_of(const struct progress *p, const struct watch_step *s, uint64_t now)
{
	if (!p->counts_bytes || s->done <= p->phase_done || now <= p->phase_ns)
		return 0;
	return (double)(s->done - p->phase_done) * 1e9 / (double)(now - p->phase_ns);
}

static double left_of(const struct progress *p, const struct watch_step *s, uint64_t now)
{
	if (s->seconds_left >= 0 || s->done <= p->phase_done || s->total < s->done)
		return s->seconds_left;
	return (double)(now - p->phase_ns) / 1e9 * (double)(s->total - s->done) /
	       (double)(s->done - p->phase_done);
}

static void draw(struct progress *p, const struct watch_step *s, uint64_t now)
{
	double left = left_of(p, s, now), rate = rate_of(p, s, now);
	char number[SIZE_TEXT_MAX];
	struct text line;

	text_init(&line);
	text_adds(&line, s->phase);
	if (s->total)
		text_addf(&line, ", %.0f %%", (double)s->done / (double)s->total * 100);
	if (rate > 0)
		text_addf(&line, ", %s", rate_format(number, rate));
	if (left >= 0 && left < 60)
		text_addf(&line, ", about %.0f s left", ceil(left));
	else if (left >= 60)
		text_addf(&line, ", about %s left", duration_format(number, ceil(left)));
	/* The last column stays free: a full line would wrap on some terminals. */
	fprintf(stderr, "\r%.*s\033[K", (int)p->columns - 1, line.bytes);
	fflush(stderr);
	text_release(&line);
}

static void step(void *context, const struct watch_step *s)
{
	struct progress *p = context;
	uint64_t now = clock_now_ns();

	if (!p->live || (p->drawn_ns && now - p->drawn_ns < redraw_ns))
		return;
	if (p->phase != s->phase) {
		p->phase = s->phase;
		p->phase_ns = now;
		p->phase_done = s->done;
	}
	p->drawn_ns = now;
	draw(p, s, now);
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
