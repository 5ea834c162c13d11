/* analysis/stages, analysis/diagnose: one after the other or overlapped, and what follows.
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
	double in_turn_ceiling, share_ceiling; /* the same at L = 1.216 */
} cases[] = {
	{ 1.0, 0.480, 0.5, -0.04, 152.0 / 277, 0.874736842 }, /* SPI write */
	{ 1.7, 0.671, 17.0 / 27, 0.06570588, 2584.0 / 3645, 0.946515093 }, /* SPI read */
	{ 2.34, 0.660, 117.0 / 167, -0.05794872, 17784.0 / 22225, 0.824814440 }, /* 4-bit write */
	{ 8.39, 1.0, 839.0 / 939, 0.11918951, 127528.0 / 120075, 0.941557932 }, /* 4-bit read */
};

START_TEST(predictions)
{
	for (int i = 0; i < 4; i++) {
		double c = cases[i].card, s = stages_in_turn(1.0, c);

		same(s, cases[i].in_turn, 1e-9);
		same(cases[i].measured / s - 1, cases[i].off, 1e-6);
		/* How far store-and-forward is off for each: within 12 % of what is measured. */
		ck_assert_double_le(fabs(cases[i].measured / s - 1), 0.12);
		ck_assert_double_eq(stages_overlapped(1.0, c), 1.0);
		same(stages_in_turn(1.216, c), cases[i].in_turn_ceiling, 1e-9);
		same(cases[i].measured / stages_in_turn(1.216, c), cases[i].share_ceiling, 1e-9);
	}
	/* Write-behind: measured 0.915, far above 0.5, 8.5 % below the overlapped prediction. */
	same(0.915 / stages_in_turn(1, 1), 1.83, 1e-12);
	same(0.915 / stages_overlapped(1, 1) - 1, -0.085, 1e-12);
}
END_TEST

START_TEST(degrees)
{
	ck_assert_double_eq_tol(stages_overlap_degree(1, 1, 0.5), 0, 1e-15);
	ck_assert_double_eq_tol(stages_overlap_degree(1, 1, 1), 1, 1e-15);
	ck_assert_double_lt(stages_overlap_degree(1, 1, 0.4), 0);
	same(stages_link_if_in_turn(1.0, 0.5), 1.0, 1e-14);
	ck_assert_double_eq(stages_link_if_in_turn(1.0, 1.2), 0);
	/* k equal chunks with L = C = 1: time (k+1)/k of one stage. */
	same(stages_chunked(1, 1, 4096, 4096), 0.5, 1e-14);
	same(stages_chunked(1, 1, 4096, 2048), 2.0 / 3, 1e-14);
	same(stages_chunked(1, 1, 4096, 512), 8.0 / 9, 1e-14);
	same(stages_chunked(1, 1, 4096, 0), 0.5, 1e-14);
}
END_TEST

/* Whole-request gadget: rate m at 4 KiB and about that at all sizes. */
static struct diagnosis diagnose_rate(double measured, double card, double link, double fixed_s)
{
	struct cost_point p[8];
	struct cost_line l;
	struct diagnosis d;
	double slope = 1 / (measured * 1e6) - fixed_s / 4096;

	for (int i = 0; i < 8; i++) {
		uint64_t n = UINT64_C(512) << i;

		p[i] = (struct cost_point){ n, fixed_s + (double)n * slope, 5, 1, 0 };
	}
	cost_line_make(&l, p, 8);
	diagnose(&d, &(struct diagnose_input){ .line = &l,
			     .points = p,
			     .point_count = 8,
			     .usual_bytes = 4096,
			     .usb = usb_link_at(12000000),
			     .link = link * 1e6,
			     .card = card * 1e6 });
	return d;
}

