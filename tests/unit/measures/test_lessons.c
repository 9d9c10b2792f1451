/* What real recordings teach: a test for each lesson that touches these measures (10: test_csv_trace.c; 1, 3
 * on real recordings: tests/reference/measures/test_leak.c). */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/measures/pressure_rate.h"
#include "tests/unit/measures/synthetic.h"

#define DEG 0.017453292519943295
#define NL  (1.087440005 / 3.6e6) /* 1 Nl/h as flow at ANR */

static const struct es_measured *get(const char *measure, const struct es_measured *m, const char *output)
{
    const struct es_measured *v = syn_output(measure, m, output);
    cr_assert(v->valid, "%s: %s", output, v->reason);
    return v;
}

static void refused(const char *measure, const struct es_measured *m, const char *output, const char *word)
{
    const struct es_measured *v = syn_output(measure, m, output);
    cr_assert_not(v->valid, "%s is not refused: %g", output, v->value);
    cr_assert_not_null(strstr(v->reason, word), "%s: %s", output, v->reason);
}

static struct es_trace *rise_trace(double rate, double noise, double lag1, double length, uint64_t *seed)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, (size_t)(length * 10), 10);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = rate * s->t[i];
    syn_red_noise(s, noise, lag1, seed);
    return t;
}

/* 1: correlated residuals; the interval of the rate still covers. */
Test(lessons, l1_correlated_residuals)
{
    uint64_t seed = 11;
    int inside = 0, all = 200;
    for (int k = 0; k < all; k++) {
        struct es_trace *t = rise_trace(20, 100, 0.6, 60, &seed);
        struct es_pressure_rate_input in = {.series = &t->series[0], .settle = 5, .driving = 0.5e5};
        struct es_pressure_rate r;
        cr_assert_eq(es_pressure_rate_of(&in, &r, NULL), ES_OK);
        cr_assert(r.valid, "%s", r.reason);
        inside += fabs(r.rate - 20) <= 2 * sqrt(r.budget.square[0] + r.budget.square[1]);
        es_trace_free(t);
    }
    cr_assert_geq(inside, all * 91 / 100, "%d of %d", inside, all);
}

/* 1: the repeatability of the whole act stands in the budget. */
Test(lessons, l1_repeatability_of_the_act)
{
    uint64_t seed = 12;
    struct es_trace *t = rise_trace(20, 10, 0, 60, &seed);
    struct es_fact items[] = {{"output 1 volume", ES_DIM_VOLUME, 5e-4, 0, INFINITY},
                              {"ambient temperature", ES_DIM_TEMPERATURE, 293.15, 0, INFINITY}};
    struct es_facts facts = {items, 2};
    const struct es_trace *traces[] = {NULL, t, NULL, NULL};
    struct es_measured *m =
        syn_measure("relay leak", "{\"tare\": \"none\", \"repeatability\": \"0.5 Nl/h\"}", traces, &facts);
    cr_assert_geq(get("relay leak", m, "flow by pressure rise")->u_repeat, 0.5 * NL);
    free(m);
    es_trace_free(t);
}

/* 2: after filling the gas cools: the first seconds are left out, what remains is within the uncertainty. */
Test(lessons, l2_thermal_transient)
{
    uint64_t seed = 13;
    struct es_trace *t = rise_trace(0, 20, 0, 90, &seed);
    struct es_series *s = &t->series[0];
    for (size_t i = 0; i < s->count; i++)
        s->y[i] += 5e5 - 65 * s->t[i] + 150 * exp(-s->t[i] / 4);
    struct es_pressure_rate_input all = {.series = s, .settle = 0, .driving = 0.5e5},
                                  later = {.series = s, .settle = 20, .driving = 0.5e5};
    struct es_pressure_rate early, settled;
    cr_assert_eq(es_pressure_rate_of(&all, &early, NULL), ES_OK);
    cr_assert_eq(es_pressure_rate_of(&later, &settled, NULL), ES_OK);
    cr_assert(settled.valid);
    double u = sqrt(settled.budget.square[0] + settled.budget.square[1]);
    cr_assert_lt(fabs(settled.rate + 65), 2 * u);
    cr_assert_lt(u, 2.5);
    cr_assert(!early.valid || fabs(early.straight + 65) > fabs(settled.straight + 65));
    es_trace_free(t);
}

