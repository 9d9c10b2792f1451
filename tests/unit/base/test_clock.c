#include <criterion/criterion.h>
#include <signal.h>
#include <string.h>
#include <sys/time.h>
#include <sys/timex.h>
#include <time.h>

#include "rig/base/clock.h"

Test(clock, seconds_and_back)
{
    cr_expect_eq(es_from_seconds(1.5), 1500000000);
    cr_expect_eq(es_from_seconds(-1e-9), -1);
    cr_expect_eq(es_from_seconds(0.4e-9), 0);
    cr_expect_eq(es_seconds(2500000000), 2.5);
}

Test(clock, runs_forward)
{
    es_time before = es_clock_now();

    for (int i = 0; i < 1000; i++) {
        es_time now = es_clock_now();
        cr_assert_geq(now, before);
        before = now;
    }
}

Test(clock, sleeps_to_the_deadline_and_not_for_one_that_has_passed)
{
    es_time start = es_clock_now();

    es_clock_sleep_until(start + 20000000);
    cr_expect_geq(es_clock_now() - start, 20000000);
    es_clock_sleep_until(start);
    es_clock_sleep_until(0);
    es_clock_sleep_until(-5);
}

static void nothing(int signal)
{
    (void)signal;
}

/* Interval timer signals every 2 ms must not cut the sleep short. */
Test(clock, signals_do_not_shorten_a_sleep)
{
    struct sigaction act = {.sa_handler = nothing};
    struct itimerval often = {{0, 2000}, {0, 2000}}, never = {{0, 0}, {0, 0}};
    es_time start = es_clock_now();

    cr_assert_eq(sigaction(SIGALRM, &act, NULL), 0);
    cr_assert_eq(setitimer(ITIMER_REAL, &often, NULL), 0);
    es_clock_sleep_until(start + 30000000);
    cr_expect_geq(es_clock_now() - start, 30000000);
    (void)setitimer(ITIMER_REAL, &never, NULL);
}

/* The text read back by the C library's own reader is now. */
Test(clock, wall_text_is_rfc3339_and_now)
{
    char text[32];
    struct tm parts = {0};
    time_t before = time(NULL);

    es_clock_wall_text(text);
    const char *rest = strptime(text, "%Y-%m-%dT%H:%M:%S", &parts);
    cr_assert_neq(rest, NULL);
    cr_expect_eq(strlen(text), 24);
    cr_expect_eq(rest[0], '.');
    cr_expect_str_eq(rest + 4, "Z");
    time_t told = timegm(&parts);
    cr_expect_geq(told, before);
    cr_expect_leq(told, time(NULL));
}

Test(clock, synchronised_is_what_the_kernel_says)
{
    struct timex state = {.modes = 0};
    int answer = adjtimex(&state);

    cr_assert_neq(answer, -1);
    cr_expect_eq(es_clock_is_synchronised(), answer != TIME_ERROR && !(state.status & STA_UNSYNC));
}

Test(clock, dates)
{
    static const char *const bad[] = {"",           "2026-2-01",  "2026-02-29", "2026-13-01",  "2026-00-10",
                                      "2026-04-31", "2026-01-00", "2026/01/01", "2026-01-01T", "1900-02-29",
                                      "20x6-01-01", "2026-01-+1"};
    int y = 0, m = 0, d = 0;

    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_expect_not(es_date_parse(bad[i], &y, &m, &d), "%s was taken", bad[i]);
    cr_expect(es_date_parse("2024-02-29", &y, &m, &d));
    cr_expect(y == 2024 && m == 2 && d == 29);
    cr_expect(es_date_parse("2000-02-29", &y, &m, &d));
    cr_expect(es_date_parse("2026-12-31", &y, &m, &d));
}
