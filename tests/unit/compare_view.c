/* findings/compare: what is said of two sides, and that every code of a comparison comes out with its figures. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "findings/compared.h"
#include "support/view_check.h"

enum { POINTS = 8, VALUES = 6 };

/* Two sides of POINTS points; what is compared lies in `values`. */
struct scene {
	struct compared c;
	struct gate_request gate;
	struct run heads[3];
	struct compare_point points[POINTS];
	double values[POINTS][2][VALUES];
};

static void fill_side(struct scene *s, int i, int side, double log_rate, double noise)
{
	for (int k = 0; k < VALUES; k++)
		s->values[i][side][k] = log_rate + (k % 2 ? noise : -noise) * (1 + 0.1 * k);
}

static void scene_init(struct scene *s)
{
	memset(s, 0, sizeof *s);
	compared_init(&s->c, 1, 1, false);
	s->c.heads = s->heads;
	s->c.points = s->points;
	s->c.count = POINTS;
	s->c.runs[0] = s->c.runs[1] = 1;
	s->c.passes[0] = s->c.passes[1] = (size_t)POINTS * VALUES;
	strcpy(s->heads[0].head.id, "base-run");
	strcpy(s->heads[1].head.id, "new-run");
	for (int i = 0; i < POINTS; i++) {
		s->points[i].request_bytes = UINT64_C(512) << i;
		s->points[i].in_flight = 1;
		for (int side = 0; side < 2; side++)
			fill_side(s, i, side, 13, 0.001);
	}
}

/* Compares what stands in values; `n` of each side count. */
static void scene_compare(struct scene *s, size_t n, double allowed)
{
	struct comparison rate[POINTS], p99[POINTS];
	struct compare_gate_point each[POINTS];

	for (int i = 0; i < POINTS; i++) {
		rate[i] = (struct comparison){
			.base = s->values[i][0], .fresh = s->values[i][1], .base_n = n, .fresh_n = n
		};
		p99[i] = (struct comparison){ .base = s->values[i][1],
			.fresh = s->values[i][0],
			.base_n = i ? n : 0,
			.fresh_n = i ? n : 0,
			.resolution = log1p(1.0 / 128) };
	}
	ck_assert_int_eq(compare_all(rate, POINTS), 0);
	compare_outlook(rate, POINTS);
	ck_assert_int_eq(compare_all(p99, POINTS), 0);
	s->gate.given = allowed >= 0;
	s->gate.allowed = allowed;
	ck_assert_int_eq(compare_gate(&s->gate.result, each, rate, POINTS, fmax(allowed, 0)), 0);
	for (int i = 0; i < POINTS; i++) {
		s->points[i].rate = rate[i];
		s->points[i].p99 = p99[i];
		s->points[i].gate = each[i];
	}
}

/* Checks the view and says its verdict. */
static const char *verdict(struct scene *s, char sentence[500])
{
	struct error err = { 0 };
	const char *code;
	struct view v;

	ck_assert_msg(!compare_view(&v, &s->c, &s->gate, &err), "%s", err.text);
	view_check(&v);
	code = v.findings.list[0].code->code;
	strncpy(sentence, v.findings.list[0].sentence, 499);
	sentence[499] = 0;
	view_release(&v);
	return code;
}

static void remark(struct scene *s, enum compare_noticed what, const char *sentence)
{
	struct compare_remark *r = pool_alloc(&s->c.pool, 1, sizeof *r);

	ck_assert_ptr_nonnull(r);
	*r = (struct compare_remark){ .what = what, .sentence = sentence };
	*s->c.next_remark = r;
	s->c.next_remark = &r->next;
}

/* The new side gets a head of its own behind two of the base, which are of different firmware. */
static void mix_two_builds(struct scene *s)
{
	s->c.runs[COMPARE_BASE] = 2;
	strcpy(s->heads[2].head.id, "new-run");
	strcpy(s->heads[1].head.id, "base-run-2");
	strcpy(s->heads[0].head.label, "old");
	strcpy(s->heads[1].head.label, "new");
	strcpy(s->heads[2].head.label, "new");
	for (int i = 0; i < 3; i++)
		strcpy(s->heads[i].target.revision, i == 1 ? "1.1" : "1.0");
}

