/* Plans of `verify`. */
#include "cli/verify_plan.h"

#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "base/error.h"
#include "base/number.h"
#include "base/random.h"
#include "cli/session.h"
#include "cli/verify_places.h"
#include "integrity/stamp.h"

enum { DEFAULT_REQUEST = 65536, GIVE_UP_AFTER = 1000, RANGES = 4096 };

static const uint64_t checkpoint_ns = UINT64_C(10000000000);

static int parse_only(struct verify_request *r, const char *text, struct error *err)
{
	r->write = !text || !strcmp(text, "write");
	r->read = !text || !strcmp(text, "read");
	if (r->write || r->read)
		return 0;
	return error_set(err, ERROR_USAGE, "--only takes write or read, not '%s'", text);
}

int verify_request_parse(struct verify_request *r, const struct options *o, struct error *err)
{
	static const char *const orders[2] = { "sequential", "random" };

	*r = (struct verify_request){
		.generations = (uint32_t)options_number(o, OPTION_GENERATIONS, 1),
		.spots = (uint32_t)options_number(o, OPTION_SPOT, 0),
		.give_up_after = options_number(o, OPTION_GIVE_UP_AFTER, GIVE_UP_AFTER),
	};
	if (parse_only(r, options_text(o, OPTION_ONLY, NULL), err) < 0 ||
		pair_list_parse(r->orders, options_text(o, OPTION_ORDER, "sequential"), "order",
			orders, err) < 0)
		return -1;
	if (r->read && !r->write && !o->given[OPTION_SEED])
		return error_set(err, ERROR_USAGE,
			"--only read needs the --seed of the run that wrote (its summary shows "
			"it)");
	if (!r->read && o->given[OPTION_KEEP_DATA])
		return error_set(err, ERROR_USAGE,
			"--only write with --keep-data would put the old data back before anything "
			"is read");
	return o->given[OPTION_SIZES] ? size_list_parse(&r->sizes, o->text[OPTION_SIZES], err) : 0;
}

/* ---- sizes ---- */

static int take_sizes(
	struct verify_plan *p, const struct verify_request *r, uint64_t align, struct error *err)
{
	uint64_t largest =
		p->region_bytes < VERIFY_REQUEST_MAX ? p->region_bytes : VERIFY_REQUEST_MAX;
	uint64_t size = DEFAULT_REQUEST;

	if (r->sizes.count > VERIFY_SIZES_MAX)
		return error_set(
			err, ERROR_USAGE, "--sizes lists more than %d sizes", VERIFY_SIZES_MAX);
	if (size_list_check(&r->sizes, align, largest, err) < 0)
		return -1;
	for (size_t i = 0; i < r->sizes.count; i++)
		p->sizes[p->size_count++] = (uint32_t)r->sizes.bytes[i];
	if (p->size_count)
		return 0;
	while (size > largest && size > align)
		size /= 2;
	if (size < align)
		size = align;
	p->sizes[p->size_count++] = (uint32_t)size;
	return 0;
}

int verify_plan_make(struct verify_plan *p, uint64_t *spots, const struct verify_request *r,
	const struct session *s, uint64_t seed, struct error *err)
{
	uint32_t align = s->traits->offset_align_bytes;

	*p = (struct verify_plan){ .region_start = s->region_start,
		.region_bytes = s->region_bytes,
		.block_bytes = stamp_block_bytes(s->traits->logical_block_bytes),
		.seed = seed,
		.rewrites = r->generations,
		.write = r->write,
		.read = r->read,
		.give_up_after = r->give_up_after,
		.checkpoint_ns = checkpoint_ns,
		.ranges = RANGES };
	for (int random = 0; random < 2; random++)
		if (r->orders[random])
			p->random[p->order_count++] = random;
	if (take_sizes(p, r, align, err) < 0)
		return -1;
	if (!r->spots)
		return 0;
	if (p->size_count > 1)
		return error_set(err, ERROR_USAGE, "--spot takes one size in --sizes, not several");
	p->spots = spots;
	p->spot_count = verify_places_choose(spots, r->spots, p, align);
	return 0;
}

/* ---- going on ---- */

static int check_same_target(
	const struct verify_record *v, const struct session *s, struct error *err)
{
	const struct run_target *t = &v->run.target;

	if (!session_fits(s, t->token) || t->size_bytes != s->traits->size_bytes ||
		t->logical_block_bytes != s->traits->logical_block_bytes)
		return error_set(err, ERROR_REFUSED,
			"'%s' is the record of another target ('%s', %llu bytes), not of '%s'",
			v->run.path, t->token, (unsigned long long)t->size_bytes, s->traits->path);
	return 0;
}

