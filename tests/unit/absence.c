/* absence: a process that is stopped is told from one that waits for its device. */
#include "platform/absence.h"

#include <check.h>
#include <sched.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "platform/clock.h"

enum { SLEEP_NS = 600000000 };

/* In a child that its parent stops for a while: was it away, by what it says itself? */
static int away_of_child(bool stopped)
{
	pid_t child = fork();
	int status = 0;

	if (child == 0) {
		struct absence *a = absence_watch();
		struct absence_mark mark;
		struct absence_time t;

		absence_mark(a, &mark);
		if (stopped)
			raise(SIGSTOP);
		else
			clock_sleep_ns(SLEEP_NS); /* as a request that takes long */
		absence_since(a, &mark, &t);
		absence_end(a);
		_exit(!a ? 3 : t.away_ns > SLEEP_NS / 2);
	}
	if (stopped) {
		waitpid(child, &status, WUNTRACED);
		clock_sleep_ns(SLEEP_NS);
		kill(child, SIGCONT);
	}
	waitpid(child, &status, 0);
	return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

START_TEST(a_stop_is_an_absence)
{
	ck_assert_int_eq(away_of_child(true), 1);
}
END_TEST

/* On a machine so busy that a sleeper wakes a quarter of a second late, it is one: a second try may have better luck. */
START_TEST(a_long_wait_is_none)
{
	int away = 1;

	for (int i = 0; i < 20 && away; i++)
		away = away_of_child(false);
	ck_assert_int_eq(away, 0);
}
END_TEST

/* Everybody in this test on one processor; the child has to wait long for each turn. */
static int away_of_unhurried_child(void)
{
	enum { BUSY = 8 };
	pid_t busy[BUSY];
	cpu_set_t one;
	int away;

	ck_assert_int_eq(sched_getaffinity(0, sizeof one, &one), 0);
	for (size_t i = 0, kept = 0; i < CPU_SETSIZE; i++)
		if (CPU_ISSET(i, &one) && kept++)
			CPU_CLR(i, &one);
	ck_assert_int_eq(sched_setaffinity(0, sizeof one, &one), 0);
	for (int i = 0; i < BUSY; i++) {
		busy[i] = fork();
		if (busy[i] == 0) {
			prctl(PR_SET_PDEATHSIG, SIGKILL);
			for (;;)
				;
		}
	}
	setpriority(PRIO_PROCESS, 0, 19);
	away = away_of_child(false);
	for (int i = 0; i < BUSY; i++) {
		kill(busy[i], SIGKILL);
		waitpid(busy[i], NULL, 0);
	}
	return away;
}

START_TEST(a_busy_processor_is_none)
{
	int away = 1;

	for (int i = 0; i < 3 && away; i++)
		away = away_of_unhurried_child();
	ck_assert_int_eq(away, 0);
}
END_TEST

START_TEST(without_a_thread_it_says_nothing)
{
	struct absence_mark mark;
	struct absence_time t;

	absence_mark(NULL, &mark);
	absence_since(NULL, &mark, &t);
	ck_assert_uint_eq(t.away_ns, 0);
	absence_end(NULL);
}
END_TEST

Suite *absence_suite(void)
{
	Suite *s = suite_create("absence");
	TCase *c = tcase_create("absence");

	tcase_set_timeout(c, 60);
	tcase_add_test(c, a_stop_is_an_absence);
	tcase_add_test(c, a_long_wait_is_none);
	tcase_add_test(c, a_busy_processor_is_none);
	tcase_add_test(c, without_a_thread_it_says_nothing);
	suite_add_tcase(s, c);
	return s;
}
