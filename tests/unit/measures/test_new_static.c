/* staircase, dead band, difference, drift, supply influence: values, refusals, and a test for each lesson of
 * real recordings that touches them (1 correlation, 4 lag, 5 steps of the reading, 6 repeated values, 8
 * closed loop, 9 moving data). */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "tests/unit/measures/synthetic_static.h"

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

/* Two cycles that run beyond the span, so that the ends are reached from both sides. */
static const double cycles[] = {-0.05, 0, 0.25, 0.5, 0.75, 1, 1.05, 1, 0.75, 0.5, 0.25, 0,
                                -0.05, 0, 0.25, 0.5, 0.75, 1, 1.05, 1, 0.75, 0.5, 0.25, 0};
#define CYCLES (sizeof cycles / sizeof cycles[0])

static struct syn_stairs unit(void)
{
    return (struct syn_stairs){.demands = cycles,
                               .count = CYCLES,
                               .lead = 2,
                               .hold = 6,
                               .rate = 20,
                               .tau = 0.3,
                               .play = 0.008,
                               .bow = 0.01,
                               .zero = 0.002,
                               .noise = 0.0002,
                               .read_noise = -1};
}

/* Play of 0.8 % at the lower end, where the bow makes the curve 4 % steeper. */
Test(staircase, figures_of_a_known_unit)
{
    uint64_t seed = 4;
    struct syn_stairs s = unit();
    struct es_trace *t = syn_stairs_trace(&s, &seed);
    struct es_measured *m = syn_measure_one("staircase", NULL, t, &syn_unit_facts);
    cr_assert_float_eq(get("staircase", m, "hysteresis")->value, 0.00832, 2e-4);
    cr_assert_float_eq(get("staircase", m, "linearity terminal-based")->value, 0.01, 3e-4);
    cr_assert_float_eq(get("staircase", m, "linearity independent")->value, 0.005, 3e-4);
    cr_assert_float_eq(get("staircase", m, "largest error")->value, 0.002 + 0.01 + 0.004, 3e-4);
    cr_assert_lt(get("staircase", m, "smallest error")->value, -0.001);
    cr_assert_float_eq(get("staircase", m, "inaccuracy")->value, 0.016, 3e-4);
    const struct es_measured *r = get("staircase", m, "repeatability");
    cr_assert_lt(r->value, r->U + 1e-9);
    free(m);
    es_trace_free(t);
}

/* Calibration: an offset counts in errors, not in hysteresis and linearity. */
Test(staircase, offset_counts_in_errors_only)
{
    uint64_t seed = 5;
    struct syn_stairs s = unit();
    struct es_trace *t = syn_stairs_trace(&s, &seed);
    t->series[0].u.offset = 1e-4;
    struct es_measured *m = syn_measure_one("staircase", NULL, t, &syn_unit_facts);
    cr_assert_float_eq(get("staircase", m, "inaccuracy")->u_common, 1e-4 / SYN_TRAVEL, 1e-6);
    cr_assert_lt(get("staircase", m, "hysteresis")->u_common, 1e-6);
    cr_assert_lt(get("staircase", m, "linearity independent")->u_common, 1e-6);
    free(m);
    es_trace_free(t);
}

/* What the loop's source really gave is what the response is held against. */
Test(staircase, read_back_is_the_demand)
{
    uint64_t seed = 6;
    struct syn_stairs s = unit();
    s.read_noise = 0.0001;
    s.play = s.bow = s.zero = 0;
    struct es_trace *t = syn_stairs_trace(&s, &seed);
    for (size_t i = 0; i < t->series[1].count; i++)
        t->series[1].y[i] += 8e-5; /* 0.5 % of span too high */
    struct es_measured *m = syn_measure_one("staircase", NULL, t, &syn_unit_facts);
    cr_assert_float_eq(get("staircase", m, "smallest error")->value, -0.005, 2e-4);
    free(m);
    es_trace_free(t);
}