static void say_all_that_can_be_odd(struct scene *s)
{
	s->c.modelled = true;
	s->c.one_sided = 1;
	s->c.left_out[1] = 2;
	s->points[5].basis = COMPARE_ACKNOWLEDGED;
	s->points[6].basis = COMPARE_ONE_STORED;
	remark(s, REMARK_CONDITIONS, "Conditions differ.");
	remark(s, REMARK_UNFINISHED, "It did not finish.");
	remark(s, REMARK_DAMAGED, "Lines are missing.");
	for (int i = 0; i < 2; i++)
		strcpy(s->heads[i].target.revision, "1.0");
	strcpy(s->heads[1].head.label, "new");
	strcpy(s->heads[0].target.serial, "S-1");
	strcpy(s->heads[1].target.serial, "S-2");
}

/* Passes whose status takes so long, give or take 1 %, and their data so long. */
static void fill_both(
	struct compare_point *p, double base_s, double new_s, double base_data_s, double new_data_s)
{
	const double status[2] = { base_s, new_s }, data[2] = { base_data_s, new_data_s };

	for (int side = 0; side < 2; side++) {
		struct run_pass passes[VALUES] = { 0 };
		const struct run_pass *list[VALUES];

		for (int i = 0; i < VALUES; i++) {
			passes[i] = (struct run_pass){
				.phases_seen = true, .requests = 100, .commands = 100
			};
			passes[i].phase_ns[RUN_PHASE_DATA] = (uint64_t)(data[side] * 100e9);
			passes[i].phase_ns[RUN_PHASE_STATUS] =
				(uint64_t)(status[side] * 100e9 * (1 + 0.01 * (i % 2)));
			list[i] = &passes[i];
		}
		ck_assert_int_eq(phase_replicates_take(&p->phases, side, list, VALUES, false), 0);
	}
}

static void fill_phases(struct compare_point *p, double base_s, double new_s)
{
	fill_both(p, base_s, new_s, 4e-3, 4e-3);
}

/* A phase is named when its change is beyond chance and the larger part of the whole, and never the wrong way round. */
START_TEST(which_phase_changed)
{
	struct compare_point p = { .request_bytes = 4096 };
	struct phase_change c;

	ck_assert(!phase_replicates_change(&p.phases, -6e-3).seen);
	fill_phases(&p, 8e-3, 2e-3);
	c = phase_replicates_change(&p.phases, -6e-3);
	ck_assert(c.seen && c.shown);
	ck_assert_int_eq(c.phase, RUN_PHASE_STATUS);
	ck_assert_double_eq_tol(c.seconds[0][RUN_PHASE_STATUS], 8e-3, 1e-4);
	ck_assert_double_eq_tol(c.seconds[1][RUN_PHASE_STATUS], 2e-3, 1e-4);
	ck_assert_double_eq_tol(c.seconds[1][RUN_PHASE_DATA], 4e-3, 1e-9);
	phase_replicates_release(&p.phases);
	fill_phases(&p, 2e-3, 2e-3);
	ck_assert(!phase_replicates_change(&p.phases, 2e-6).shown);
	phase_replicates_release(&p.phases);
	/* 0.1 % of difference in 1 % of noise. */
	fill_phases(&p, 2e-3, 2.002e-3);
	ck_assert(!phase_replicates_change(&p.phases, 2e-6).shown);
	phase_replicates_release(&p.phases);
	/* By the rates a request takes 40 ms less, or hardly less, or more: most of the change is not in the phases. */
	fill_phases(&p, 8e-3, 2e-3);
	ck_assert(!phase_replicates_change(&p.phases, -40e-3).shown);
	ck_assert(!phase_replicates_change(&p.phases, -1e-3).shown);
	ck_assert(!phase_replicates_change(&p.phases, 6e-3).shown);
	phase_replicates_release(&p.phases);
	/* What the status no longer takes the data does, but for 1 ms. */
	fill_both(&p, 8e-3, 2e-3, 4e-3, 9e-3);
	c = phase_replicates_change(&p.phases, -1e-3);
	ck_assert(c.seen && !c.shown);
	phase_replicates_release(&p.phases);
	fill_both(&p, 8e-3, 2e-3, 4e-3, 5e-3);
	ck_assert(phase_replicates_change(&p.phases, -5e-3).shown);
	phase_replicates_release(&p.phases);
}
END_TEST

