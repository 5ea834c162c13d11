/* analysis/stages, analysis/diagnose: link and card one after the other or overlapped, with pipeline fill and fixed cost.
 *
 * The measured rates in here are common practice, no source: a full-speed gadget with a card on SPI or on four lines,
 * 4096-byte requests, link taken as 1.0 MB/s. The predictions are arithmetic. */
#include <check.h>
#include <math.h>

#include "analysis/diagnose.h"
#include "analysis/stages.h"

static void same(double got, double wanted, double relative)
{
	ck_assert_double_eq_tol(got, wanted, relative * fabs(wanted));
}

static const struct {
	double card, measured; /* MB/s */
	double in_turn, off; /* prediction at L = 1.0, and measured/prediction - 1 */
} cases[] = {
	{ 1.0, 0.480, 0.5, -0.04 }, /* SPI write */
	{ 1.7, 0.671, 17.0 / 27, 0.06570588 }, /* SPI read */
	{ 2.34, 0.660, 117.0 / 167, -0.05794872 }, /* 4-bit write */
	{ 8.39, 1.0, 839.0 / 939, 0.11918951 }, /* 4-bit read */
};

START_TEST(predictions)
{
	for (int i = 0; i < 4; i++) {
		double c = cases[i].card, s = stages_chunked(1.0, c, 4096, 4096);

		same(s, cases[i].in_turn, 1e-9);
		same(cases[i].measured / s - 1, cases[i].off, 1e-6);
	}
	/* k equal chunks with L = C = 1: time (k+1)/k of one stage. */
	same(stages_chunked(1, 1, 4096, 2048), 2.0 / 3, 1e-14);
	same(stages_chunked(1, 1, 4096, 512), 8.0 / 9, 1e-14);
	same(stages_chunked(1, 1, 4096, 0), 0.5, 1e-14);
	/* The slower stage sets the pace after the first chunk: 512/2 + 512 + 7 x 512. */
	same(stages_chunked(2, 1, 4096, 512), 4096.0 / (256 + 4096), 1e-14);
	same(stages_request(1e6, 1e6, 4096, 512, 1e-3), 4096 / (1e-3 + 512e-6 + 4096e-6), 1e-14);
}
END_TEST

/* Requests of 512 B.. that take fixed_s + n / rate. */
static struct diagnosis diagnose_line(double fixed_s, double rate, double link, double card)
{
	struct cost_point p[8];
	struct cost_line l;
	struct diagnosis d;

	for (int i = 0; i < 8; i++) {
		uint64_t n = UINT64_C(512) << i;

		p[i] = (struct cost_point){ n, fixed_s + (double)n / rate, 5, 1, 0 };
	}
	cost_line_make(&l, p, 8);
	diagnose(&d, &(struct diagnose_input){ .line = &l,
			     .points = p,
			     .point_count = 8,
			     .usual_bytes = 4096,
			     .block_bytes = 512,
			     .fixed_s = fixed_s,
			     .usb = usb_link_at(12000000),
			     .link = link,
			     .card = card });
	return d;
}

START_TEST(the_fixed_cost_is_part_of_both)
{
	struct diagnosis d = diagnose_line(2e-3, 17e6 / 27, 1e6, 1.7e6);

	/* In turn, and 2 ms of work: predicted as measured, not "slower than one after the other". */
	same(d.usual.in_turn, d.usual.measured, 1e-9);
	/* 2 ms, in which the first block's way in may be, and the link's 4.096 ms. */
	same(d.usual.overlapped, 4096 / (2e-3 + 4096e-6), 1e-9);
	ck_assert(!d.link_beaten && !d.card_beaten);
	ck_assert(!d.usual.link_is_ceiling && !d.usual.card_is_ceiling);
}
END_TEST

START_TEST(one_figure_for_one_link)
{
	/* USB 2.0 table 5-9: 1,216,000 B/s at every size, and said to be a ceiling. */
	struct diagnosis d = diagnose_line(0.1e-3, 1.1e6, 0, 2e6);

	ck_assert_double_eq(d.usual.link, 1216000);
	ck_assert(d.usual.link_is_ceiling);
	/* Unknown stages predict nothing. */
	d = diagnose_line(0.1e-3, 1.1e6, 1e6, 0);
	ck_assert_double_eq(d.usual.in_turn, 0);
	ck_assert_double_eq(d.usual.overlapped, 0);
}
END_TEST

START_TEST(rates_that_are_beaten)
{
	/* 64 KiB at 1.0 MB/s and 0.5 ms: 992 kB/s. */
	ck_assert(diagnose_line(0.5e-3, 1e6, 0.9e6, 0).link_beaten);
	ck_assert(diagnose_line(0.5e-3, 1e6, 1.2e6, 0.9e6).card_beaten);
	ck_assert(!diagnose_line(0.5e-3, 1e6, 0.95e6, 0.95e6).link_beaten); /* off by 5 % */
	ck_assert(diagnose_line(0, 2e6, 0, 0).link_beaten); /* more than the table allows */
}
END_TEST

START_TEST(one_phase_a_frame)
{
	/* Three frames and more for 512 B; who needs less is not bound by it. */
	ck_assert(diagnose_line(1e-3, 1e6, 1e6, 0).phased_beaten);
	ck_assert(!diagnose_line(3e-3, 0.9e6, 1e6, 0).phased_beaten);
}
END_TEST

Suite *stages_suite(void)
{
	Suite *s = suite_create("stages");
	TCase *c = tcase_create("stages");

	tcase_add_test(c, predictions);
	tcase_add_test(c, the_fixed_cost_is_part_of_both);
	tcase_add_test(c, one_figure_for_one_link);
	tcase_add_test(c, rates_that_are_beaten);
	tcase_add_test(c, one_phase_a_frame);
	suite_add_tcase(s, c);
	return s;
}
