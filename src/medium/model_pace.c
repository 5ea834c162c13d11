/* How long each stage of a gadget model takes. */
#include "medium/model_pace.h"

#include <math.h>

/* USB 2.0 tables 5-9 and 5-10: 19 packets of 64 B in a 1 ms frame, 13 of 512 B in a 125 us microframe. */
static const struct bus {
	double frame_ns;
	uint64_t packet_bytes, packets;
} buses[] = {
	[MODEL_SPEED_FULL] = { 1e6, 64, 19 },
	[MODEL_SPEED_HIGH] = { 125e3, 512, 13 },
};

void model_pace_init(struct model_pace *p, const struct model_spec *spec)
{
	*p = (struct model_pace){
		.spec = spec, .random = { spec->device.seed }, .link_factor = 1, .card_factor = 1
	};
}

/* Four uniforms: near enough to a normal, exact on every machine, bounded by 3.5 standard deviations. */
static double draw(struct model_pace *p)
{
	double sum = 0;

	for (int i = 0; i < 4; i++)
		sum += random_unit(&p->random);
	return 1 + p->spec->device.jitter * (sum - 2) * 1.7320508075688772;
}

void model_pace_draw(struct model_pace *p)
{
	if (p->spec->device.jitter <= 0)
		return;
	p->link_factor = draw(p);
	p->card_factor = draw(p);
}

static const struct bus *framed(const struct model_pace *p)
{
	return p->spec->link.frames ? &buses[p->spec->link.speed] : NULL;
}

static double next_frame(const struct bus *b, double t)
{
	return ceil(t / b->frame_ns) * b->frame_ns;
}

double model_pace_link_begin(const struct model_pace *p, double t)
{
	const struct bus *b = framed(p);

	t += p->spec->link.request_cost_ns * p->link_factor + p->spec->firmware.request_cost_ns;
	return b ? next_frame(b, t) + b->frame_ns : t;
}

double model_pace_link_end(const struct model_pace *p, double t)
{
	const struct bus *b = framed(p);

	return b ? next_frame(b, t) + b->frame_ns : t;
}

double model_pace_link_data_start(const struct model_pace *p, double t)
{
	const struct bus *b = framed(p);

	return b ? next_frame(b, t) : t;
}

double model_pace_link_data(const struct model_pace *p, uint64_t bytes)
{
	const struct bus *b = framed(p);
	uint64_t packets, frames;

	if (!b)
		return (double)bytes / p->spec->link.rate * 1e9 * p->link_factor;
	packets = (bytes + b->packet_bytes - 1) / b->packet_bytes;
	frames = (packets + b->packets - 1) / b->packets;
	return (double)frames * b->frame_ns;
}

static double stalls(struct model_pace *p, size_t len)
{
	uint64_t every = p->spec->card.stall_every_bytes, before = p->written_bytes, count;

	p->written_bytes += len;
	if (!every)
		return 0;
	count = p->written_bytes / every - before / every;
	return (double)count * p->spec->card.stall_ns;
}

/* Bytes programmed beyond those of this part, because the card writes whole units. */
static uint64_t excess(
	const struct model_spec *s, const struct model_command *c, size_t offset, size_t len)
{
	uint64_t unit = s->card.write_unit_bytes, block = s->device.block_bytes;
	uint64_t first = c->at / unit * unit, end = (c->at + c->len + unit - 1) / unit * unit;

	if (!c->write)
		return 0;
	if (s->firmware.unit == MODEL_UNIT_SECTOR)
		return len / block * (unit - block);
	return offset ? 0 : end - first - c->len;
}

double model_pace_card(
	struct model_pace *p, const struct model_command *c, size_t offset, size_t len)
{
	const struct model_spec *s = p->spec;
	double rate = c->write ? s->card.write_rate : s->card.read_rate;
	double command = c->write ? s->card.write_command_ns : s->card.read_command_ns;
	double sector = c->write ? s->card.write_sector_ns : s->card.read_sector_ns;
	uint64_t blocks = len / s->device.block_bytes, commands = offset ? 0 : 1;
	double bytes = (double)(len + excess(s, c, offset, len));

	if (s->firmware.unit == MODEL_UNIT_SECTOR)
		commands = blocks;
	return p->card_factor *
		       ((double)commands * command + (double)blocks * sector + bytes / rate * 1e9) +
	       (c->write ? stalls(p, len) : 0);
}

/* When the last chunk left a stage, and the one before it. */
struct lane {
	double done, before;
};

static void lane_pass(struct lane *l, double start, double duration)
{
	l->before = l->done;
	l->done = start + duration;
}

size_t model_pace_upto(const struct model_command *c, size_t end)
{
	return end + c->ahead < c->len ? end + c->ahead : c->len;
}

static size_t chunk_bytes(const struct model_pace *p, const struct model_command *c)
{
	return p->spec->firmware.transfer == MODEL_OVERLAPPED
		       ? (size_t)p->spec->firmware.chunk_bytes
		       : c->len;
}

double model_pace_card_start(const struct model_pace *p, const struct model_command *c, double t)
{
	size_t chunk = chunk_bytes(p, c);

	return c->write ? t + model_pace_link_data(p, chunk < c->len ? chunk : c->len) : t;
}

int model_pace_through(
	struct model_pace *p, const struct model_command *c, double *t, struct model_line *line)
{
	struct lane first = { *t, *t }, second = { *t, *t }, *link = c->write ? &first : &second;
	size_t chunk = chunk_bytes(p, c);
	int rc = 0;

	for (size_t at = 0; at < c->len; at += chunk) {
		size_t n = c->len - at < chunk ? c->len - at : chunk;
		double on_link = model_pace_link_data(p, at + n) - model_pace_link_data(p, at);
		double on_card = model_pace_card(p, c, at, n);
		double ready;

		/* Two buffers: a chunk may come in when the last but one has gone out. */
		lane_pass(&first, fmax(first.done, second.before), c->write ? on_link : on_card);
		ready = fmax(first.done, second.done);
		if (!c->write && !at)
			ready = model_pace_link_data_start(p, ready);
		lane_pass(&second, ready, c->write ? on_card : on_link);
		p->data_end = link->done;
		if (!rc)
			rc = model_line_carry(
				line, model_pace_upto(c, at + n), link->done - on_link, link->done);
	}
	*t = second.done;
	return rc < 0 ? rc : model_line_wait(line, *t);
}
