/* A progress line. */
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
#include "cli/status_line.h"
#include "platform/clock.h"
#include "platform/interrupt.h"

static const uint64_t redraw_ns = 250000000, line_ns = 30000000000;

static bool stop(void *context)
{
	(void)context;
	return interrupt_requested();
}

/* Bytes per second: the worker's word, or since the phase began; 0: not known. */
static double rate_of(const struct progress *p, const struct watch_step *s, uint64_t now)
{
	if (s->rate_bps > 0 || !p->counts_bytes)
		return s->rate_bps;
	if (s->done <= p->phase_done || now <= p->phase_ns)
		return 0;
	return (double)(s->done - p->phase_done) * 1e9 / (double)(now - p->phase_ns);
}

static double left_of(const struct progress *p, const struct watch_step *s, uint64_t now)
{
	if (s->seconds_left >= 0 || s->done <= p->total_done || s->total < s->done)
		return s->seconds_left;
	return (double)(now - p->total_ns) / 1e9 * (double)(s->total - s->done) /
	       (double)(s->done - p->total_done);
}

static void describe(
	struct text *line, const struct progress *p, const struct watch_step *s, uint64_t now)
{
	double left = left_of(p, s, now), rate = rate_of(p, s, now);
	char number[SIZE_TEXT_MAX];

	text_adds(line, s->phase);
	if (s->total)
		text_addf(line, ", %.0f %%", (double)s->done / (double)s->total * 100);
	if (rate > 0)
		text_addf(line, ", %s", rate_format(number, rate));
	if (left >= 0 && left < 60)
		text_addf(line, ", about %.0f s left", ceil(left));
	else if (left >= 60)
		text_addf(line, ", about %s left", duration_format(number, ceil(left)));
}

static void draw(struct progress *p, const struct watch_step *s, uint64_t now)
{
	struct text line;

	text_init(&line);
	describe(&line, p, s, now);
	if (p->live)
		status_line_draw(line.bytes, p->columns);
	else
		fprintf(stderr, "%s\n", line.bytes);
	fflush(stderr);
	text_release(&line);
}

/* A phase has a rate of its own; what is left is told from all phases that count towards the same total. */
static void note_phase(struct progress *p, const struct watch_step *s, uint64_t now)
{
	if (p->phase != s->phase) {
		p->phase = s->phase;
		p->phase_ns = now;
		p->phase_done = s->done;
	}
	if (p->total != s->total || s->done < p->total_done) {
		p->total = s->total;
		p->total_ns = now;
		p->total_done = s->done;
	}
}

static void step(void *context, const struct watch_step *s)
{
	struct progress *p = context;
	uint64_t now = clock_now_ns(), last = p->drawn_ns;

	if (p->silent)
		return;
	note_phase(p, s, now);
	/* A line of its own is for work that takes long, so the first one waits too. */
	if (!p->live && !last)
		last = p->started_ns;
	if (last && now - last < (p->live ? redraw_ns : line_ns))
		return;
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
	p->silent = message_is_quiet() || !isatty(STDERR_FILENO);
	p->live = can_redraw();
	if (p->live && ioctl(STDERR_FILENO, TIOCGWINSZ, &w) == 0 && w.ws_col >= 20)
		p->columns = w.ws_col;
}

void progress_finish(struct progress *p, const char *what)
{
	uint64_t now = clock_now_ns();
	char took[SIZE_TEXT_MAX];

	status_line_hide();
	/* A clock that was put back tells nothing. */
	if (what && now >= p->started_ns)
		message_note("%s took %s", what,
			duration_format(took, (double)(now - p->started_ns) / 1e9));
	p->silent = true;
}