START_TEST(every_code)
{
	char said[500];
	struct scene s;

	scene_init(&s);
	say_all_that_can_be_odd(&s);
	for (int i = 0; i < POINTS; i++)
		fill_side(&s, i, 1, 13 - 0.2, 0.001 * (i + 1) * 4); /* slower, and noisier */
	scene_compare(&s, VALUES, -1);
	s.points[3].rate.p_rank = 0.3;
	ck_assert_str_eq(verdict(&s, said), "slower");
	ck_assert_ptr_nonnull(strstr(said, "The new run is slower at 8 of 8 points, by 18 %;"));
	s.points[0].rate.verdict = COMPARE_HIGHER;
	s.points[1].rate.verdict = COMPARE_TOO_FEW;
	ck_assert_str_eq(verdict(&s, said), "mixed");
	scene_compare(&s, VALUES, 0.05);
	ck_assert_str_eq(verdict(&s, said), "gate-failed");
	scene_compare(&s, 3, 0.05);
	ck_assert_str_eq(verdict(&s, said), "gate-undecided");
	/* More of the same shows no stored rate of a side that shows none. */
	ck_assert_ptr_nonnull(strstr(said, "No number of passes decides it: at 1 point"));
	s.points[6].basis = COMPARE_STORED;
	ck_assert_str_eq(verdict(&s, said), "gate-undecided");
	ck_assert_ptr_nonnull(strstr(said, "4 or more passes a side"));
	s.points[6].basis = COMPARE_ONE_STORED;
	scene_compare(&s, 3, -1);
	ck_assert_str_eq(verdict(&s, said), "too-few");
	pool_release(&s.c.pool);

	scene_init(&s);
	scene_compare(&s, VALUES, 0.05);
	ck_assert_str_eq(verdict(&s, said), "gate-passed");
	scene_compare(&s, VALUES, -1);
	ck_assert_str_eq(verdict(&s, said), "not-shown");
	s.c.by_runs = true;
	mix_two_builds(&s);
	strcpy(s.c.last_started[COMPARE_BASE], "2026-11-20");
	strcpy(s.c.first_started[COMPARE_NEW], "2026-11-21");
	for (int i = 0; i < POINTS; i++)
		fill_side(&s, i, 1, 13 + 0.2, 0.001);
	scene_compare(&s, VALUES, -1);
	fill_phases(&s.points[POINTS - 1], 40e-3, 13e-3);
	ck_assert_str_eq(verdict(&s, said), "faster");
	ck_assert_ptr_nonnull(strstr(said, "The new build is faster at 8 of 8 points, by 22 %;"));
	phase_replicates_release(&s.points[POINTS - 1].phases);
	pool_release(&s.c.pool);
	view_check_all_codes("compare");
}
END_TEST

/* The last two points are of one size in both orders, the random one's status so many times as long: both are told to
 * programs, and people read it once if they are alike. */
