/* What of a model must be given and what fits together. */
#include "medium/model_check.h"

#include "base/error.h"
#include "base/number.h"

void model_spec_defaults(struct model_spec *s)
{
	*s = (struct model_spec){ .device = { .vendor = "blkassay",
					  .product = "gadget model",
					  .serial = "MODEL",
					  .block_bytes = 512,
					  .seed = 1 },
		.firmware.unit = MODEL_UNIT_REQUEST,
		.claims = { .caching_page = 1, .removable = 1, .synchronize_cache = 1 } };
}

struct check {
	struct model_spec *s;
	const char *name;
	unsigned (*line_of)(const void *context, const char *section, const char *key);
	const void *context;
	struct error *err;
};

static bool given(const struct check *c, const char *section, const char *key)
{
	return c->line_of(c->context, section, key) != 0;
}

static int missing(const struct check *c, const char *section, const char *what)
{
	return error_set(c->err, ERROR_USAGE, "%s: %s: expected %s, which is missing", c->name,
		section, what);
}

/* A setting that stands where it cannot work. */
static int misplaced(const struct check *c, const char *section, const char *key, const char *why)
{
	return error_set(c->err, ERROR_USAGE, "%s:%u: %s: '%s' does not fit: expected %s", c->name,
		c->line_of(c->context, section, key), section, key, why);
}

static int check_device(const struct check *c)
{
	struct model_device *d = &c->s->device;

	if (!given(c, "device", "name"))
		return missing(c, "device", "'name'");
	if (!given(c, "device", "capacity"))
		return missing(c, "device", "'capacity'");
	if (!number_is_power_of_two(d->block_bytes))
		return misplaced(c, "device", "block", "512, 1024, 2048 or 4096 bytes");
	if (d->capacity_bytes % d->block_bytes)
		return misplaced(c, "device", "capacity", "a whole number of blocks");
	return 0;
}

static int check_link(const struct check *c)
{
	struct model_link *l = &c->s->link;

	if (l->frames && l->speed == MODEL_SPEED_NONE)
		return misplaced(c, "link", "frames", "'speed = full' or 'speed = high' beside it");
	if (l->frames && given(c, "link", "rate"))
		return misplaced(c, "link", "rate",
			"either a rate or 'frames = yes', which follows from the speed");
	if (!l->frames && !given(c, "link", "rate"))
		return missing(c, "link", "'rate', or 'speed' with 'frames = yes'");
	if (!l->request_limit_bytes)
		/* usb-storage: 240 sectors up to high speed, 2048 above (Linux drivers/usb/storage). */
		l->request_limit_bytes =
			l->speed == MODEL_SPEED_NONE ? MODEL_REQUEST_MAX : 120 * 1024;
	if (l->request_limit_bytes % 4096)
		return misplaced(c, "link", "request limit", "a multiple of 4Ki");
	return 0;
}

static int check_card(const struct check *c)
{
	struct model_card *k = &c->s->card;
	uint64_t block = c->s->device.block_bytes;

	if (!given(c, "card", "read rate"))
		return missing(c, "card", "'read rate'");
	if (!given(c, "card", "write rate"))
		return missing(c, "card", "'write rate'");
	if (!k->write_unit_bytes)
		k->write_unit_bytes = block;
	if (k->write_unit_bytes % block)
		return misplaced(c, "card", "write unit", "a whole number of blocks");
	if (given(c, "card", "stall every") != given(c, "card", "stall time"))
		return missing(c, "card", "'stall every' and 'stall time' together");
	return 0;
}

/* When and how a buffer empties. */
static int check_drain(const struct check *c)
{
	static const char *const these[] = { "reads", "drain", "when full" };
	struct model_firmware *f = &c->s->firmware;
	bool idles = f->drain == MODEL_DRAIN_AFTER_IDLE;

	for (size_t i = 0; i < sizeof these / sizeof *these; i++)
		if (given(c, "firmware", these[i]) && !f->write_behind_bytes)
			return misplaced(c, "firmware", these[i], "'write behind' beside it");
	if (given(c, "firmware", "idle time") && !idles)
		return misplaced(c, "firmware", "idle time", "'drain = after-idle' beside it");
	if (idles && !given(c, "firmware", "idle time"))
		return missing(c, "firmware", "'idle time' beside 'drain = after-idle'");
	return 0;
}

static int check_firmware(const struct check *c)
{
	struct model_firmware *f = &c->s->firmware;
	uint64_t block = c->s->device.block_bytes;

	if (!given(c, "firmware", "unit"))
		return missing(c, "firmware", "'unit' (sector or request)");
	if (f->chunk_bytes && f->transfer != MODEL_OVERLAPPED)
		return misplaced(c, "firmware", "chunk", "'transfer = overlapped' beside it");
	if (!f->chunk_bytes)
		f->chunk_bytes = block;
	if (f->chunk_bytes % block)
		return misplaced(c, "firmware", "chunk", "a whole number of blocks");
	if (f->write_behind_bytes % block)
		return misplaced(c, "firmware", "write behind", "a whole number of blocks");
	return check_drain(c);
}

static int check_claims(const struct check *c)
{
	struct model_claims *k = &c->s->claims;

	if (k->write_cache && !k->caching_page)
		return misplaced(c, "claims", "write cache",
			"'caching page = yes' beside it: without that page nothing can say so");
	return 0;
}