static int check_record_plan(
	const struct verify_record *v, const struct session *s, struct error *err)
{
	const struct verify_record_plan *p = &v->plan;
	uint32_t align = s->traits->offset_align_bytes;
	bool sound = p->size_count && p->size_count <= VERIFY_SIZES_MAX &&
		     (p->sequential || p->random) && p->rewrites && p->rewrites <= UINT32_MAX &&
		     p->region_bytes && p->region_start <= s->traits->size_bytes &&
		     p->region_bytes <= s->traits->size_bytes - p->region_start &&
		     !(p->region_start % align) && !(p->region_bytes % align);

	for (uint64_t i = 0; sound && i < p->size_count; i++)
		sound = p->sizes[i] && p->sizes[i] <= VERIFY_REQUEST_MAX && !(p->sizes[i] % align);
	for (uint64_t i = 0; sound && i < p->spot_count; i++)
		sound = p->spots[i] >= p->region_start && !(p->spots[i] % align) &&
			p->spots[i] <= p->region_start + p->region_bytes - p->sizes[0];
	if (!sound)
		return error_set(err, ERROR_USAGE,
			"'%s': its plan does not fit the target; start a new run", v->run.path);
	return 0;
}

int verify_plan_resume(
	struct verify_plan *p, struct verify_record *v, const struct session *s, struct error *err)
{
	char damage[RUN_DAMAGE_MAX];

	if (run_damage_words(damage, &v->run))
		return error_set(err, ERROR_USAGE,
			"'%s': %s, so it does not say for certain how far the run got; start a new "
			"run",
			v->run.path, damage);
	if (check_same_target(v, s, err) < 0 || check_record_plan(v, s, err) < 0)
		return -1;
	*p = (struct verify_plan){ .region_start = v->plan.region_start,
		.region_bytes = v->plan.region_bytes,
		.block_bytes = stamp_block_bytes(s->traits->logical_block_bytes),
		.seed = v->run.head.seed,
		.size_count = (uint32_t)v->plan.size_count,
		.rewrites = (uint32_t)v->plan.rewrites,
		.write = v->plan.write,
		.read = v->plan.read,
		.spots = v->plan.spot_count ? v->plan.spots : NULL,
		.spot_count = v->plan.spot_count,
		.give_up_after = v->plan.give_up_after,
		.checkpoint_ns = checkpoint_ns,
		.ranges = RANGES };
	for (uint32_t i = 0; i < p->size_count; i++)
		p->sizes[i] = (uint32_t)v->plan.sizes[i];
	if (v->plan.sequential)
		p->random[p->order_count++] = false;
	if (v->plan.random)
		p->random[p->order_count++] = true;
	return 0;
}

void verify_plan_describe(struct verify_record_plan *out, const struct verify_plan *p, bool kept)
{
	*out = (struct verify_record_plan){ .region_start = p->region_start,
		.region_bytes = p->region_bytes,
		.size_count = p->size_count,
		.rewrites = p->rewrites,
		.write = p->write,
		.read = p->read,
		.spot_count = p->spot_count,
		.give_up_after = p->give_up_after,
		.kept_data = kept };
	for (uint32_t i = 0; i < p->size_count; i++)
		out->sizes[i] = p->sizes[i];
	for (uint32_t i = 0; i < p->order_count; i++) {
		out->sequential |= !p->random[i];
		out->random |= p->random[i];
	}
	for (uint64_t i = 0; i < p->spot_count; i++)
		out->spots[i] = p->spots[i];
}

/* ---- the seed ---- */

int verify_plan_check_seed(const struct verify_plan *p, struct session *s, struct error *err)
{
	uint32_t unit = s->traits->offset_align_bytes;
	uint64_t end = p->region_start + p->region_bytes;
	const uint64_t places[] = { p->region_start,
		p->region_start + number_round_down(p->region_bytes / 2, unit), end - unit };
	void *block = buffer_new(unit, s->traits->memory_align_bytes);
	struct stamp_header h;
	int rc = 0;

	if (!block)
		return error_set(err, ERROR_IO, "out of memory");
	for (size_t i = 0; i < sizeof places / sizeof *places && !rc; i++) {
		size_t got;

		/* What cannot be read now will be told when it is its turn. */
		if (medium_read(s->medium, places[i], block, unit, &got) == 0 && got == unit &&
			stamp_read(block, &h) && h.seed == p->seed)
			rc = error_set(err, ERROR_REFUSED,
				"'%s' holds data of a run with this very --seed %llu: a lost write "
				"would leave the right data behind and not be seen; choose another "
				"seed",
				s->traits->path, (unsigned long long)p->seed);
	}
	free(block);
	return rc;
}