/* Lessons 4 and 9: a lag that has not died away looks like hysteresis; nothing is given. */
Test(staircase, l9_moving_data_is_refused)
{
    uint64_t seed = 7;
    struct syn_stairs s = unit();
    s.play = 0;
    s.tau = 2;
    struct es_trace *t = syn_stairs_trace(&s, &seed);
    struct es_measured *m = syn_measure_one("staircase", NULL, t, &syn_unit_facts);
    refused("staircase", m, "hysteresis", "not settled");
    refused("staircase", m, "inaccuracy", "not settled");
    free(m);
    es_trace_free(t);
}

Test(staircase, l4_lag_that_has_settled_is_no_hysteresis)
{
    uint64_t seed = 8;
    struct syn_stairs s = unit();
    s.play = 0;
    s.tau = 0.5;
    struct es_trace *t = syn_stairs_trace(&s, &seed);
    struct es_measured *m = syn_measure_one("staircase", NULL, t, &syn_unit_facts);
    const struct es_measured *h = get("staircase", m, "hysteresis");
    cr_assert_lt(h->value, h->U + 1e-4);
    cr_assert_lt(h->U, 1e-3);
    free(m);
    es_trace_free(t);
}

/* Lesson 6: a slow instrument's repeated values, and lesson 5: steps of the reading, widen the interval. */
Test(staircase, l5_l6_steps_and_repeats_widen)
{
    double u[3];
    for (int k = 0; k < 3; k++) {
        uint64_t seed = 9;
        struct syn_stairs s = unit();
        s.resolution = k == 1 ? 0.004 : 0;
        struct es_trace *t = syn_stairs_trace(&s, &seed);
        if (k == 2)
            syn_hold(&t->series[0], 0.5, 0);
        struct es_measured *m = syn_measure_one("staircase", NULL, t, &syn_unit_facts);
        const struct es_measured *h = get("staircase", m, "hysteresis");
        cr_assert_leq(fabs(h->value - 0.00832), h->U + 2e-5, "%d: %g +- %g", k, h->value, h->U);
        u[k] = h->u;
        free(m);
        es_trace_free(t);
    }
    cr_assert_gt(u[1], 2 * u[0]);
    cr_assert_gt(u[2], u[0]);
}

Test(staircase, refusals)
{
    uint64_t seed = 10;
    struct syn_stairs s = unit();
    s.count = 7; /* up only */
    struct es_trace *t = syn_stairs_trace(&s, &seed);
    struct es_measured *m = syn_measure_one("staircase", NULL, t, &syn_unit_facts);
    refused("staircase", m, "hysteresis", "rising and falling");
    refused("staircase", m, "repeatability", "one cycle");
    get("staircase", m, "linearity independent");
    free(m);
    m = syn_measure_one("staircase", NULL, t, NULL);
    refused("staircase", m, "inaccuracy", "loop low");
    free(m);
    m = syn_measure_one("staircase", "{\"settle\": \"20 s\"}", t, &syn_unit_facts);
    refused("staircase", m, "inaccuracy", "no hold");
    free(m);
    es_trace_free(t);
    s.count = 4; /* up to 50 % */
    t = syn_stairs_trace(&s, &seed);
    m = syn_measure_one("staircase", NULL, t, &syn_unit_facts);
    refused("staircase", m, "linearity zero-based", "of the span");
    free(m);
    es_trace_free(t);
}

/* A span of which only the width is known: what needs its place is refused, the rest is not. */
Test(staircase, span_without_place)
{
    static const struct es_fact items[] = {{"loop low", ES_DIM_CURRENT, 0.004, 0, INFINITY},
                                           {"loop high", ES_DIM_CURRENT, 0.020, 0, INFINITY},
                                           {"full travel", ES_DIM_LENGTH, SYN_TRAVEL, 0, INFINITY}};
    const struct es_facts facts = {items, 3};
    uint64_t seed = 11;
    struct syn_stairs s = unit();
    struct es_trace *t = syn_stairs_trace(&s, &seed);
    struct es_measured *m = syn_measure_one("staircase", NULL, t, &facts);
    refused("staircase", m, "inaccuracy", "where the span lies");
    cr_assert_float_eq(get("staircase", m, "hysteresis")->value, 0.00832, 2e-4);
    free(m);
    es_trace_free(t);
}

