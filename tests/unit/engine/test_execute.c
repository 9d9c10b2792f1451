/* Every kind of step, gates, skipping, and what the outcome holds. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/unit/engine/ran.h"

static size_t count_writes(const struct fake_bench *b, enum es_role role)
{
    size_t n = 0;
    for (size_t i = 0; i < b->write_count; i++)
        n += b->writes[i].role == role;
    return n;
}

static double nth_write(const struct fake_bench *b, enum es_role role, size_t n)
{
    for (size_t i = 0; i < b->write_count; i++)
        if (b->writes[i].role == role && n-- == 0)
            return b->writes[i].value;
    return NAN;
}

static bool noted(const struct fake_bench *b, const char *words)
{
    for (size_t i = 0; i < b->event_count; i++)
        if (strstr(b->events[i], words) != NULL)
            return true;
    return false;
}

Test(steps, set_takes_quantities_names_shares_and_states)
{
    struct ran r = ran_run(LINEAR,
                           "{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"1.5 bar\"},"
                           "{\"do\": \"set\", \"role\": \"loop demand\", \"to\": \"loop low\"},"
                           "{\"do\": \"set\", \"role\": \"loop demand\", \"to\": \"25 %\"},"
                           "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"}",
                           "");
    cr_expect_float_eq(nth_write(r.b, ES_ROLE_SUPPLY_DEMAND, 0), 1.5e5, 1e-6);
    cr_expect_float_eq(nth_write(r.b, ES_ROLE_LOOP_DEMAND, 0), 4e-3, 1e-12);
    cr_expect_float_eq(nth_write(r.b, ES_ROLE_LOOP_DEMAND, 1), 8e-3, 1e-12);
    cr_expect_eq(nth_write(r.b, ES_ROLE_SUPPLY_VALVE, 0), 1);
    cr_expect_eq(r.b->rests, 1);
    ran_done(&r);
}

Test(steps, ramp_is_monotonic_on_time_and_ends_exactly)
{
    struct ran r = ran_run(
        LINEAR, "{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"4 bar\", \"at\": \"1 bar/s\"}",
        "");
    const struct fake_bench *b = r.b;
    double last = -1, first_t = NAN, last_t = NAN;

    for (size_t i = 0; i < b->write_count; i++) {
        if (b->writes[i].role != ES_ROLE_SUPPLY_DEMAND)
            continue;
        cr_expect_gt(b->writes[i].value, last);
        cr_expect_leq(b->writes[i].value, 4e5 + 1e-6);
        last = b->writes[i].value;
        last_t = b->writes[i].t;
        if (isnan(first_t))
            first_t = b->writes[i].t;
    }
    cr_expect_eq(last, 4e5);
    cr_expect_float_eq(last_t - first_t, 4 - 0.1, 0.02); /* the first write comes after one period */
    const size_t n = count_writes(b, ES_ROLE_SUPPLY_DEMAND);
    cr_expect(n >= 35 && n <= 41, "%zu writes", n);
    ran_done(&r);
}

Test(steps, ramp_is_never_faster_than_said_on_a_slow_bench)
{
    struct ran r = ran_prepared(
        LINEAR, "{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"4 bar\", \"at\": \"1 bar/s\"}",
        "");
    r.b->write_time = 0.17;
    ran_go(&r);
    cr_assert_eq(r.status, ES_OK);
    double value = 0, t = NAN;
    for (size_t i = 0; i < r.b->write_count; i++) {
        const struct fake_write *w = &r.b->writes[i];
        if (w->role != ES_ROLE_SUPPLY_DEMAND)
            continue;
        if (!isnan(t))
            cr_expect_leq((w->value - value) / (w->t - t), 1e5 * 1.001);
        value = w->value;
        t = w->t;
    }
    ran_done(&r);
}

Test(steps, ramp_goes_down_and_stays_when_it_is_there)
{
    struct ran r =
        ran_run(LINEAR,
                "{\"do\": \"set\", \"role\": \"loop demand\", \"to\": \"20 mA\"},"
                "{\"do\": \"ramp\", \"role\": \"loop demand\", \"to\": \"12 mA\", \"at\": \"50 %/s\"},"
                "{\"do\": \"ramp\", \"role\": \"loop demand\", \"to\": \"12 mA\", \"at\": \"1 mA/s\"}",
                "");
    const size_t n = count_writes(r.b, ES_ROLE_LOOP_DEMAND);
    cr_expect(n >= 10 && n <= 13, "%zu", n);
    cr_expect_eq(nth_write(r.b, ES_ROLE_LOOP_DEMAND, n - 1), 12e-3);
    cr_expect_eq(nth_write(r.b, ES_ROLE_LOOP_DEMAND, n - 2), 12e-3);
    ran_done(&r);
}

