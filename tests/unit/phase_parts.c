/* What phases say: parts of a request's time, with values worked out by hand. */
#include "analysis/phase_parts.h"

#include <check.h>

enum { SIZES = 4 };

/* Sizes of 1, 2, 4 and 8 KiB; each phase a fixed time and a time a KiB, in ms. */
struct design {
	double command, host, data, data_kib, status, status_kib;
};

static double wait_s;

static struct phase_parts parts(
	const struct design *d, bool write, double link_kib_ms, double card_kib_ms)
{
	struct phase_size sizes[SIZES];

	for (int i = 0; i < SIZES; i++) {
		double kib = 1 << i;

		sizes[i] = (struct phase_size){ .bytes = kib * 1024,
			.command = d->command / 1e3,
			.host = d->host / 1e3,
			.data = (d->data + d->data_kib * kib) / 1e3,
			.status = (d->status + d->status_kib * kib) / 1e3 };
	}
	return phase_parts_of(
		sizes, SIZES, write, 4096, link_kib_ms / 1024e3, card_kib_ms / 1024e3, wait_s);
}

static void expect_ms(const struct phase_parts *p, enum phase_part part, double ms)
{
	ck_assert_double_eq_tol(p->list[part].seconds * 1e3, ms, 1e-9);
}

/* Data 1 ms a KiB over a link that needs no less, then 0.5 ms and 2 ms a KiB of storing: 14.6 ms for 4 KiB. */
START_TEST(stores_and_answers)
{
	static const struct design d = { 0.1, 2, 0, 1, 0.5, 2 };
	struct phase_parts p = parts(&d, true, 1, 0);

	ck_assert(p.known && p.link_known);
	ck_assert_double_eq_tol(p.seconds, 14.6e-3, 1e-12);
	expect_ms(&p, PART_STORE, 8.5);
	expect_ms(&p, PART_LINK, 4);
	expect_ms(&p, PART_REFUSE, 0);
	expect_ms(&p, PART_FETCH, 0);
	expect_ms(&p, PART_HOST, 2);
	expect_ms(&p, PART_NOT_READY, 0.1);
	ck_assert(p.list[PART_STORE].line_known);
	ck_assert_double_eq_tol(p.list[PART_STORE].fixed, 0.5e-3, 1e-9);
	ck_assert_double_eq_tol(p.list[PART_STORE].per_byte * 1024, 2e-3, 1e-9);
	ck_assert_double_eq_tol(p.list[PART_STORE].last_per_byte * 1024, 2e-3, 1e-9);
	/* No more than the data takes; if it works afterwards. */
	ck_assert_double_eq_tol(p.gain, 4e-3, 1e-9);
	ck_assert(!p.gain_likely);
	/* 1.6 ms a KiB, and that is what the card takes: it does. */
	p = parts(&(struct design){ 0.1, 2, 0, 1, 0.5, 1.6 }, true, 1, 1.65);
	ck_assert_double_eq_tol(p.gain, 4e-3, 1e-9);
	ck_assert(p.gain_likely);
	/* A quick card's command, too, can begin with the first data: 0.5 and 4 times 0.5 ms of 4 can be saved. */
	p = parts(&(struct design){ 0.1, 2, 0, 1, 0.5, 0.5 }, true, 1, 0);
	ck_assert_double_eq_tol(p.gain, 2.5e-3, 1e-9);
	/* 1.5 of other work as well: it may all go on beside the data, of which that would be the end. */
	p = parts(&d, true, 1, 1.5);
	ck_assert_double_eq_tol(p.gain, 4e-3, 1e-9);
	ck_assert(!p.gain_likely);
	/* The same beside short data, where 0.4 of other work would do. */
	p = parts(&(struct design){ 0.1, 2, 0, 0.4, 0.5, 2 }, true, 0.4, 2);
	ck_assert_double_eq_tol(p.gain, 1.6e-3, 1e-9);
	ck_assert(!p.gain_likely);
	/* The fixed 0.5 ms may be a wait for frames, which nothing in the gadget saves. */
	wait_s = 2e-3;
	p = parts(&(struct design){ 0.1, 2, 0, 1, 0.5, 0.5 }, true, 1, 0);
	ck_assert_double_eq_tol(p.gain, 2e-3, 1e-9);
	wait_s = 0;
	/* The card takes 3: the 2 that are seen are its end, the rest was beside the data. Nothing to gain. */
	p = parts(&d, true, 1, 3);
	ck_assert_double_eq(p.gain, 0);
}
END_TEST