/* An approach, then reversals that grow, and one that surely moves it. */
static size_t reversals(double *demands, double step, int count)
{
    size_t n = 0;
    demands[n++] = 0.45;
    demands[n++] = 0.5;
    for (int i = 1; i <= count; i++) {
        demands[n++] = 0.5 - i * step;
        demands[n++] = 0.5;
    }
    demands[n++] = 0.40;
    return n;
}

static struct es_measured *dead_band(double play, double stick, double noise, int count)
{
    static double demands[64];
    uint64_t seed = 12;
    struct syn_stairs s = {.demands = demands,
                           .count = reversals(demands, 0.001, count),
                           .lead = 4,
                           .hold = 5,
                           .rate = 20,
                           .tau = 0.3,
                           .play = play,
                           .stick = stick,
                           .noise = noise,
                           .read_noise = -1};
    struct es_trace *t = syn_stairs_trace(&s, &seed);
    struct es_measured *m = syn_measure_one("dead band", NULL, t, &syn_unit_facts);
    es_trace_free(t);
    return m;
}

/* Play of 0.75 %: the first movement shows between 0.7 and 0.8 % of change (reference values, recomputed). */
Test(dead_band, of_play_and_of_friction)
{
    for (int k = 0; k < 2; k++) {
        struct es_measured *m = dead_band(k ? 0 : 0.0075, k ? 0.0075 : 0, 1e-5, 12);
        const struct es_measured *v = get("dead band", m, "dead band");
        cr_assert_leq(fabs(v->value - 0.0075), v->U);
        cr_assert_lt(v->U, 0.0012);
        free(m);
    }
}

/* A dead band larger than all small reversals: the large one still bounds it, and fails what it has to. */
Test(dead_band, wider_than_the_small_steps)
{
    struct es_measured *m = dead_band(0.02, 0, 1e-5, 8);
    const struct es_measured *v = get("dead band", m, "dead band");
    cr_assert_leq(fabs(v->value - 0.02), v->U);
    cr_assert_gt(v->value - v->U, 0.001);
    free(m);
}

Test(dead_band, none_is_within_its_steps)
{
    struct es_measured *m = dead_band(0, 0, 1e-5, 6);
    const struct es_measured *v = get("dead band", m, "dead band");
    cr_assert_leq(v->value, v->U + 1e-9);
    cr_assert_lt(v->value, 0.001);
    free(m);
}

/* Lesson 5: noise or steps of the reading that hide a movement widen the interval. */
Test(dead_band, l5_noise_widens)
{
    struct es_measured *quiet = dead_band(0.0075, 0, 1e-5, 14), *loud = dead_band(0.0075, 0, 2e-3, 14);
    const struct es_measured *v = get("dead band", loud, "dead band");
    cr_assert_leq(fabs(v->value - 0.0075), v->U);
    cr_assert_gt(v->U, 1.2 * get("dead band", quiet, "dead band")->U);
    free(quiet);
    free(loud);
}

/* Reversals of 0.1 to 1.2 % with a play of 0.75 %. */
static struct syn_stairs played(double demands[64])
{
    return (struct syn_stairs){.demands = demands,
                               .count = reversals(demands, 0.001, 12),
                               .lead = 4,
                               .hold = 5,
                               .rate = 20,
                               .tau = 0.3,
                               .play = 0.0075,
                               .noise = 1e-5,
                               .read_noise = -1};
}

/* A unit that creeps by 0.3 % of its span in 100 s, and now and then puts itself right by what it had crept.
 */
