/* A modelled gadget on a line: the same times and bytes as on its virtual clock, whose values the other suites pin; data is
 * used no sooner than it has passed; a command given up at any moment leaves old or new blocks. */
#include "medium/model_line.h"

#include <check.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/random.h"
#include "medium/model_gadget.h"

enum { BLOCK = 512, BLOCKS = 64, PIECE = 8 };

/* A host and a bus that take no time. */
struct fake {
	struct model_line line;
	struct model_gadget *g;
	const unsigned char *from; /* a write: the host's data; NULL: a read */
	unsigned char *to;
	size_t len, passed;
	double last; /* of the times asked for */
	int calls, fail_at; /* 0: never */
	double give_up; /* when it failed; 0: at the end of that wait */
};

static int step(struct fake *f, double t)
{
	ck_assert(t >= f->last);
	f->last = t;
	if (++f->calls != f->fail_at)
		return 0;
	f->line.carried = f->passed;
	f->line.given_up = f->give_up > 0 ? f->give_up : t;
	return -ECANCELED;
}

static int fake_wait(struct model_line *line, double t)
{
	return step((struct fake *)line, t);
}

static int fake_carry(struct model_line *line, size_t upto, double start, double end)
{
	struct fake *f = (struct fake *)line;
	int rc = step(f, end);

	ck_assert(start <= end);
	ck_assert_uint_ge(upto, f->passed);
	ck_assert_uint_le(upto, f->len);
	if (rc < 0)
		return rc;
	memcpy(f->to + f->passed, f->from + f->passed, upto - f->passed);
	f->passed = line->carried = upto;
	return 0;
}

static struct fake fake = { .line = { .wait = fake_wait, .carry = fake_carry } };

static void open_gadget(struct model_gadget *g, const char *tail)
{
	struct model_spec spec;
	struct error err = { 0 };
	char text[1024];

	snprintf(text, sizeof text,
		"gadget-model 1\ndevice:\nname = t\ncapacity = 32Ki\nfill = FFh\njitter = 2 %%\n"
		"link:\nrate = 1 MB/s\nrequest cost = 0.2 ms\n"
		"card:\nread rate = 1.7 MB/s\nwrite rate = 0.8 MB/s\nwrite command cost = 0.5 ms\n"
		"firmware:\n%s",
		tail);
	ck_assert_msg(model_spec_parse(&spec, text, strlen(text), "t", &err) == 0, "%s", err.text);
	ck_assert_int_eq(model_gadget_init(g, &spec, true, &err), 0);
}

static const char *const kinds[] = {
	"unit = request\n",
	"unit = sector\n",
	"unit = request\ntransfer = overlapped\n",
	"unit = request\ntransfer = overlapped\nchunk = 2Ki\n",
	"unit = request\nwrite behind = 2Ki\n",
	"unit = request\nwrite behind = 16Ki\n",
	"unit = request\nwrite behind = 16Ki\nreads = from-buffer\n",
	"unit = request\nwrite behind = 16Ki\nfaults:\nstale reads = yes\n",
	"unit = request\nwrite behind = 4Ki\nfaults:\nslip bytes = 3\nslip write = 1 in 2\n"
	"slip direction = early\n",
	"unit = request\nfaults:\nslip bytes = 511\nslip write = 1 in 2\nslip direction = late\n"
	"flip bit every = 1536\nstuck line = 2\nstuck level = high\n",
};
enum { KINDS = sizeof kinds / sizeof *kinds };

static void fill(unsigned char *to, uint64_t at, size_t len, unsigned generation)
{
	for (size_t i = 0; i < len; i += 8) {
		uint64_t v = random_at(generation, at + i);

		memcpy(to + i, &v, 8);
	}
}

/* As the bus does it: the data comes as it is carried, and is nonsense before. */
static int put(struct model_gadget *g, uint64_t at, size_t len, unsigned generation, bool fua)
{
	static unsigned char data[PIECE * BLOCK], buf[PIECE * BLOCK];

	fill(data, at, len, generation);
	if (!g->line)
		return model_gadget_write(g, at, data, len, fua);
	memset(buf, 0xAA, sizeof buf);
	fake.from = data;
	fake.to = buf;
	fake.len = len;
	fake.passed = fake.line.carried = 0;
	return model_gadget_write(g, at, buf, len, fua);
}

static int get(struct model_gadget *g, uint64_t at, size_t len, unsigned char *out)
{
	static unsigned char buf[PIECE * BLOCK];
	int rc;

	if (!g->line)
		return model_gadget_read(g, at, out, len);
	fake.from = buf;
	fake.to = out;
	fake.len = len;
	fake.passed = fake.line.carried = 0;
	rc = model_gadget_read(g, at, buf, len);
	if (!rc)
		ck_assert_uint_eq(fake.passed, len);
	return rc;
}

static void on_line(struct model_gadget *g, int fail_at)
{
	fake.last = 0;
	fake.calls = 0;
	fake.fail_at = fail_at;
	g->line = &fake.line;
}

