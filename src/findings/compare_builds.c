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

static bool knows_serial(const struct run *r)
{
	return *r->target.serial;
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

static void doubt(
	struct build_doubts *d, enum build_doubt what, const char *sentence, const char *holds)
{
	d->list[d->count].what = what;
	d->list[d->count].sentence = sentence;
	d->list[d->count++].holds = holds;
}

static void check_one_side(
	struct build_doubts *d, struct pool *pool, const struct compared *c, enum compare_side side)
{
	size_t first = side == COMPARE_BASE ? 0 : c->runs[COMPARE_BASE];
	size_t end = first + c->runs[side];
	const struct run *r = &c->heads[first];
	const struct run *other = first_other(c, first, end, r, same_firmware);
	char one[FIRMWARE_MAX], two[FIRMWARE_MAX];
	const char *name = side == COMPARE_BASE ? "base" : "new build";

	if (!other || !knows_firmware(r) || !knows_firmware(other))
		return;
	format_firmware(one, &r->target);
	format_firmware(two, &other->target);
	doubt(d, BUILDS_MANY_FIRMWARES,
		pool_printf(pool,
			"The runs of the %s come from firmware that calls itself %s and %s: that "
			"is two builds, not one.",
			name, one, two),
		pool_printf(pool,
			"the runs of the %s come from firmware that calls itself %s and %s, so "
			"they are not of one build.",
			name, one, two));
}

static bool any_differs(const struct compared *c)
{
	for (size_t i = 0; i < c->count; i++)
		if (c->points[i].rate.verdict == COMPARE_HIGHER ||
			c->points[i].rate.verdict == COMPARE_LOWER)
			return true;
	return false;
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
			name),
		any_differs(c)
			? NULL
			: pool_printf(pool,
				  "both builds give the same firmware revision (%s) and no point "
				  "is shown to differ, so the new one may never have been flashed.",
				  name));
}

/* A label that stands on both sides though not all runs have it: a run may be on the wrong side. */
static void check_labels(
	struct build_doubts *d, struct pool *pool, const struct compared *c, size_t all)
{
	if (!first_other(c, 1, all, &c->heads[0], same_label))
		return;
	for (size_t i = 0; i < c->runs[COMPARE_BASE]; i++) {
		const char *label = c->heads[i].head.label;

		for (size_t k = c->runs[COMPARE_BASE]; *label && k < all; k++) {
			if (!same_label(&c->heads[i], &c->heads[k]))
				continue;
			doubt(d, BUILDS_MIXED_LABELS,
				pool_printf(pool,
					"Runs labelled '%s' are on both sides, beside runs with "
					"another label: one of them may be on the wrong side of "
					"--against.",
					label),
				pool_printf(pool,
					"runs labelled '%s' are on both sides, beside runs with "
					"another label, so one may be on the wrong side.",
					label));
			return;
		}
	}
}

/* Has each side a serial number, and none in common with the other? */
static bool nothing_in_common(const struct compared *c, size_t all)
{
	bool known[2] = { false, false };

	for (size_t i = 0; i < c->runs[COMPARE_BASE]; i++)
		for (size_t k = c->runs[COMPARE_BASE]; k < all; k++) {
			known[0] |= knows_serial(&c->heads[i]);
			known[1] |= knows_serial(&c->heads[k]);
			if (knows_serial(&c->heads[i]) && knows_serial(&c->heads[k]) &&
				same_serial(&c->heads[i], &c->heads[k]))
				return false;
		}
	return known[0] && known[1];
}

static void check_gadgets(
	struct build_doubts *d, struct pool *pool, const struct compared *c, size_t all)
{
	size_t first = 0;
	const struct run *other;

	while (first < all && !knows_serial(&c->heads[first]))
		first++;
	other = first < all ? first_other(c, first, all, &c->heads[first], same_serial) : NULL;
	if (!other)
		return;
	doubt(d, BUILDS_ANOTHER_GADGET,
		pool_printf(pool,
			"The runs come from gadgets with different serial numbers (%s and %s): the "
			"difference may lie in the gadget or its card, not in the build.",
			c->heads[first].target.serial, other->target.serial),
		nothing_in_common(c, all)
			? pool_printf(pool,
				  "no gadget was measured with both builds (serial numbers %s and "
				  "%s), so a faster gadget may hide a slower build.",
				  c->heads[first].target.serial, other->target.serial)
			: NULL);
}

struct build_doubts compare_builds(struct pool *pool, const struct compared *c)
{
	struct build_doubts d = { .count = 0 };
	size_t all = c->runs[COMPARE_BASE] + c->runs[COMPARE_NEW];

	if (!c->runs[COMPARE_BASE] || !c->runs[COMPARE_NEW])
		return d;
	check_one_side(&d, pool, c, COMPARE_BASE);
	check_one_side(&d, pool, c, COMPARE_NEW);
	check_both_sides(&d, pool, c, all);
	check_labels(&d, pool, c, all);
	check_gadgets(&d, pool, c, all);
	return d;
}

const char *compare_builds_hold(const struct build_doubts *d)
{
	for (size_t i = 0; i < d->count; i++)
		if (d->list[i].holds)
			return d->list[i].holds;
	return NULL;
}