Test(dead_band, creep_is_no_movement)
{
    static double demands[64];
    uint64_t seed = 21;
    struct syn_stairs s = played(demands);
    struct es_trace *t = syn_stairs_trace(&s, &seed);
    for (size_t i = 0; i < t->series[0].count; i++)
        t->series[0].y[i] += SYN_TRAVEL * 3e-5 * fmod(t->series[0].t[i] + 20, 100);
    struct es_measured *m =
        syn_measure_one("dead band", "{\"movement\": \"0.1 %\", \"still\": \"0.5 %\"}", t, &syn_unit_facts);
    const struct es_measured *v = get("dead band", m, "dead band");
    cr_expect_leq(fabs(v->value - 0.0075), v->U, "%g +- %g", v->value, v->U);
    cr_expect_lt(v->U, 0.003);
    free(m);
    es_trace_free(t);
}

/* Reversals of 0.1 to 1.2 % with a play of 0.75 %; in the reading of hold `hold` (from 0) the response lies
 * off by `all` of its span, and by `late` in the last half second of it. */
static struct es_measured *disturbed(int hold, double all, double late)
{
    static double demands[64];
    uint64_t seed = 22;
    struct syn_stairs s = played(demands);
    struct es_trace *t = syn_stairs_trace(&s, &seed);
    for (size_t i = 0; i < t->series[0].count; i++) {
        const double in = t->series[0].t[i] - s.lead - hold * s.hold;
        if (in >= 0.5 && in < s.hold)
            t->series[0].y[i] += SYN_TRAVEL * (in > s.hold - 0.5 ? all + late : all);
    }
    struct es_measured *m = syn_measure_one("dead band", "{\"settle\": \"3 s\"}", t, &syn_unit_facts);
    es_trace_free(t);
    return m;
}

/* What sticks follows a small step now and then: what it did not follow at other times counts. Hold 6 is the
 * third reversal, by 0.3 %. */
Test(dead_band, of_one_that_slips_now_and_then)
{
    struct es_measured *m = disturbed(6, -0.004, 0);
    const struct es_measured *v = get("dead band", m, "dead band");
    cr_expect_leq(fabs(v->value - 0.0075), v->U, "%g +- %g", v->value, v->U);
    cr_expect_lt(v->U, 0.0025);
    free(m);
}

/* One hold that does not come to rest is passed over; where many do not, nothing is said (refusals). */
Test(dead_band, passes_over_a_hold_that_moves)
{
    struct es_measured *m = disturbed(6, 0, -0.006);
    const struct es_measured *v = get("dead band", m, "dead band");
    cr_expect(v->valid, "%s", v->reason);
    cr_expect_leq(fabs(v->value - 0.0075), v->U, "%g +- %g", v->value, v->U);
    free(m);
}

Test(dead_band, refusals)
{
    struct es_measured *m = dead_band(0.3, 0, 1e-5, 4); /* nothing moves it */
    refused("dead band", m, "dead band", "nothing moved");
    free(m);
    uint64_t seed = 13;
    static const double onward[] = {0.45, 0.46, 0.47, 0.48};
    struct syn_stairs s = {
        .demands = onward, .count = 4, .lead = 4, .hold = 5, .rate = 20, .tau = 0.3, .read_noise = -1};
    struct es_trace *t = syn_stairs_trace(&s, &seed);
    m = syn_measure_one("dead band", NULL, t, &syn_unit_facts);
    refused("dead band", m, "dead band", "no reversal");
    const struct es_measured *r = get("dead band", m, "resolution");
    cr_assert_leq(r->value, 0.01);
    free(m);
    /* a response that wanders by itself between the holds */
    for (size_t i = 0; i < t->series[0].count; i++)
        if (t->series[0].t[i] > 16)
            t->series[0].y[i] -= 0.03 * SYN_TRAVEL;
    m = syn_measure_one("dead band", NULL, t, &syn_unit_facts);
    refused("dead band", m, "dead band", "without the demand");
    free(m);
    es_trace_free(t);
}