/* 2: 20 mbar/K at 5 bar gauge: a drift of the gas's temperature is a leak's double, and allowed for. */
Test(lessons, l2_temperature_drift_in_the_budget)
{
    uint64_t seed = 14;
    struct es_trace *t = rise_trace(0, 1, 0, 60, &seed);
    for (size_t i = 0; i < t->series[0].count; i++)
        t->series[0].y[i] += 5e5;
    struct es_fact items[] = {{"output 1 volume", ES_DIM_VOLUME, 5e-4, 0, INFINITY},
                              {"ambient temperature", ES_DIM_TEMPERATURE, 293.15, 0, INFINITY}};
    struct es_facts facts = {items, 2};
    const struct es_trace *traces[] = {NULL, t, NULL, NULL};
    struct es_measured *m =
        syn_measure("relay leak", "{\"tare\": \"none\", \"temperature drift\": \"0.06 K\"}", traces, &facts);
    /* 1 mK/s in 0.5 l at 6 bar absolute: about 0.6 cm3/min */
    double u = get("relay leak", m, "flow by pressure rise")->u * 60e6;
    cr_assert(u > 0.55 && u < 0.75, "%.3f cm3/min", u);
    free(m);
    es_trace_free(t);
}

/* 4: a lag looks like hysteresis: 34 ms at 35 deg/s is 2.4 deg between the directions, and no hysteresis. */
Test(lessons, l4_delay_is_not_hysteresis)
{
    uint64_t seed = 15;
    struct syn_sweep s = {.rate = 100, .speeds = {35 * DEG, 15 * DEG}, .delay = 0.034, .noise = 2e-4};
    struct es_trace *t = syn_sweep_trace(&s, &seed);
    struct es_measured *m = syn_measure_one("sensor sweep", NULL, t, NULL);
    cr_assert_float_eq(get("sensor sweep", m, "delay")->value, 0.034, 0.001);
    cr_assert_lt(get("sensor sweep", m, "hysteresis")->value * 90, 0.1);
    cr_assert_eq(get("sensor sweep", m, "dropouts")->value, 0);
    free(m);
    es_trace_free(t);
}

/* 4: with one speed it cannot be told, and is not told. */
Test(lessons, l4_one_speed_is_refused)
{
    uint64_t seed = 16;
    struct syn_sweep s = {.rate = 100, .speeds = {35 * DEG, 35 * DEG}, .delay = 0.034, .noise = 2e-4};
    struct es_trace *t = syn_sweep_trace(&s, &seed);
    struct es_measured *m = syn_measure_one("sensor sweep", NULL, t, NULL);
    refused("sensor sweep", m, "hysteresis", "one speed");
    refused("sensor sweep", m, "delay", "one speed");
    get("sensor sweep", m, "linearity independent");
    free(m);
    es_trace_free(t);
}

/* 4: play remains when the delay has been taken out. */
Test(lessons, l4_play_beside_delay)
{
    uint64_t seed = 17;
    struct syn_sweep s = {
        .rate = 100, .speeds = {45 * DEG, 15 * DEG}, .delay = 0.034, .noise = 2e-4, .play = 0.9 * DEG};
    struct es_trace *t = syn_sweep_trace(&s, &seed);
    struct es_measured *m = syn_measure_one("sensor sweep", NULL, t, NULL);
    const struct es_measured *h = get("sensor sweep", m, "hysteresis");
    cr_assert_float_eq(h->value, 0.01 / 0.94, 0.0008, "%g", h->value);
    free(m);
    es_trace_free(t);
}

static struct es_trace *step_trace(double size, double rate, double length, double start)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, (size_t)(length * rate), rate);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = start + size * syn_first_order(s->t[i] - 1, 0.2, 0.5);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 1, 0.012, 0.0128);
    return t;
}

/* 5: a band of two counts decides nothing; the refusal names the band that would. */
Test(lessons, l5_band_of_a_few_counts_is_refused)
{
    struct es_trace *t = step_trace(0.001, 100, 8, 0.010003);
    syn_round(&t->series[0], 1e-5); /* 1 % of the step */
    struct es_measured *m = syn_measure_one("step response", "{\"band\": \"2 %\"}", t, NULL);
    refused("step response", m, "settling time", "steps of the reading");
    refused("step response", m, "settling time", "band of 4");
    free(m);
    m = syn_measure_one("step response", "{\"band\": \"5 %\"}", t, NULL);
    get("step response", m, "settling time");
    free(m);
    es_trace_free(t);
}

/* 5: an overshoot of one count is not an overshoot. */
Test(lessons, l5_overshoot_of_one_count)
{
    struct es_trace *t = step_trace(0.001, 100, 8, 0.010003);
    for (size_t i = 300; i < 330; i++)
        t->series[0].y[i] += 1e-5;
    syn_round(&t->series[0], 1e-5);
    struct es_measured *m = syn_measure_one("step response", "{\"band\": \"5 %\"}", t, NULL);
    const struct es_measured *v = get("step response", m, "overshoot");
    cr_assert_eq(v->value, 0);
    cr_assert_geq(v->U, 0.01);
    free(m);
    es_trace_free(t);
}