/* 0.4 ms and 1.5 ms a KiB of fetching before data that the link needs 1 ms a KiB for. */
START_TEST(fetches_and_sends)
{
	static const struct design d = { 0, 0, 0.4, 2.5, 0, 0 };
	struct phase_parts p = parts(&d, false, 1, 0);

	expect_ms(&p, PART_FETCH, 0.4 + 6);
	expect_ms(&p, PART_LINK, 4);
	ck_assert_double_eq_tol(p.list[PART_FETCH].fixed, 0.4e-3, 1e-9);
	ck_assert_double_eq_tol(p.gain, 4e-3, 1e-9);
	/* The card needs 2.5 ms a KiB: it was read beside the sending all the time. */
	p = parts(&d, false, 1, 2.5);
	ck_assert_double_eq(p.gain, 0);
	/* Without a link's rate the data is not divided, and nothing is to gain. */
	p = parts(&d, false, 0, 0);
	ck_assert(!p.link_known);
	expect_ms(&p, PART_FETCH, 0);
	expect_ms(&p, PART_LINK, 0);
	ck_assert_double_eq(p.gain, 0);
}
END_TEST

START_TEST(refuses_data)
{
	static const struct design d = { 0, 0, 0, 3, 0.2, 0 };
	struct phase_parts p = parts(&d, true, 1, 0);

	expect_ms(&p, PART_REFUSE, 8);
	expect_ms(&p, PART_STORE, 0.2);
	/* What does not grow can't be hidden behind data. */
	ck_assert_double_le(p.gain, 1e-9);
}
END_TEST

/* Statuses that stop growing are the end of work that went on while data came: 28, 48, 48 us beside 140, 260 and 500. A line through
 * them rises, and nothing is to gain. */
START_TEST(what_stops_growing)
{
	const struct phase_size sizes[] = { { 512, 0, 112e-6, 28e-6, 0 },
		{ 1024, 0, 212e-6, 48e-6, 0 }, { 2048, 0, 452e-6, 48e-6, 0 } };
	struct phase_parts p = phase_parts_of(sizes, 3, true, 2048, 0, 0, 0);

	ck_assert(p.list[PART_STORE].line_known && p.list[PART_STORE].per_byte > 5e-9);
	ck_assert_double_eq(p.list[PART_STORE].last_per_byte, 0);
	ck_assert_double_eq(p.gain, 0);
}
END_TEST

/* Data faster than its link: the link is not what it says. */
START_TEST(a_link_that_is_beaten)
{
	static const struct design d = { 0, 0, 0, 0.5, 0, 0 };
	struct phase_parts p = parts(&d, false, 1, 0);

	ck_assert(p.known && !p.link_known);
	expect_ms(&p, PART_LINK, 0);
}
END_TEST

START_TEST(no_line)
{
	const struct phase_size sizes[] = { { 1024, 0, 1e-3, 5e-3, 0 }, { 2048, 0, 2e-3, 1e-3, 0 },
		{ 4096, 0, 4e-3, 9e-3, 0 } };
	struct phase_parts p = phase_parts_of(sizes, 3, true, 4096, 0, 0, 0);

	ck_assert(p.known && !p.list[PART_STORE].line_known);
	ck_assert_double_eq(p.gain, 0);
	p = phase_parts_of(sizes, 1, true, 4096, 0, 0, 0);
	ck_assert(p.known && !p.list[PART_STORE].line_known);
	p = phase_parts_of(sizes, 0, true, 4096, 0, 0, 0);
	ck_assert(!p.known);
}
END_TEST

Suite *phase_parts_suite(void)
{
	Suite *s = suite_create("phase_parts");
	TCase *t = tcase_create("parts");

	tcase_add_test(t, stores_and_answers);
	tcase_add_test(t, fetches_and_sends);
	tcase_add_test(t, refuses_data);
	tcase_add_test(t, a_link_that_is_beaten);
	tcase_add_test(t, no_line);
	tcase_add_test(t, what_stops_growing);
	suite_add_tcase(s, t);
	return s;
}
