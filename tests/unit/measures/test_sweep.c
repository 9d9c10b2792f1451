/* Sensor sweep: faults of the track, and what is refused. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "tests/unit/measures/synthetic.h"

#define DEG 0.017453292519943295

static const struct es_measured *get(const struct es_measured *m, const char *output)
{
    const struct es_measured *v = syn_output("sensor sweep", m, output);
    cr_assert(v->valid, "%s: %s", output, v->reason);
    return v;
}

static struct es_measured *sweep(const struct syn_sweep *s, const char *settings, uint64_t seed)
{
    struct es_trace *t = syn_sweep_trace(s, &seed);
    struct es_measured *m = syn_measure_one("sensor sweep", settings, t, NULL);
    es_trace_free(t);
    return m;
}

Test(sweep, good_sensor)
{
    struct syn_sweep s = {.rate = 200, .speeds = {15 * DEG, 40 * DEG}, .noise = 1e-4, .bow = 0.004};
    struct es_measured *m = sweep(&s, NULL, 1);
    cr_assert_eq(get(m, "dropouts")->value, 0);
    cr_assert_eq(get(m, "reversals")->value, 0);
    cr_assert_eq(get(m, "widest dropout")->value, 0);
    cr_assert_float_eq(get(m, "usable range")->value / DEG, 90, 0.3);
    cr_assert_float_eq(get(m, "margin low")->value, 0.1, 5e-4);
    cr_assert_float_eq(get(m, "margin high")->value, 0.1, 5e-4);
    double most = 0, end = 0.004 * sin(acos(-1) * 0.94); /* sine about the line of its ends at 94 % */
    for (int i = 0; i <= 20; i++) {
        double x = 0.94 * (i / 10.0 - 1);
        most = fmax(most, fabs(0.004 * sin(acos(-1) * x) - end * x / 0.94));
    }
    cr_assert_float_eq(get(m, "linearity terminal-based")->value, most / (0.8 * 0.94 + 2 * end), 2e-4);
    cr_assert_lt(get(m, "linearity independent")->value, get(m, "linearity terminal-based")->value);
    cr_assert_lt(get(m, "smoothness")->value, 0.001);
    cr_assert_lt(get(m, "repeatability")->value, 0.0005);
    free(m);
}

Test(sweep, falling_sensor)
{
    struct syn_sweep s = {.rate = 200,
                          .speeds = {15 * DEG, 40 * DEG},
                          .noise = 1e-4,
                          .gain = -0.5 / (90 * DEG),
                          .delay = 0.02,
                          .play = 0.5 * DEG};
    struct es_measured *m = sweep(&s, NULL, 2);
    cr_assert_float_eq(get(m, "delay")->value, 0.02, 0.001);
    cr_assert_float_eq(get(m, "hysteresis")->value, 0.5 / 90 / 0.94, 5e-4);
    cr_assert_float_eq(get(m, "margin low")->value, 0.25, 3e-3);
    cr_assert_eq(get(m, "reversals")->value, 0);
    free(m);
}

Test(sweep, dropouts_with_place_and_width)
{
    struct syn_sweep s = {.rate = 200,
                          .speeds = {12 * DEG, 36 * DEG},
                          .noise = 2e-4,
                          .delay = 0.02,
                          .dropout_at = {-20 * DEG, 5 * DEG, 30 * DEG},
                          .dropout_width = {1 * DEG, 3 * DEG, 0.4 * DEG}};
    struct es_measured *m = sweep(&s, NULL, 3);
    cr_assert_eq(get(m, "dropouts")->value, 3);
    const struct es_measured *w = get(m, "widest dropout");
    cr_assert_float_eq(w->value / DEG, 3, 0.1);
    cr_assert_float_eq(get(m, "usable range")->value / DEG, 45 - 20 - 0.5, 0.3); /* below the first */
    cr_assert_lt(get(m, "hysteresis")->value, 0.002);
    free(m);
}

Test(sweep, readings_not_good_are_dropouts)
{
    struct syn_sweep s = {.rate = 200, .speeds = {12 * DEG, 36 * DEG}, .noise = 2e-4};
    uint64_t seed = 4;
    struct es_trace *t = syn_sweep_trace(&s, &seed);
    for (size_t i = 0; i < t->series[1].count; i++)
        if (fabs(t->series[0].y[i] - 10 * DEG) < 1 * DEG)
            t->series[1].quality[i] = ES_OUT_OF_RANGE;
    struct es_measured *m = syn_measure_one("sensor sweep", NULL, t, NULL);
    cr_assert_eq(get(m, "dropouts")->value, 1);
    cr_assert_float_eq(get(m, "widest dropout")->value / DEG, 2, 0.15);
    free(m);
    es_trace_free(t);
}