#define SUPPLY_ON                                                                                            \
    "{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"4 bar\"},"                                     \
    "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"},"                                       \
    "{\"do\": \"set\", \"role\": \"loop demand\", \"to\": \"50 %\"},"

Test(steps, wait_ends_when_it_has_been_so_for_the_time)
{
    struct ran r = ran_run(
        LINEAR,
        SUPPLY_ON
        "{\"do\": \"wait\", \"role\": \"supply pressure\", \"near\": \"4 bar\", \"within\": \"0.1 bar\","
        " \"for\": \"2 s\", \"at most\": \"20 s\"}",
        "");
    /* lag 0.2 s: within 2.5 % after 0.2 ln 40 = 0.74 s */
    cr_expect_float_eq(r.b->now - 101 - 1 - 0.006, 0.74 + 2, 0.08, "%g", r.b->now);
    cr_expect(r.o.procedures[0].completed);
    ran_done(&r);
}

Test(steps, wait_that_times_out_skips_the_rest_and_tells_why)
{
    struct ran r = ran_run(
        LINEAR,
        "{\"do\": \"wait\", \"role\": \"supply pressure\", \"above\": \"1 bar\", \"at most\": \"3 s\"},"
        "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"for\": "
        "\"2 s\"}",
        LEVEL("travel", "a", "mean travel", "travel"));
    cr_expect_eq(r.b->recordings_begun, 0);
    cr_expect(!r.o.procedures[0].completed);
    cr_expect(strstr(r.o.procedures[0].skipped, "supply pressure did not come") != NULL, "%s",
              r.o.procedures[0].skipped);
    cr_assert_eq(r.o.line_count, 1);
    cr_expect_eq(r.o.lines[0].verdict, ES_NOT_TESTED);
    cr_expect(strstr(r.o.lines[0].reason, "supply pressure") != NULL);
    cr_expect(r.o.completed);
    cr_expect_eq(r.o.verdict, ES_NOT_TESTED);
    ran_done(&r);
}

Test(steps, wait_may_go_on_or_stop_the_run)
{
    struct ran r = ran_run(
        LINEAR,
        "{\"do\": \"wait\", \"role\": \"supply pressure\", \"above\": \"1 bar\", \"at most\": \"1 s\","
        " \"otherwise\": \"go on\", \"reason\": \"no air today\"},"
        "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"}",
        "");
    cr_expect_eq(count_writes(r.b, ES_ROLE_SUPPLY_VALVE), 1);
    cr_expect(noted(r.b, "no air today"));
    ran_done(&r);

    r = ran_prepared(
        LINEAR,
        "{\"do\": \"wait\", \"role\": \"supply pressure\", \"above\": \"1 bar\", \"at most\": \"1 s\","
        " \"otherwise\": \"stop the run\", \"reason\": \"no air today\"},"
        "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"}",
        "");
    ran_go(&r);
    cr_expect_eq(r.status, ES_CANCELLED);
    cr_expect(!r.o.completed);
    cr_expect_str_eq(r.o.ended_because, "no air today");
    cr_expect_eq(count_writes(r.b, ES_ROLE_SUPPLY_VALVE), 0);
    ran_done(&r);
}

Test(steps, wait_until_steady)
{
    struct ran r =
        ran_run(LINEAR,
                SUPPLY_ON "{\"do\": \"wait\", \"role\": \"travel\", \"within\": \"0.1 %\", \"for\": "
                          "\"1 s\", \"at most\": \"20 s\"}",
                "");
    cr_expect(r.b->now - 101 > 2 && r.b->now - 101 < 6, "%g", r.b->now - 101);
    cr_expect_float_eq(r.b->in[ES_ROLE_TRAVEL], 0.015, 1e-4);
    ran_done(&r);
}

