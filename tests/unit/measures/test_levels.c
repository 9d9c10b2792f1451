/* level, extreme, relay direction, stroke. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "tests/unit/measures/synthetic.h"

static struct es_trace *flat(enum es_role role, double value, double noise, uint64_t seed)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, role, 500, 50);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = value;
    syn_noise(s, noise, &seed);
    return t;
}

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

Test(level, mean_with_calibration)
{
    struct es_trace *t = flat(ES_ROLE_SUPPLY_PRESSURE, 4e5, 50, 3);
    t->series[0].u.offset = 300;
    t->series[0].u.gain = 1e-3;
    t->series[0].u.dof = 20;
    struct es_measured *m = syn_measure_one("level", "{\"channel\": \"supply pressure\"}", t, NULL);
    const struct es_measured *v = get("level", m, "value");
    cr_assert_float_eq(v->value, 4e5, 10);
    cr_assert_float_eq(v->u_common, 500, 1);
    cr_assert_lt(v->u_repeat, 6);
    cr_assert_eq(v->dimension, ES_DIM_PRESSURE);
    cr_assert_eq(v->role, ES_ROLE_SUPPLY_PRESSURE);
    cr_assert_float_eq(get("level", m, "spread")->value, 50, 6);
    free(m);
    es_trace_free(t);
}

/* A pressure that climbs by jerks: about what level is not known well, its mean over the recording is. */
Test(level, slow_changes)
{
    struct es_trace *t = flat(ES_ROLE_OUTPUT_1_PRESSURE, 1e5, 20, 5);
    for (size_t i = 0; i < t->series[0].count; i++)
        t->series[0].y[i] += 3e3 * sin(0.7 * t->series[0].t[i] * 6.2831853);
    struct es_measured *noise = syn_measure_one("level", "{\"channel\": \"output 1 pressure\"}", t, NULL);
    struct es_measured *value = syn_measure_one(
        "level", "{\"channel\": \"output 1 pressure\", \"slow changes\": \"part of the value\"}", t, NULL);
    const struct es_measured *a = get("level", noise, "value"), *b = get("level", value, "value");
    cr_assert_float_eq(b->value, a->value, 1e-9);
    cr_assert_gt(a->u, 300);
    cr_assert(b->u >= 20 / sqrt(500.0) && b->u < 10, "%g Pa", b->u);
    free(noise);
    free(value);
    es_trace_free(t);
}

/* The mean's 95 % interval covers the truth as often as it says, with white and with correlated noise (lesson
 * 1). */
Test(level, interval_covers)
{
    static const double lag[] = {0, 0.5, 0.8};
    for (int r = 0; r < 3; r++) {
        uint64_t seed = 77;
        int inside = 0, naive = 0, all = 400;
        for (int k = 0; k < all; k++) {
            struct es_trace *t = flat(ES_ROLE_TRAVEL, 0.01, 0, 1);
            syn_red_noise(&t->series[0], 1e-5, lag[r], &seed);
            struct es_measured *m = syn_measure_one("level", "{\"channel\": \"travel\"}", t, NULL);
            const struct es_measured *v = get("level", m, "value");
            inside += fabs(v->value - 0.01) <= v->U;
            naive += fabs(v->value - 0.01) <= 1.96e-5 / sqrt(500);
            free(m);
            es_trace_free(t);
        }
        cr_assert_geq(inside, all * 92 / 100, "lag-1 %g: %d of %d", lag[r], inside, all);
        if (r > 0)
            cr_assert_lt(naive, all * 80 / 100, "the naive interval should fail: %d", naive);
    }
}

Test(level, tare_takes_the_offset_off)
{
    struct es_trace *t = flat(ES_ROLE_OUTPUT_1_FLOW, 3e-6, 1e-9, 3),
                    *z = flat(ES_ROLE_OUTPUT_1_FLOW, 1e-6, 1e-9, 4);
    t->series[0].u.offset = z->series[0].u.offset = 1e-6;
    const struct es_trace *both[] = {t, z};
    struct es_measured *m = syn_measure("level", "{\"channel\": \"output 1 flow\"}", both, NULL);
    const struct es_measured *v = get("level", m, "value");
    cr_assert_float_eq(v->value, 2e-6, 1e-9);
    cr_assert_lt(v->u, 1e-9);
    free(m);
    es_trace_free(t);
    es_trace_free(z);
}

Test(level, resolution_counts_and_noise_dithers_it)
{
    struct es_trace *t = flat(ES_ROLE_TRAVEL, 0.01, 0, 1);
    t->series[0].u.resolution = 1e-4;
    struct es_measured *m = syn_measure_one("level", "{\"channel\": \"travel\"}", t, NULL);
    cr_assert_float_eq(get("level", m, "value")->u, 1e-4 / sqrt(12), 1e-8);
    free(m);
    uint64_t seed = 8;
    syn_noise(&t->series[0], 1e-4, &seed);
    m = syn_measure_one("level", "{\"channel\": \"travel\"}", t, NULL);
    cr_assert_lt(get("level", m, "value")->u, 1e-5);
    free(m);
    es_trace_free(t);
}