Test(difference, of_two_channels_shares_what_both_see)
{
    uint64_t seed = 14;
    struct es_trace *t = syn_flat(ES_ROLE_OUTPUT_1_PRESSURE, 2e5, 20, 20, 5, 0, &seed);
    struct es_series *b = syn_series(t, ES_ROLE_SUPPLY_PRESSURE, 400, 20);
    struct es_series *a = &t->series[0];
    for (size_t i = 0; i < 400; i++) {
        b->t[i] += 0.02;
        b->y[i] = 1.99e5 + 3000 * sin(2 * b->t[i]) + 5 * syn_normal(&seed);
        a->y[i] += 3000 * sin(2 * a->t[i]);
    }
    a->u.offset = b->u.offset = 100;
    struct es_measured *m = syn_measure_one(
        "difference", "{\"channel\": \"output 1 pressure\", \"reference channel\": \"supply pressure\"}", t,
        NULL);
    const struct es_measured *v = get("difference", m, "value");
    cr_assert_float_eq(v->value, 1000, 20);
    cr_assert_lt(v->u_repeat, 10); /* apart they would scatter by 2000 */
    cr_assert_float_eq(v->u_common, 100 * sqrt(2), 1);
    free(m);
    es_trace_free(t);
}

Test(difference, against_what_an_output_was_told)
{
    uint64_t seed = 15;
    struct es_trace *t = syn_flat(ES_ROLE_LOOP_CURRENT, 0.01203, 10, 20, 1e-6, 0, &seed);
    const char *with = "{\"channel\": \"loop current\", \"reference channel\": \"loop demand\"}";
    struct es_measured *m = syn_measure_one("difference", with, t, NULL);
    refused("difference", m, "value", "no write");
    free(m);
    for (size_t i = 0; i < 60; i++)
        t->series[0].y[i] = 0.004; /* before, and while the source settles */
    syn_command(t, ES_ROLE_LOOP_DEMAND, 2, 0.004, 0.012);
    m = syn_measure_one("difference", with, t, NULL);
    cr_assert_float_eq(get("difference", m, "value")->value, 3e-5, 1e-6);
    free(m);
    es_trace_free(t);
}

Test(difference, refusals)
{
    uint64_t seed = 16;
    struct es_trace *t = syn_flat(ES_ROLE_TRAVEL, 0.01, 10, 20, 1e-6, 0, &seed);
    syn_series(t, ES_ROLE_SHAFT_ANGLE, 200, 20);
    struct es_measured *m = syn_measure_one(
        "difference", "{\"channel\": \"travel\", \"reference channel\": \"travel\"}", t, NULL);
    refused("difference", m, "value", "less itself");
    free(m);
    m = syn_measure_one("difference", "{\"channel\": \"travel\", \"reference channel\": \"shaft angle\"}", t,
                        NULL);
    refused("difference", m, "value", "is a length");
    free(m);
    t->series[1].role = ES_ROLE_TRAVEL; /* of which only the first counts */
    es_trace_free(t);
}

/* Lesson 1: the intervals of a difference hold with correlated noise. */
Test(drift, l1_correlated_noise_is_covered)
{
    uint64_t seed = 17;
    int inside = 0, all = 200;
    for (int k = 0; k < all; k++) {
        struct es_trace *t[2];
        for (int i = 0; i < 2; i++)
            t[i] = syn_flat(ES_ROLE_TRAVEL, 0.01 + 2e-6 * i, 10, 20, 1e-5, 0.7, &seed);
        struct es_measured *m =
            syn_measure("drift", "{\"channel\": \"travel\"}", (const struct es_trace *[]){t[0], t[1]}, NULL);
        const struct es_measured *v = get("drift", m, "change");
        inside += fabs(v->value - 2e-6) <= v->U;
        free(m);
        es_trace_free(t[0]);
        es_trace_free(t[1]);
    }
    cr_assert_geq(inside, all * 90 / 100, "%d of %d", inside, all);
}