Test(steps, a_reading_that_is_not_good_never_fulfils_a_wait)
{
    struct ran r = ran_prepared(
        LINEAR,
        "{\"do\": \"wait\", \"role\": \"supply pressure\", \"below\": \"1 bar\", \"at most\": \"1 s\"}", "");
    r.b->quality[ES_ROLE_SUPPLY_PRESSURE] = ES_STALE;
    ran_go(&r);
    cr_assert_eq(r.status, ES_OK);
    cr_expect(strstr(r.o.procedures[0].skipped, "no good reading") != NULL);
    ran_done(&r);
}

Test(steps, wait_and_skip_on_states)
{
    struct ran r = ran_prepared(
        LINEAR,
        "{\"do\": \"wait\", \"role\": \"guard\", \"near\": \"closed\", \"at most\": \"1 s\"},"
        "{\"do\": \"skip the rest unless\", \"role\": \"guard\", \"near\": \"open\", \"reason\": "
        "\"guard is closed\"},"
        "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"}",
        "");
    r.b->in[ES_ROLE_GUARD] = 1;
    ran_go(&r);
    cr_assert_eq(r.status, ES_OK);
    cr_expect_str_eq(r.o.procedures[0].skipped, "guard is closed");
    cr_expect_eq(count_writes(r.b, ES_ROLE_SUPPLY_VALVE), 0);
    ran_done(&r);
}

Test(steps, steps_and_staircases_visit_every_value)
{
    static const double expected[] = {8e-3, 12e-3, 4e-3, 8e-3, 12e-3, 16e-3, 20e-3, 16e-3, 12e-3, 8e-3, 4e-3};
    struct ran r = ran_run(
        LINEAR,
        "{\"do\": \"step\", \"role\": \"loop demand\", \"through\": [\"8 mA\", \"50 %\"], \"hold\": \"1 s\"},"
        "{\"do\": \"staircase\", \"role\": \"loop demand\", \"from\": \"loop low\", \"to\": \"loop high\","
        " \"stairs\": 4, \"and back\": true, \"hold\": \"0.5 s\"}",
        "");
    cr_assert_eq(count_writes(r.b, ES_ROLE_LOOP_DEMAND), sizeof expected / sizeof expected[0]);
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++)
        cr_expect_float_eq(nth_write(r.b, ES_ROLE_LOOP_DEMAND, i), expected[i], 1e-12);
    cr_expect_float_eq(r.b->now - 102, 2 * 1 + 9 * 0.5, 0.05);
    ran_done(&r);
}

Test(steps, staircase_one_way_begins_anew_each_time)
{
    struct ran r =
        ran_run(LINEAR,
                "{\"do\": \"staircase\", \"role\": \"loop demand\", \"from\": \"4 mA\", \"to\": \"8 "
                "mA\", \"stairs\": 2,"
                " \"times\": 3, \"hold\": \"0.2 s\"}",
                "");
    cr_expect_eq(count_writes(r.b, ES_ROLE_LOOP_DEMAND), 9);
    cr_expect_float_eq(nth_write(r.b, ES_ROLE_LOOP_DEMAND, 3), 4e-3, 1e-12);
    ran_done(&r);
}

Test(steps, repeat_runs_its_steps)
{
    struct ran r =
        ran_run(LINEAR,
                "{\"do\": \"repeat\", \"times\": 5, \"steps\": ["
                "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"}, {\"do\": \"hold\", "
                "\"for\": \"1 s\"},"
                "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"shut\"}]}",
                "");
    cr_expect_eq(count_writes(r.b, ES_ROLE_SUPPLY_VALVE), 10);
    cr_expect_float_eq(r.b->now - 102, 5, 0.1);
    ran_done(&r);
}

Test(steps, repeat_is_not_begun_after_its_longest_time)
{
    static const char *const endings[] = {"go on", "skip the rest"};
    for (int k = 0; k < 2; k++) {
        char text[512];
        (void)snprintf(
            text, sizeof text,
            "{\"do\": \"repeat\", \"times\": 5, \"at most\": \"2.5 s\", \"otherwise\": \"%s\", \"steps\": ["
            "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"}, {\"do\": \"hold\", \"for\": "
            "\"1 s\"}]},"
            "{\"do\": \"set\", \"role\": \"auxiliary supply\", \"to\": \"on\"}",
            endings[k]);
        struct ran r = ran_run(LINEAR, text, "");
        cr_expect_eq(count_writes(r.b, ES_ROLE_SUPPLY_VALVE), 3, "begun at 0, 1 and 2 s");
        cr_expect_eq(count_writes(r.b, ES_ROLE_AUXILIARY_SUPPLY), k == 0 ? 1u : 0u);
        if (k == 1)
            cr_expect_not_null(
                strstr(r.o.procedures[0].skipped, "repeated 3 times of 5 in the longest time, 2.5 s"), "%s",
                r.o.procedures[0].skipped);
        ran_done(&r);
    }
}