Test(level, not_good_samples)
{
    struct es_trace *t = flat(ES_ROLE_TRAVEL, 0.01, 1e-6, 1);
    for (size_t i = 0; i < 20; i++) {
        t->series[0].quality[i * 7] = ES_STALE;
        t->series[0].y[i * 7] = 99;
    }
    struct es_measured *m = syn_measure_one("level", "{\"channel\": \"travel\"}", t, NULL);
    cr_assert_float_eq(get("level", m, "value")->value, 0.01, 1e-6);
    free(m);
    for (size_t i = 0; i < 400; i++)
        t->series[0].quality[i] = ES_OUT_OF_RANGE;
    m = syn_measure_one("level", "{\"channel\": \"travel\"}", t, NULL);
    refused("level", m, "value", "not good");
    free(m);
    m = syn_measure_one("level", "{\"channel\": \"loop current\"}", t, NULL);
    refused("level", m, "value", "no such series");
    free(m);
    es_trace_free(t);
}

Test(extreme, of_noise_is_not_the_worst_sample)
{
    struct es_trace *t = flat(ES_ROLE_TRAVEL, 0.01, 1e-5, 21);
    struct es_measured *m = syn_measure_one("extreme", "{\"channel\": \"travel\"}", t, NULL);
    const struct es_measured *v = get("extreme", m, "largest");
    cr_assert_lt(fabs(v->value - 0.01), v->U);
    cr_assert_lt(fabs(v->value - 0.01), 1e-5);
    free(m);
    for (size_t i = 200; i < 260; i++)
        t->series[0].y[i] += 1e-3;
    m = syn_measure_one("extreme", "{\"channel\": \"travel\"}", t, NULL);
    v = get("extreme", m, "largest");
    cr_assert_lt(fabs(v->value - 0.011), v->U * 1.3, "%g +- %g", v->value, v->U);
    cr_assert(v->first >= 198 && v->last <= 262);
    free(m);
    es_trace_free(t);
}

static struct es_trace *flows(double one, double two, uint64_t seed)
{
    struct es_trace *t = flat(ES_ROLE_OUTPUT_1_FLOW, one, 1e-7, seed);
    struct es_series *s = syn_series(t, ES_ROLE_OUTPUT_2_FLOW, 500, 50);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = two;
    syn_noise(s, 1e-7, &seed);
    return t;
}

Test(direction, double_acting)
{
    struct es_trace *up = flows(1e-3, 2e-5, 1), *down = flows(-1e-5, 0.8e-3, 2);
    const struct es_trace *traces[] = {up, down, NULL};
    struct es_measured *m = syn_measure("relay direction", NULL, traces, NULL);
    cr_assert_float_eq(get("relay direction", m, "flow right")->value, 0.8e-3, 1e-7);
    cr_assert_float_eq(get("relay direction", m, "flow wrong")->value, 2e-5, 1e-7);
    cr_assert_float_eq(get("relay direction", m, "cross-talk")->value, 0.02, 1e-4);
    free(m);
    m = syn_measure("relay direction", "{\"direction\": \"down\"}", traces, NULL);
    cr_assert_float_eq(get("relay direction", m, "flow wrong")->value, -1e-5, 1e-7);
    cr_assert_float_eq(get("relay direction", m, "cross-talk")->value, 0, 1e-9);
    free(m);
    traces[1] = NULL;
    m = syn_measure("relay direction", NULL, traces, NULL);
    refused("relay direction", m, "flow right", "down");
    free(m);
    es_trace_free(up);
    es_trace_free(down);
}

/* The stronger wrong flow and the larger ratio need not be of the same direction: the less air there is of
 * the right kind, the more a little of the wrong kind weighs. */
Test(direction, larger_ratio)
{
    struct es_trace *up = flows(1e-3, 2e-5, 1), *down = flows(1.6e-5, 0.5e-3, 2);
    const struct es_trace *traces[] = {up, down, NULL};
    struct es_measured *m = syn_measure("relay direction", NULL, traces, NULL);
    cr_assert_float_eq(get("relay direction", m, "flow wrong")->value, 2e-5, 1e-7);
    cr_assert_float_eq(get("relay direction", m, "cross-talk")->value, 0.032, 1e-4);
    free(m);
    es_trace_free(up);
    es_trace_free(down);
}

/* Crossed tubes: air from the wrong output. */
Test(direction, crossed)
{
    struct es_trace *up = flows(-1e-4, 1e-3, 1), *down = flows(1e-3, -1e-4, 2);
    const struct es_trace *traces[] = {up, down, NULL};
    struct es_measured *m = syn_measure("relay direction", NULL, traces, NULL);
    cr_assert_lt(get("relay direction", m, "flow right")->value, 0);
    cr_assert_gt(get("relay direction", m, "flow wrong")->value, 9e-4);
    refused("relay direction", m, "cross-talk", "no air");
    free(m);
    es_trace_free(up);
    es_trace_free(down);
}

