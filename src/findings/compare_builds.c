/* What the gadgets say of themselves, set against what the runs are labelled. */
#include "findings/compare_builds.h"

#include <stdio.h>
#include <string.h>

#include "base/pool.h"
#include "findings/compared.h"

enum { FIRMWARE_MAX = 64 };

/* "revision 1.00, USB release 0100"; "" when the gadget says neither. */
static void format_firmware(char out[FIRMWARE_MAX], const struct run_target *t)
{
	snprintf(out, FIRMWARE_MAX, "%s%s%s%s%s", *t->revision ? "revision " : "", t->revision,
		*t->revision && *t->usb_release ? ", " : "", *t->usb_release ? "USB release " : "",
		t->usb_release);
}

static bool same_firmware(const struct run *a, const struct run *b)
{
	return !strcmp(a->target.revision, b->target.revision) &&
	       !strcmp(a->target.usb_release, b->target.usb_release);
}

static bool knows_firmware(const struct run *r)
{
	return *r->target.revision || *r->target.usb_release;
}

static bool same_serial(const struct run *a, const struct run *b)
{
	return !*a->target.serial || !*b->target.serial ||
	       !strcmp(a->target.serial, b->target.serial);
}

static bool same_label(const struct run *a, const struct run *b)
{
	return !strcmp(a->head.label, b->head.label);
}

/* The first of runs [first, end) that is not like `r`; NULL: all are. */
static const struct run *first_other(const struct compared *c, size_t first, size_t end,
	const struct run *r, bool (*like)(const struct run *, const struct run *))
{
	for (size_t i = first; i < end; i++)
		if (!like(r, &c->heads[i]))
			return &c->heads[i];
	return NULL;
}

static void doubt(struct build_doubts *d, enum build_doubt what, const char *sentence)
{
	d->list[d->count].what = what;
	d->list[d->count++].sentence = sentence;
}

static void check_one_side(
	struct build_doubts *d, struct pool *pool, const struct compared *c, enum compare_side side)
{
	size_t first = side == COMPARE_BASE ? 0 : c->runs[COMPARE_BASE];
	size_t end = first + c->runs[side];
	const struct run *r = &c->heads[first];
	const struct run *other = first_other(c, first, end, r, same_firmware);
	char one[FIRMWARE_MAX], two[FIRMWARE_MAX];

	if (!other || !knows_firmware(r) || !knows_firmware(other))
		return;
	format_firmware(one, &r->target);
	format_firmware(two, &other->target);
	doubt(d, BUILDS_MANY_FIRMWARES,
		pool_printf(pool,
			"The runs of the %s come from firmware that calls itself %s and %s: that "
			"is two builds, not one.",
			side == COMPARE_BASE ? "base" : "new build", one, two));
}

/* Two sides with the same label are meant to be the same build: then there is nothing to warn of. */
static void check_both_sides(
	struct build_doubts *d, struct pool *pool, const struct compared *c, size_t all)
{
	const struct run *r = &c->heads[0];
	char name[FIRMWARE_MAX];

	if (!knows_firmware(r) || first_other(c, 1, all, r, same_firmware))
		return;
	if (!first_other(c, c->runs[COMPARE_BASE], all, r, same_label))
		return;
	format_firmware(name, &r->target);
	doubt(d, BUILDS_ONE_FIRMWARE,
		pool_printf(pool,
			"Both builds give the same firmware revision (%s): only the labels tell "
			"them apart. Make sure that the new one was really flashed, and give each "
			"build a revision of its own.",
			name));
}

struct build_doubts compare_builds(struct pool *pool, const struct compared *c)
{
	struct build_doubts d = { .count = 0 };
	size_t all = c->runs[COMPARE_BASE] + c->runs[COMPARE_NEW];
	const struct run *other;

	if (!c->runs[COMPARE_BASE] || !c->runs[COMPARE_NEW])
		return d;
	check_one_side(&d, pool, c, COMPARE_BASE);
	check_one_side(&d, pool, c, COMPARE_NEW);
	check_both_sides(&d, pool, c, all);
	other = first_other(c, 1, all, &c->heads[0], same_serial);
	if (other)
		doubt(&d, BUILDS_ANOTHER_GADGET,
			pool_printf(pool,
				"The runs come from gadgets with different serial numbers (%s and "
				"%s): the difference may lie in the gadget or its card, not in the "
				"build.",
				c->heads[0].target.serial, other->target.serial));
	return d;
}