static void check_alike(double times, bool alike)
{
	size_t all = 0, shown = 0, both = 0;
	struct error err = { 0 };
	struct scene s;
	struct view v;

	scene_init(&s);
	s.points[POINTS - 2].request_bytes = s.points[POINTS - 1].request_bytes;
	s.points[POINTS - 1].order = RUN_RANDOM;
	for (int i = 0; i < POINTS; i++)
		fill_side(&s, i, 1, 13 + 0.2, 0.001);
	scene_compare(&s, VALUES, -1);
	fill_phases(&s.points[POINTS - 2], 40e-3, 13e-3);
	fill_phases(&s.points[POINTS - 1], times * 40e-3, times * 13e-3);
	ck_assert_int_eq(compare_view(&v, &s.c, &s.gate, &err), 0);
	for (size_t i = 0; i < v.findings.count; i++) {
		const struct finding *f = &v.findings.list[i];

		if (strcmp(f->code->code, "phase-changed") != 0)
			continue;
		all++;
		shown += !f->again;
		both += strstr(f->sentence, "sequential and random") != NULL;
	}
	ck_assert_uint_eq(all, 2);
	ck_assert_uint_eq(shown, alike ? 1 : 2);
	ck_assert_uint_eq(both, alike ? 2 : 0);
	view_release(&v);
	for (int i = POINTS - 2; i < POINTS; i++)
		phase_replicates_release(&s.points[i].phases);
	pool_release(&s.c.pool);
}

START_TEST(what_goes_alike_is_said_once)
{
	check_alike(1.01, true);
	check_alike(1.2, false);
}
END_TEST

static bool says_code(const struct scene *s, const char *code)
{
	struct error err = { 0 };
	bool found = false;
	struct view v;

	ck_assert_int_eq(compare_view(&v, &s->c, &s->gate, &err), 0);
	for (size_t i = 0; i < v.findings.count; i++)
		found = found || !strcmp(v.findings.list[i].code->code, code);
	view_release(&v);
	return found;
}

/* One run a side never speaks of builds, and never says how rarely equal builds are told apart. */
START_TEST(what_one_run_a_side_may_say)
{
	struct scene s;

	scene_init(&s);
	scene_compare(&s, VALUES, -1);
	ck_assert(says_code(&s, "one-run-a-side"));
	ck_assert(!says_code(&s, "false-alarms"));
	s.c.by_runs = true;
	ck_assert(!says_code(&s, "one-run-a-side"));
	ck_assert(says_code(&s, "false-alarms"));
	pool_release(&s.c.pool);
}
END_TEST

/* A B B A is in turn; A A B B and B B A A are not. */
START_TEST(what_is_in_turn)
{
	struct compared c = { 0 };
	static const struct {
		const char *base[2], *fresh[2];
		bool apart;
	} cases[] = {
		{ { "2026-11-20T01:00:00Z", "2026-11-20T04:00:00Z" },
			{ "2026-11-20T02:00:00Z", "2026-11-20T03:00:00Z" }, false },
		{ { "2026-11-20T01:00:00Z", "2026-11-20T02:00:00Z" },
			{ "2026-11-20T03:00:00Z", "2026-11-20T04:00:00Z" }, true },
		{ { "2026-11-20T03:00:00Z", "2026-11-20T04:00:00Z" },
			{ "2026-11-20T01:00:00Z", "2026-11-20T02:00:00Z" }, true },
		{ { "2026-11-20T01:00:00Z", "2026-11-20T03:00:00Z" },
			{ "2026-11-20T02:00:00Z", "2026-11-20T04:00:00Z" }, false },
	};

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		strcpy(c.first_started[COMPARE_BASE], cases[i].base[0]);
		strcpy(c.last_started[COMPARE_BASE], cases[i].base[1]);
		strcpy(c.first_started[COMPARE_NEW], cases[i].fresh[0]);
		strcpy(c.last_started[COMPARE_NEW], cases[i].fresh[1]);
		ck_assert_int_eq(compared_one_after_the_other(&c), cases[i].apart);
	}
}
END_TEST

Suite *compare_view_suite(void);
Suite *compare_view_suite(void)
{
	Suite *s = suite_create("compare_view");
	TCase *c = tcase_create("compare_view");

	tcase_add_test(c, which_phase_changed);
	tcase_add_test(c, every_code);
	tcase_add_test(c, what_goes_alike_is_said_once);
	tcase_add_test(c, what_one_run_a_side_may_say);
	tcase_add_test(c, what_is_in_turn);
	suite_add_tcase(s, c);
	return s;
}