START_TEST(verdict_hangs_on_the_link)
{
	struct diagnosis d = diagnose_rate(0.480, 1.0, 1.0, 1e-3);

	/* SPI write: one after the other whether the link is 1.0 or 1.216. */
	ck_assert_int_eq(d.usual.verdict, STAGES_IN_TURN);
	ck_assert(!(d.findings & FINDING_LINK_DECIDES));
	ck_assert(!(d.findings & FINDING_FRAME_BOUND));
	/* 4-bit read: overlapped at 1.0, one after the other at 1.216. */
	d = diagnose_rate(1.0, 8.39, 1.0, 0.2e-3);
	ck_assert_int_eq(d.usual.verdict, STAGES_OVERLAPPED);
	ck_assert_int_eq(d.usual.verdict_at_ceiling, STAGES_IN_TURN);
	ck_assert(d.findings & FINDING_LINK_DECIDES);
	/* SPI read: above the sum at 1.0, below it at 1.216; 671 kB/s is 1.7 % under one phase a frame (682,667). */
	d = diagnose_rate(0.671, 1.7, 1.0, 2.5e-3);
	ck_assert(d.findings & FINDING_LINK_DECIDES);
	ck_assert(d.findings & FINDING_FRAME_BOUND);
	same(d.usual.measured / d.usual.phased - 1, -0.0171, 0.01);
	/* 4-bit write: 3.3 % under it. */
	d = diagnose_rate(0.660, 2.34, 1.0, 2.5e-3);
	ck_assert(d.findings & FINDING_FRAME_BOUND);
	same(d.usual.measured / d.usual.phased - 1, -0.0332, 0.01);
	/* A host that is quicker than that with small requests is not bound by it. */
	d = diagnose_rate(0.671, 1.7, 1.0, 1e-3);
	ck_assert(d.phased_beaten);
	ck_assert(!(d.findings & FINDING_FRAME_BOUND));
	/* No --link: the table's ceiling is assumed, and that is told. */
	d = diagnose_rate(0.480, 1.0, 0, 1e-3);
	ck_assert(d.findings & FINDING_LINK_ASSUMED);
}
END_TEST

START_TEST(one_sector_at_a_time)
{
	/* 270 and 507 kB/s at every size. With the card known it is certain, else it may be the card. */
	struct diagnosis d = diagnose_rate(0.270, 1.0, 1.0, 0.2e-3);

	ck_assert(d.findings & FINDING_FLAT);
	ck_assert_int_eq(d.usual.verdict, STAGES_SLOWER);
	/* Per 4 KiB request 15.17 ms; link and card one after the other 8.192 ms. */
	same(d.usual.unexplained_s, 4096 / 0.270e6 - 8.192e-3, 1e-9);
	d = diagnose_rate(0.507, 1.7, 1.0, 0.2e-3);
	ck_assert(d.findings & FINDING_FLAT);
	d = diagnose_rate(0.270, 0, 0, 0.2e-3);
	ck_assert(d.findings & FINDING_FLAT_OR_CARD);
	ck_assert(!(d.findings & FINDING_FLAT));
	/* Flat and as good as link and card allow: nothing to say. */
	d = diagnose_rate(0.480, 1.0, 1.0, 0.1e-3);
	ck_assert(!(d.findings & (FINDING_FLAT | FINDING_FLAT_OR_CARD)));
	/* Grows with size: not that. */
	d = diagnose_rate(0.270, 1.0, 1.0, 10e-3);
	ck_assert(!(d.findings & FINDING_FLAT));
	ck_assert(d.findings & FINDING_FIXED_DOMINATES);
	same(d.fixed_share, 10e-3 / (4096 / 0.270e6), 1e-6);
}
END_TEST

START_TEST(at_the_link)
{
	ck_assert(diagnose_rate(1.15, 0, 0, 0.1e-3).findings & FINDING_AT_LINK);
	ck_assert(!(diagnose_rate(0.9, 0, 0, 0.1e-3).findings & FINDING_AT_LINK));
	ck_assert_int_eq(diagnose_rate(1.15, 8, 0.9, 0.1e-3).usual.verdict, STAGES_FASTER);
}
END_TEST

Suite *stages_suite(void)
{
	Suite *s = suite_create("stages");
	TCase *c = tcase_create("stages");

	tcase_add_test(c, predictions);
	tcase_add_test(c, degrees);
	tcase_add_test(c, verdict_hangs_on_the_link);
	tcase_add_test(c, one_sector_at_a_time);
	tcase_add_test(c, at_the_link);
	suite_add_tcase(s, c);
	return s;
}