static int needs_write_behind(const struct check *c)
{
	static const char *const these[] = { "lose flushed write", "stale reads",
		"reorder overlaps", "torn sectors", "ignore flush", "flush leaves", "ignore fua",
		"eject without drain", "bad range report" };

	if (c->s->firmware.write_behind_bytes)
		return 0;
	for (size_t i = 0; i < sizeof these / sizeof *these; i++)
		if (given(c, "faults", these[i]))
			return misplaced(
				c, "faults", these[i], "'write behind' in the firmware section");
	return 0;
}

static int needs_partner(const struct check *c)
{
	static const struct {
		const char *key, *partner, *why;
	} these[] = {
		{ "slip bytes", "slip write", "'slip write = 1 in N' beside it" },
		{ "slip write", "slip bytes", "'slip bytes' beside it" },
		{ "slip direction", "slip bytes", "'slip bytes' beside it" },
		{ "stuck level", "stuck line", "'stuck line' beside it" },
		{ "stuck line", "stuck level", "'stuck level' beside it" },
		{ "bad range report", "bad range", "'bad range' beside it" },
		{ "beyond", "real capacity", "'real capacity' beside it" },
		{ "real capacity", "beyond", "'beyond' beside it" },
	};

	for (size_t i = 0; i < sizeof these / sizeof *these; i++)
		if (given(c, "faults", these[i].key) && !given(c, "faults", these[i].partner))
			return misplaced(c, "faults", these[i].key, these[i].why);
	return 0;
}

/* Faults of the protocol that could not show. */
static int check_protocol(const struct check *c)
{
	static const char *const these[] = { "prevent accepted", "stays after eject" };

	for (size_t i = 0; i < sizeof these / sizeof *these; i++)
		if (given(c, "faults", these[i]) && !c->s->claims.removable)
			return misplaced(
				c, "faults", these[i], "'removable = yes' in the claims section");
	if (c->s->faults.vital_unanswered && c->s->faults.vital_confused)
		return misplaced(c, "faults", "vital pages confused",
			"no 'vital pages unanswered = yes' beside it");
	if (c->s->faults.mode_sense == MODEL_MODE_SHORT && !c->s->claims.caching_page)
		return misplaced(c, "faults", "mode sense",
			"'caching page = yes' in the claims section: there is nothing to leave "
			"out");
	return 0;
}

static int check_range(const struct check *c, const char *key, const struct model_range *r)
{
	uint64_t block = c->s->device.block_bytes;

	if (r->start % block || r->bytes % block ||
		r->start + r->bytes > c->s->device.capacity_bytes)
		return misplaced(c, "faults", key, "whole blocks inside the capacity");
	return 0;
}

static int check_faults(const struct check *c)
{
	struct model_faults *f = &c->s->faults;
	uint64_t block = c->s->device.block_bytes, capacity = c->s->device.capacity_bytes;

	if (needs_write_behind(c) < 0 || needs_partner(c) < 0 || check_protocol(c) < 0 ||
		check_range(c, "bad range", &f->bad_range) < 0 ||
		check_range(c, "unreadable range", &f->unreadable) < 0 ||
		check_range(c, "twice range", &f->twice) < 0)
		return -1;
	if (f->twice.start < f->twice.bytes)
		return misplaced(c, "faults", "twice range", "room for its copy before it");
	if (f->flush_leaves_bytes % block)
		return misplaced(c, "faults", "flush leaves", "a whole number of blocks");
	if (f->real_capacity_bytes % block || f->real_capacity_bytes >= capacity)
		return misplaced(
			c, "faults", "real capacity", "whole blocks, fewer than the capacity");
	if (given(c, "faults", "stuck line"))
		f->stuck_bit++; /* so that 0 stays "none" */
	return 0;
}

static int check_events(const struct check *c)
{
	if (given(c, "events", "swap told by") && !c->s->events.swap_at)
		return misplaced(c, "events", "swap told by", "'card swapped at' beside it");
	return 0;
}

static double block_ns(const struct check *c, double rate)
{
	return rate > 0 ? (double)c->s->device.block_bytes * 1e9 / rate : 0;
}

/* The clock of a model moves by what requests take. Those that take nothing would fill a pass of any length for ever. */
static int check_time(const struct check *c)
{
	static const double least_ns = 100;
	const struct model_link *l = &c->s->link;
	const struct model_card *k = &c->s->card;
	double both = l->request_cost_ns + l->host_gap_ns + c->s->firmware.request_cost_ns +
		      block_ns(c, l->rate);

	if (l->frames)
		return 0;
	if (both + block_ns(c, k->read_rate) + k->read_command_ns + k->read_sector_ns < least_ns)
		return misplaced(c, "card", "read rate",
			"a rate or a cost somewhere: reads of a block would take under 100 ns");
	if (both + block_ns(c, k->write_rate) + k->write_command_ns + k->write_sector_ns < least_ns)
		return misplaced(c, "card", "write rate",
			"a rate or a cost somewhere: writes of a block would take under 100 ns");
	return 0;
}

int model_spec_check(struct model_spec *s, const char *name,
	unsigned (*line_of)(const void *context, const char *section, const char *key),
	const void *context, struct error *err)
{
	struct check c = { s, name, line_of, context, err };

	if (check_device(&c) < 0 || check_link(&c) < 0 || check_card(&c) < 0 ||
		check_firmware(&c) < 0 || check_claims(&c) < 0 || check_faults(&c) < 0 ||
		check_events(&c) < 0 || check_time(&c) < 0)
		return -1;
	return 0;
}