static void same_command(
	struct model_gadget *a, struct model_gadget *b, struct random *r, unsigned n)
{
	unsigned char one[PIECE * BLOCK] = { 0 }, other[PIECE * BLOCK] = { 0 };
	size_t len = (size_t)(1 + random_below(r, PIECE)) * BLOCK;
	uint64_t at = random_below(r, BLOCKS - PIECE) * BLOCK, what = random_below(r, 8);

	if (what < 4) {
		ck_assert_int_eq(put(a, at, len, n, what == 0), 0);
		ck_assert_int_eq(put(b, at, len, n, what == 0), 0);
	} else if (what < 7) {
		ck_assert_int_eq(get(a, at, len, one), 0);
		ck_assert_int_eq(get(b, at, len, other), 0);
		ck_assert_mem_eq(one, other, len);
	} else {
		ck_assert_int_eq(model_gadget_synchronize(a), 0);
		ck_assert_int_eq(model_gadget_synchronize(b), 0);
	}
	ck_assert_double_eq(a->now_ns, b->now_ns);
	ck_assert(fake.last <= b->now_ns + 1);
}

START_TEST(as_on_the_virtual_clock)
{
	for (int k = 0; k < KINDS; k++) {
		struct model_gadget a, b;
		struct random r = { (uint64_t)k };

		open_gadget(&a, kinds[k]);
		open_gadget(&b, kinds[k]);
		on_line(&b, 0);
		for (unsigned n = 1; n < 200; n++)
			same_command(&a, &b, &r, n);
		ck_assert_int_gt(fake.calls, 200);
		model_gadget_release(&a);
		model_gadget_release(&b);
	}
}
END_TEST

/* Old, new, or neither. */
static int generation_at(struct model_gadget *g, uint64_t at)
{
	unsigned char is[BLOCK], want[BLOCK];

	g->line = NULL;
	ck_assert_int_eq(model_gadget_read(g, at, is, BLOCK), 0);
	for (unsigned n = 1; n <= 2; n++) {
		fill(want, at, BLOCK, n);
		if (!memcmp(is, want, BLOCK))
			return (int)n;
	}
	return -1;
}

/* A write of 8 blocks given up at its fail_at-th moment; how many blocks are new, or -1 when it was not given up. */
static int given_up_at(const char *kind, int fail_at, bool power_lost)
{
	struct model_gadget g;
	int rc, fresh = 0;

	open_gadget(&g, kind);
	ck_assert_int_eq(put(&g, 0, PIECE * BLOCK, 1, false), 0);
	ck_assert_int_eq(model_gadget_synchronize(&g), 0);
	on_line(&g, fail_at);
	rc = put(&g, 0, PIECE * BLOCK, 2, false);
	if (rc)
		ck_assert_int_eq(rc, -ECANCELED);
	if (power_lost) {
		g.now_ns = fake.last;
		ck_assert_int_eq(model_gadget_replug(&g, true), 0);
	}
	for (uint64_t at = 0; at < PIECE * BLOCK; at += BLOCK) {
		int n = generation_at(&g, at);

		ck_assert_int_gt(n, 0);
		/* In order: nothing new behind something old. */
		ck_assert(n == 1 || (uint64_t)fresh * BLOCK == at);
		fresh += n == 2;
	}
	model_gadget_release(&g);
	return rc ? fresh : -1;
}

START_TEST(given_up_at_any_moment)
{
	for (int k = 0; k < 6; k++)
		for (int power_lost = 0; power_lost < 2; power_lost++) {
			int before = 0, moments = 0, fresh;

			while ((fresh = given_up_at(kinds[k], moments + 1, power_lost)) >= 0) {
				ck_assert_int_ge(fresh, before); /* later means more */
				before = fresh;
				moments++;
			}
			ck_assert_int_ge(moments, 2);
		}
}
END_TEST

/* 4096 B come in until 4.296 ms; then the card takes 0.5 ms and 4096 B at 0.8 MB/s. Given up in the middle of the fourth
 * block of eight. */
START_TEST(the_part_that_was_done)
{
	struct model_gadget g;

	open_gadget(&g, "unit = request\n");
	g.spec.device.jitter = 0;
	on_line(&g, 2); /* carried, then waiting for the card */
	fake.give_up = 4.296e6 + 3.5 / 8 * (0.5e6 + 5.12e6);
	ck_assert_int_eq(put(&g, 0, PIECE * BLOCK, 2, false), -ECANCELED);
	fake.give_up = 0;
	ck_assert_int_eq(generation_at(&g, 2 * BLOCK), 2);
	ck_assert_int_eq(generation_at(&g, 3 * BLOCK), -1);
	model_gadget_release(&g);
}
END_TEST

Suite *model_line_suite(void)
{
	Suite *s = suite_create("model_line");
	TCase *c = tcase_create("model_line");

	tcase_add_test(c, as_on_the_virtual_clock);
	tcase_add_test(c, given_up_at_any_moment);
	tcase_add_test(c, the_part_that_was_done);
	suite_add_tcase(s, c);
	return s;
}