Test(steps, a_recording_is_measured_and_judged)
{
    struct ran r =
        ran_run(LINEAR,
                SUPPLY_ON "{\"do\": \"hold\", \"for\": \"4 s\"},"
                          "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\", \"feedback "
                          "current\"], \"rate\": \"50 Hz\","
                          " \"for\": \"2 s\", \"draw\": [\"travel\"]}",
                LEVEL("travel", "a", "mean travel", "travel"));
    cr_assert_eq(r.o.line_count, 1);
    cr_expect_float_eq(r.o.lines[0].value.value, 0.015, 1e-5);
    cr_expect_eq(r.o.lines[0].verdict, ES_FAIL); /* 15 mm is no full travel */
    cr_expect_eq(r.o.verdict, ES_FAIL);
    cr_assert_eq(r.o.curve_count, 1);
    cr_expect(r.o.curves[0].count > 90 && r.o.curves[0].count <= ES_CURVE_POINTS);
    cr_expect_str_eq(r.o.curves[0].recording, "a");
    ran_done(&r);
}

Test(steps, a_recording_ends_when_settled)
{
    struct ran r = ran_run(
        LINEAR,
        SUPPLY_ON "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\","
                  " \"until settled\": {\"role\": \"travel\", \"within\": \"0.02 mm\", \"for\": \"1 s\", "
                  "\"at most\": \"30 s\"}}",
        LEVEL("travel", "a", "mean travel", "travel"));
    /* 15 mm, lag 0.3 s: quarters of one second differ by less than 0.02 mm after some 2.5 s */
    cr_expect(r.b->now - 102 > 2 && r.b->now - 102 < 5, "%g", r.b->now - 102);
    cr_expect_eq(r.b->recordings_ended, 1);
    ran_done(&r);

    r = ran_run(
        LINEAR,
        "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\","
        " \"until settled\": {\"role\": \"travel\", \"within\": \"0.0001 mm\", \"for\": \"1 s\", \"at "
        "most\": \"4 s\"}}",
        "");
    cr_expect_float_eq(r.b->now - 102, 4, 0.1); /* noise is wider: its bound ends it */
    ran_done(&r);
}

Test(steps, roles_that_a_bench_or_unit_lacks_are_left_out)
{
    struct ran r = ran_prepared(
        LINEAR,
        "{\"do\": \"set\", \"role\": \"auxiliary supply\", \"to\": \"on\", \"where fitted\": true},"
        "{\"do\": \"set\", \"role\": \"output 2 vent valve\", \"to\": \"shut\", \"when\": \"double-acting\"},"
        "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\", \"output 2 flow\", \"feedback "
        "current\"],"
        " \"rate\": \"20 Hz\", \"for\": \"1 s\"}",
        LEVEL("feedback current", "a", "feedback", "cross-talk"));
    r.b->fitted[ES_ROLE_AUXILIARY_SUPPLY] = r.b->fitted[ES_ROLE_FEEDBACK_CURRENT] = false;
    r.b->fitted[ES_ROLE_OUTPUT_2_FLOW] = false;
    ran_go(&r);
    cr_assert_eq(r.status, ES_OK, "%s", r.err.text);
    cr_expect_eq(count_writes(r.b, ES_ROLE_OUTPUT_2_VENT), 0);
    cr_assert_eq(r.o.line_count, 1);
    cr_expect_eq(r.o.lines[0].verdict, ES_NOT_TESTED);
    cr_expect_str_eq(r.o.lines[0].reason, "the bench has no feedback current");
    ran_done(&r);
}