Test(sweep, reversal)
{
    struct syn_sweep s = {
        .rate = 200, .speeds = {12 * DEG, 36 * DEG}, .noise = 1e-4, .dip_at = 10 * DEG, .dip = 0.025};
    struct es_measured *m = sweep(&s, "{\"dropout deviation\": \"5 %\"}", 5);
    cr_assert_geq(get(m, "reversals")->value, 1);
    cr_assert_gt(get(m, "smoothness")->value, 0.003);
    free(m);
}

Test(sweep, sensor_that_ends_early)
{
    struct syn_sweep s = {
        .rate = 200, .speeds = {12 * DEG, 36 * DEG}, .noise = 1e-4, .gain = 1.2 / (90 * DEG)};
    uint64_t seed = 6;
    struct es_trace *t = syn_sweep_trace(&s, &seed);
    for (size_t i = 0; i < t->series[1].count; i++)
        t->series[1].y[i] = fmin(fmax(t->series[1].y[i], 0.0005), 0.9995);
    struct es_measured *m = syn_measure_one("sensor sweep", "{\"dropout deviation\": \"20 %\"}", t, NULL);
    cr_assert_float_eq(get(m, "usable range")->value / DEG, 0.98 / 1.2 * 90, 1.0);
    cr_assert_lt(get(m, "margin low")->value, 0.002);
    free(m);
    es_trace_free(t);
}

/* A sensor turned against its shaft runs off its track: a shorter usable range, not noise; what is left of
 * the track is judged by itself. */
Test(sweep, track_ends_inside_the_sweep)
{
    static const double shifts[] = {0, 4, 15, 30, -30};
    for (int k = 0; k < 5; k++) {
        struct syn_sweep s = {.rate = 100,
                              .speeds = {12 * DEG, 36 * DEG},
                              .noise = 2e-4,
                              .gain = 0.9 / (90 * DEG),
                              .play = 0.2 * DEG};
        uint64_t seed = 8;
        struct es_trace *t = syn_sweep_trace(&s, &seed);
        for (size_t i = 0; i < t->series[1].count; i++)
            t->series[1].y[i] = fmin(fmax(t->series[1].y[i] + shifts[k] * DEG * s.gain, 0.04), 0.96);
        struct es_measured *m = syn_measure_one("sensor sweep", NULL, t, NULL);
        const struct es_measured *v = get(m, "usable range");
        /* the track of 92 % of the ratio spans 92 deg: one degree is left at each end */
        double truth = 90 - fmax(0, fabs(shifts[k]) - 1);
        cr_assert_float_eq(v->value / DEG, truth, 0.5, "%g deg: %g", shifts[k], v->value / DEG);
        cr_assert_leq(fabs(v->value / DEG - truth), v->U / DEG + 0.1, "%g +- %g", v->value / DEG, v->U / DEG);
        cr_assert_eq(get(m, "dropouts")->value, 0);
        cr_assert_lt(get(m, "linearity terminal-based")->value, 0.003);
        free(m);
        es_trace_free(t);
    }
}

/* Sixty sweeps each of two sensors: intervals that hold the truth as often as they say, and no bias by the
 * largest of many noisy figures. */
Test(sweep, intervals_hold)
{
    static const char *const names[] = {"margin low", "margin high", "hysteresis"};
    struct syn_sweep s = {
        .rate = 100, .speeds = {12 * DEG, 36 * DEG}, .noise = 2e-4, .angle_noise = 0.01 * DEG};
    double truth[] = {0.1, 0.1, 0.1 / 90 / 0.94}, bias[3] = {0, 0, 0};
    int held[3] = {0, 0, 0}, n = 120;
    for (int k = 0; k < n; k++) {
        s.play = k % 2 ? 0.1 * DEG : 0; /* for the margins a sensor without play, which reaches both ends */
        struct es_measured *m = sweep(&s, NULL, 100 + (uint64_t)k);
        for (int i = k % 2 ? 2 : 0; i < (k % 2 ? 3 : 2); i++) {
            const struct es_measured *v = get(m, names[i]);
            held[i] += fabs(v->value - truth[i]) <= v->U;
            bias[i] += (v->value - truth[i]) / v->u / (n / 2);
        }
        free(m);
    }
    for (int i = 0; i < 3; i++) {
        cr_assert_geq(held[i], 52, "%s: %d of %d, bias %.2f u", names[i], held[i], n / 2, bias[i]);
        /* sharp turns, each read once: the furthest of them is further by noise */
        cr_assert_lt(fabs(bias[i]), 0.8, "%s: %.2f u", names[i], bias[i]);
    }
}