Test(direction, single_acting_with_tare)
{
    struct es_trace *up = flows(1e-3, 0, 1), *down = flows(2e-6, 0, 2), *tare = flows(1e-6, 0, 3);
    const struct es_trace *traces[] = {up, down, tare};
    struct es_measured *m = syn_measure("relay direction", "{\"action\": \"single\"}", traces, NULL);
    cr_assert_float_eq(get("relay direction", m, "flow right")->value, 0.999e-3, 1e-7);
    cr_assert_float_eq(get("relay direction", m, "flow wrong")->value, 1e-6, 1e-7);
    cr_assert_float_eq(get("relay direction", m, "cross-talk")->value, 1e-3, 1e-4);
    free(m);
    es_trace_free(up);
    es_trace_free(down);
    es_trace_free(tare);
}

/* Up at 1 s, down at 7 s, slewing over 2 s each, lever of 30 deg each way but 2 deg off. */
static struct es_trace *stroke(double rate, double noise, double end)
{
    struct es_trace *t = syn_trace();
    size_t n = (size_t)(end * rate);
    uint64_t seed = 5;
    for (int which = 0; which < 2; which++) {
        struct es_series *s = syn_series(t, which ? ES_ROLE_SHAFT_ANGLE : ES_ROLE_TRAVEL, n, rate);
        for (size_t i = 0; i < n; i++) {
            double x = s->t[i], up = fmin(fmax((x - 1.3) / 2, 0), 1),
                   down = fmin(fmax((x - 7.2) / 2.5, 0), 1);
            double share = up - down;
            s->y[i] = which ? (-0.50 + share * 1.07) : 0.001 + 0.030 * share;
        }
        syn_noise(s, noise * (which ? 1.07 : 0.03), &seed);
    }
    syn_command(t, ES_ROLE_LOOP_DEMAND, 1, 0.004, 0.020);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 7, 0.020, 0.004);
    return t;
}

Test(stroke, ends_times_and_angles)
{
    for (int k = 0; k < 2; k++) {
        struct es_trace *t = stroke(100, k ? 0.001 : 0, 13);
        struct es_measured *m = syn_measure_one("stroke", NULL, t, NULL);
        double loose = k ? 1 : 0.01;
        cr_assert_float_eq(get("stroke", m, "travel")->value, 0.030, 2e-5 * loose);
        cr_assert_float_eq(get("stroke", m, "lower end")->value, 0.001, 2e-5 * loose);
        cr_assert_float_eq(get("stroke", m, "upper end")->value, 0.031, 2e-5 * loose);
        cr_assert_float_eq(get("stroke", m, "time up")->value, 0.3 + 0.98 * 2, k ? 0.015 : 0.003);
        cr_assert_float_eq(get("stroke", m, "time down")->value, 0.2 + 0.98 * 2.5, k ? 0.015 : 0.003);
        cr_assert_float_eq(get("stroke", m, "angle at lower end")->value, -0.50, 1e-3 * loose);
        cr_assert_float_eq(get("stroke", m, "angle at upper end")->value, 0.57, 1e-3 * loose);
        cr_assert_float_eq(get("stroke", m, "angle travel")->value, 1.07, 1e-3 * loose);
        cr_assert_float_eq(get("stroke", m, "angle asymmetry")->value, 0.07, 2e-3 * loose);
        cr_assert_eq(get("stroke", m, "travel")->dimension, ES_DIM_LENGTH);
        free(m);
        es_trace_free(t);
    }
}

Test(stroke, offset_cancels_in_travel_and_doubles_in_asymmetry)
{
    struct es_trace *t = stroke(100, 0.0001, 13);
    t->series[0].u.offset = 1e-3;
    t->series[1].u.offset = 1e-2;
    t->series[0].u.repeatability = 5e-4; /* one act: it is in both ends */
    struct es_measured *m = syn_measure_one("stroke", NULL, t, NULL);
    cr_assert_lt(get("stroke", m, "travel")->u_common, 1e-9);
    cr_assert_lt(get("stroke", m, "travel")->u_repeat, 1e-4);
    cr_assert_geq(get("stroke", m, "lower end")->u_repeat, 5e-4);
    cr_assert_float_eq(get("stroke", m, "lower end")->u_common, 1e-3, 1e-9);
    cr_assert_float_eq(get("stroke", m, "angle asymmetry")->u_common, 2e-2, 1e-9);
    free(m);
    es_trace_free(t);
}

Test(stroke, refusals)
{
    struct es_trace *t = stroke(100, 0, 8.5); /* ends while still moving down */
    struct es_measured *m = syn_measure_one("stroke", NULL, t, NULL);
    refused("stroke", m, "travel", "not at rest");
    refused("stroke", m, "time down", "not at rest");
    free(m);
    t->command_count = 0;
    m = syn_measure_one("stroke", NULL, t, NULL);
    refused("stroke", m, "travel", "never");
    free(m);
    t->series_count = 1;
    m = syn_measure_one("stroke", NULL, t, NULL);
    refused("stroke", m, "angle travel", "no series");
    free(m);
    t->series_count = 2;
    es_trace_free(t);
}