Test(drift, offset_cancels_connecting_counts_twice)
{
    uint64_t seed = 18;
    struct es_trace *t[2];
    for (int i = 0; i < 2; i++) {
        t[i] = syn_flat(ES_ROLE_TRAVEL, 0.01 + 1e-4 * i, 10, 20, 1e-7, 0, &seed);
        t[i]->series[0].u.offset = 1e-3;
        t[i]->series[0].u.repeatability = 1e-5;
    }
    const struct es_trace *both[] = {t[0], t[1]};
    struct es_measured *m = syn_measure("drift", "{\"channel\": \"travel\"}", both, NULL);
    const struct es_measured *v = get("drift", m, "change");
    cr_assert_float_eq(v->value, 1e-4, 1e-7);
    cr_assert_lt(v->u_common, 1e-9);
    cr_assert_float_eq(v->u_repeat, sqrt(2) * 1e-5, 1e-7);
    free(m);
    t[1]->series[0].y[50] += 1; /* an extreme is of means: one odd sample is a third of it */
    m = syn_measure("drift", "{\"channel\": \"travel\", \"statistic\": \"largest\"}", both, NULL);
    cr_assert_lt(get("drift", m, "change")->value, 0.4);
    free(m);
    both[1] = NULL;
    m = syn_measure("drift", "{\"channel\": \"travel\"}", both, NULL);
    refused("drift", m, "change", "last");
    free(m);
    es_trace_free(t[0]);
    es_trace_free(t[1]);
}

static struct es_trace *at_supply(double share, double bar, double drift, uint64_t *seed)
{
    struct es_trace *t = syn_flat(ES_ROLE_TRAVEL, SYN_TRAVEL * share, 8, 20, 1e-6, 0, seed);
    struct es_series *p = syn_series(t, ES_ROLE_SUPPLY_PRESSURE, 160, 20);
    for (size_t i = 0; i < 160; i++) {
        p->y[i] = bar * 1e5;
        t->series[0].y[i] += drift * SYN_TRAVEL * p->t[i];
    }
    return t;
}

Test(supply_influence, changes_and_the_larger_side_for_each_bar)
{
    uint64_t seed = 19;
    struct es_trace *t[3] = {at_supply(0.5, 4, 0, &seed), at_supply(0.492, 1.4, 0, &seed),
                             at_supply(0.504, 6, 0, &seed)};
    for (int i = 0; i < 3; i++)
        t[i]->series[0].u.offset = 1e-3; /* cancels */
    struct es_measured *m =
        syn_measure("supply influence", NULL, (const struct es_trace *[]){t[0], t[1], t[2]}, &syn_unit_facts);
    cr_assert_float_eq(get("supply influence", m, "change low")->value, -0.008, 1e-5);
    cr_assert_float_eq(get("supply influence", m, "change high")->value, 0.004, 1e-5);
    cr_assert_float_eq(get("supply influence", m, "per bar")->value, 0.008 / 2.6, 1e-5);
    cr_assert_lt(get("supply influence", m, "change low")->u_common, 1e-6);
    free(m);
    m = syn_measure("supply influence", NULL, (const struct es_trace *[]){t[0], t[1], NULL}, &syn_unit_facts);
    refused("supply influence", m, "change high", "no recording");
    cr_assert_float_eq(get("supply influence", m, "per bar")->value, 0.008 / 2.6, 1e-5);
    free(m);
    for (int i = 0; i < 3; i++)
        es_trace_free(t[i]);
}

/* Lesson 9: a response on its way is no change of level. Lesson 8: an unknown span is asked for. */
Test(supply_influence, l9_moving_and_unknown_span_are_refused)
{
    uint64_t seed = 20;
    struct es_trace *t[2] = {at_supply(0.5, 4, 0, &seed), at_supply(0.49, 1.4, 0.002, &seed)};
    const struct es_trace *given[] = {t[0], t[1], NULL};
    struct es_measured *m = syn_measure("supply influence", NULL, given, &syn_unit_facts);
    refused("supply influence", m, "change low", "not settled");
    refused("supply influence", m, "per bar", "not settled");
    free(m);
    m = syn_measure("supply influence", NULL, given, NULL);
    refused("supply influence", m, "change low", "span");
    free(m);
    es_trace_free(t[0]);
    es_trace_free(t[1]);
}