Test(sweep, refusals)
{
    struct syn_sweep s = {.rate = 200, .speeds = {20 * DEG}, .noise = 1e-4};
    struct es_measured *m = sweep(&s, NULL, 7);
    const struct es_measured *v = syn_output("sensor sweep", m, "linearity independent");
    cr_assert_not(v->valid);
    cr_assert_not_null(strstr(v->reason, "two round trips"), "%s", v->reason);
    free(m);
    s = (struct syn_sweep){.rate = 200, .speeds = {20 * DEG, 40 * DEG}, .noise = 0.01};
    m = sweep(&s, NULL, 8);
    v = syn_output("sensor sweep", m, "dropouts");
    cr_assert_not(v->valid);
    cr_assert_not_null(strstr(v->reason, "noise hides"), "%s", v->reason);
    free(m);
}

/* A bus that answers late: too few readings near each angle. It is the bench that is named, not arithmetic.
 */
Test(sweep, read_too_seldom)
{
    struct syn_sweep s = {.rate = 7.5, .speeds = {15 * DEG, 12 * DEG}, .noise = 1e-4};
    struct es_measured *m = sweep(&s, NULL, 12);
    const char *const outputs[] = {"margin low", "margin high", "linearity terminal-based", "hysteresis",
                                   "delay"};
    for (int i = 0; i < 5; i++) {
        const struct es_measured *v = syn_output("sensor sweep", m, outputs[i]);
        cr_expect_not(v->valid, "%s", outputs[i]);
        cr_expect(strstr(v->reason, "read too seldom") && strstr(v->reason, "the bench's bus"), "%s: %s",
                  outputs[i], v->reason);
    }
    free(m);
}

/* A dense recording is judged by means of blocks, its dropouts by single readings: three of 80,000 count. */
Test(sweep, dense_recording_keeps_a_dropout_of_three_readings)
{
    uint64_t seed = 5;
    struct syn_sweep s = {.rate = 5000,
                          .speeds = {15 * DEG, 45 * DEG},
                          .bow = 0.004,
                          .play = 0.4 * DEG,
                          .delay = 0.034,
                          .noise = 2e-4};
    struct es_trace *t = syn_sweep_trace(&s, &seed);
    struct es_series *r = &t->series[1];
    struct es_measured *clean = syn_measure_one("sensor sweep", NULL, t, NULL);
    size_t at = (size_t)(3.0 * s.rate);
    cr_assert_geq(r->count, 80000);
    for (size_t i = at; i < at + 3; i++)
        r->y[i] -= 0.02;
    struct es_measured *m = syn_measure_one("sensor sweep", NULL, t, NULL);
    cr_expect_eq(get(clean, "dropouts")->value, 0);
    cr_expect_eq(get(m, "dropouts")->value, 1);
    cr_expect_float_eq(get(m, "widest dropout")->value / DEG, 3 * 15 / s.rate, 0.2 * 15 / s.rate);
    cr_expect_eq(get(m, "widest dropout")->first, at);
    cr_expect_float_eq(get(m, "noise")->value, s.noise, 0.1 * s.noise + 2.5e-4); /* with its leg's bend */
    cr_expect_float_eq(get(m, "delay")->value, s.delay, 1e-4);
    cr_expect_float_eq(get(m, "linearity terminal-based")->value,
                       get(clean, "linearity terminal-based")->value, 1e-6);
    r->y[at] += 0.02;
    r->y[at + 1] += 0.02;
    r->quality[at + 2] = ES_FAILED; /* one alone, not good */
    struct es_measured *one = syn_measure_one("sensor sweep", NULL, t, NULL);
    cr_expect_eq(get(one, "dropouts")->value, 1);
    free(clean);
    free(m);
    free(one);
    es_trace_free(t);
}

/* Means of blocks and single readings give the same figures. */
Test(sweep, dense_figures_are_those_of_single_readings)
{
    static const char *const names[] = {
        "usable range",          "margin low", "margin high",   "linearity terminal-based",
        "linearity independent", "hysteresis", "widest dropout"};
    static const double near[] = {0.03 * DEG, 1e-4, 1e-4, 3e-5, 3e-5, 8e-5, 0.03 * DEG};
    struct syn_sweep s = {.speeds = {15 * DEG, 45 * DEG},
                          .bow = 0.004,
                          .play = 0.4 * DEG,
                          .delay = 0.01,
                          .noise = 1e-4,
                          .dropout_at = {20 * DEG},
                          .dropout_width = {1.5 * DEG}};
    s.rate = 0.95 * 40000 / 36;
    struct es_measured *single = sweep(&s, NULL, 3);
    s.rate = 4 * 40000 / 36.0;
    struct es_measured *dense = sweep(&s, NULL, 4);
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        cr_expect_float_eq(get(dense, names[i])->value, get(single, names[i])->value, near[i],
                           "%s: %g, not %g", names[i], get(dense, names[i])->value,
                           get(single, names[i])->value);
    cr_expect_eq(get(dense, "dropouts")->value, 1);
    free(single);
    free(dense);
}