/* 6: values repeated by a slow instrument: its refresh is seen, and stands in the uncertainty. */
Test(lessons, l6_repeated_values)
{
    double worst = 0;
    for (int k = 0; k < 8; k++) {
        struct es_trace *t = step_trace(0.001, 100, 8, 0.01);
        syn_hold(&t->series[0], 0.03, 0.0037 * k);
        struct es_measured *m = syn_measure_one("step response", NULL, t, NULL);
        const struct es_measured *v = get("step response", m, "T63");
        cr_assert_geq(v->u, 0.03 / sqrt(12) * 0.9);
        worst = fmax(worst, fabs(v->value - (0.2 + 0.5 * 0.994252273344)) / v->U);
        free(m);
        es_trace_free(t);
    }
    cr_assert_leq(worst, 1);
}

/* 7: the level and the origin are the stated ones: 63 %, from the command. */
Test(lessons, l7_level_and_origin)
{
    struct es_trace *t = step_trace(0.001, 1000, 8, 0.01);
    struct es_measured *m = syn_measure_one("step response", NULL, t, NULL);
    double t63 = 0.2 + 0.5 * 0.994252273344, t632 = 0.2 + 0.5;
    cr_assert_lt(fabs(get("step response", m, "T63")->value - t63), 0.25 * (t632 - t63));
    free(m);
    t->commands[0].t += 0.1; /* acted later than written */
    m = syn_measure_one("step response", NULL, t, NULL);
    cr_assert_float_eq(get("step response", m, "T63")->value, t63 - 0.1, 0.001);
    free(m);
    es_trace_free(t);
}

/* 8: a gain error of the unit's own sensor shows only against an independent reference: the steady-state
 * error is of the reference's travel, in the span measured with it. */
Test(lessons, l8_independent_reference)
{
    struct es_trace *t = step_trace(0.00113, 200, 8, 0.01); /* 13 % too far for 0.8 mA of 16 mA in 20 mm */
    struct es_fact items[] = {{"loop low", ES_DIM_CURRENT, 0.004, 0, INFINITY},
                              {"loop high", ES_DIM_CURRENT, 0.020, 0, INFINITY},
                              {"lower end", ES_DIM_LENGTH, 0, 1e-5, INFINITY},
                              {"upper end", ES_DIM_LENGTH, 0.020, 1e-5, INFINITY}};
    struct es_facts facts = {items, 4};
    struct es_measured *m = syn_measure_one("step response", NULL, t, &facts);
    cr_assert_float_eq(get("step response", m, "steady-state error")->value, 0.01113 / 0.02 - 0.0088 / 0.016,
                       1e-5);
    free(m);
    facts.count = 3;
    m = syn_measure_one("step response", NULL, t, &facts);
    refused("step response", m, "steady-state error", "upper end");
    get("step response", m, "T63");
    free(m);
    es_trace_free(t);
}

/* 9: no static figure, and no time, from a response that still moves. */
Test(lessons, l9_not_settled)
{
    struct es_trace *t = step_trace(0.001, 100, 2.2, 0.01);
    struct es_measured *m = syn_measure_one("step response", NULL, t, NULL);
    refused("step response", m, "steady-state error", "not settled");
    refused("step response", m, "T98", "not settled");
    free(m);
    es_trace_free(t);
}

/* 5, 9: a recording that ends as soon as it has settled gives the same times as one that goes on: no bias
 * beyond what its own uncertainty says. */
Test(lessons, l5_stopped_as_soon_as_settled)
{
    static const char *const names[] = {"dead time", "T63", "T86", "T98", "settling time"};
    uint64_t seed = 18;
    struct es_trace *whole = step_trace(0.001, 100, 12, 0.01),
                    *early = step_trace(0.001, 100, 1 + 0.2 + 8 * 0.5, 0.01);
    syn_red_noise(&whole->series[0], 5e-7, 0, &seed);
    for (size_t i = 0; i < early->series[0].count; i++)
        early->series[0].y[i] = whole->series[0].y[i];
    struct es_measured *a = syn_measure_one("step response", NULL, whole, NULL);
    struct es_measured *b = syn_measure_one("step response", NULL, early, NULL);
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        const struct es_measured *x = get("step response", a, names[i]),
                                 *y = get("step response", b, names[i]);
        cr_expect_lt(fabs(x->value - y->value), fmax(y->U, 1e-6), "%s: %g, stopped early %g +- %g", names[i],
                     x->value, y->value, y->U);
    }
    free(a);
    free(b);
    es_trace_free(whole);
    es_trace_free(early);
}