Test(steps, a_procedure_whose_role_is_missing_is_not_run)
{
    struct ran r =
        ran_prepared(LINEAR,
                     "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"},"
                     "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"20 "
                     "Hz\", \"for\": \"1 s\"}",
                     LEVEL("travel", "a", "mean travel", "travel"));
    r.b->fitted[ES_ROLE_SENSOR_RATIO] = false;
    ran_go(&r);
    cr_assert_eq(r.status, ES_OK);
    cr_expect_eq(r.b->write_count, 0);
    cr_expect_str_eq(r.o.procedures[0].skipped, "the bench has no sensor ratio");
    cr_expect_eq(r.o.lines[0].verdict, ES_NOT_TESTED);
    ran_done(&r);
}

Test(steps, isolate_and_vent)
{
    struct ran r =
        ran_run(TURN,
                "{\"do\": \"isolate and vent\", \"outputs\": [\"output 1\", \"output 2\"], \"below\": "
                "\"20 mbar\", \"at most\": \"5 s\"}",
                "");
    cr_expect_eq(nth_write(r.b, ES_ROLE_OUTPUT_1_ISOLATING, 0), 0);
    cr_expect_eq(nth_write(r.b, ES_ROLE_OUTPUT_1_VENT, 0), 1);
    cr_expect_eq(nth_write(r.b, ES_ROLE_OUTPUT_2_ISOLATING, 0), 0);
    cr_expect(r.o.procedures[0].completed);
    ran_done(&r);
    r = ran_run(LINEAR,
                "{\"do\": \"isolate and vent\", \"outputs\": [\"output 1\", \"output 2\"], \"below\": \"20 "
                "mbar\", \"at most\": \"5 s\"}",
                "");
    cr_expect_eq(count_writes(r.b, ES_ROLE_OUTPUT_2_VENT), 0);
    ran_done(&r);
}

#define SWEEP                                                                                                \
    "{\"do\": \"turn shaft\", \"to\": \"-40 deg\", \"at\": \"40 deg/s\", \"text\": \"Turn it down.\", \"at " \
    "most\": \"60 s\"},"                                                                                     \
    "{\"do\": \"sweep shaft\", \"from\": \"-40 deg\", \"to\": \"40 deg\", \"at\": \"20 deg/s\", \"times\": " \
    "2,"                                                                                                     \
    " \"text\": \"Sweep it.\", \"at most\": \"60 s\"}"

Test(steps, the_motor_takes_the_shaft_where_it_stands_and_sweeps)
{
    struct ran r = ran_prepared(LINEAR, SWEEP, "");
    r.b->in[ES_ROLE_SHAFT_ANGLE] = 0.3;
    ran_go(&r);
    cr_assert_eq(r.status, ES_OK, "%s", r.err.text);
    double at_coupling = NAN, least = 0, greatest = 0, last = 0, jump = 0;
    for (size_t i = 0; i < r.b->write_count; i++) {
        const struct fake_write *w = &r.b->writes[i];
        if (w->role == ES_ROLE_SHAFT_COUPLING)
            at_coupling = last;
        if (w->role != ES_ROLE_SHAFT_DRIVE)
            continue;
        jump = fmax(jump, fabs(w->value - last));
        last = w->value;
        least = fmin(least, last);
        greatest = fmax(greatest, last);
    }
    cr_expect_float_eq(at_coupling, -25 * 0.017453, 0.01, "%g", at_coupling); /* lower end: -25 deg */
    cr_expect_float_eq(least, -40 * 0.0174533, 1e-4);
    cr_expect_float_eq(greatest, 40 * 0.0174533, 1e-4);
    cr_expect_float_eq(last, -40 * 0.0174533, 1e-4);
    cr_expect_leq(jump, 40 * 0.0174533 * 0.05);
    cr_expect_eq(r.b->asked_count, 1); /* the caution alone */
    ran_done(&r);
}

Test(steps, without_a_motor_the_operator_turns_the_shaft)
{
    struct ran r = ran_prepared(LINEAR, SWEEP, "");
    r.b->fitted[ES_ROLE_SHAFT_DRIVE] = false;
    ran_go(&r);
    cr_assert_eq(r.status, ES_OK);
    cr_expect_eq(r.b->asked_count, 3);
    cr_expect_str_eq(r.b->asked[1], "Turn it down.");
    cr_expect_str_eq(r.b->asked[2], "Sweep it.");
    cr_expect_eq(r.b->write_count, 0);
    ran_done(&r);
}
