/* A value at an end of its instrument's range is cut off: nothing is measured from a recording that holds
 * one, and the reason names channel, range and value. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "tests/unit/measures/synthetic_static.h"

/* The instrument's range ends where the series has its largest value, or does not matter. */
static void set_range(struct es_series *s, bool cut)
{
    double most = -INFINITY, least = INFINITY;
    for (size_t i = 0; i < s->count; i++) {
        most = fmax(most, s->y[i]);
        least = fmin(least, s->y[i]);
    }
    const double span = fmax(most - least, 1e-3 * fabs(most));
    s->low = least - span;
    s->high = cut ? most : most + span;
}

static struct es_trace *flat(enum es_role role, double value)
{
    uint64_t seed = 1;
    return syn_flat(role, value, 10, 50, 1e-4 * value, 0, &seed);
}

static struct es_trace *step(void)
{
    uint64_t seed = 2;
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, 800, 100);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = 0.01 + 0.01 * syn_first_order(s->t[i] - 2, 0.05, 0.3);
    syn_noise(s, 1e-6, &seed);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 2, 8e-3, 12e-3);
    return t;
}

static struct es_trace *sweep(void)
{
    uint64_t seed = 3;
    const struct syn_sweep s = {.rate = 100, .speeds = {0.3, 0.6}, .noise = 2e-5, .angle_noise = 2e-5};
    return syn_sweep_trace(&s, &seed);
}

static struct es_trace *filling(void)
{
    struct es_trace *t = syn_trace();
    (void)syn_series(t, ES_ROLE_OUTPUT_1_FLOW, 500, 50);
    (void)syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, 500, 50);
    struct es_series *f = &t->series[0], *p = &t->series[1];
    uint64_t seed = 4;
    const double q = 1000 * 1.087440005 / 3.6e6;
    for (size_t i = 0; i < f->count; i++) {
        f->y[i] = f->t[i] >= 0.7 && f->t[i] < 2.7 ? q : 0;
        p->y[i] = fmin(fmax(0, f->t[i] - 0.71), 2) * q / (2.5e-4 * 1e-5);
    }
    syn_noise(f, 1e-8, &seed);
    syn_noise(p, 20, &seed);
    return t;
}

static struct es_fact items[] = {{"output 1 volume", ES_DIM_VOLUME, 2.5e-4, 5e-7, INFINITY},
                                 {"ambient temperature", ES_DIM_TEMPERATURE, 293.15, 0.3, INFINITY},
                                 {"ambient pressure", ES_DIM_PRESSURE, 101325, 100, INFINITY}};
static const struct es_facts facts = {items, 3};

static const struct {
    const char *measure, *output;
    struct es_trace *(*make)(void);
    size_t series; /* that is cut off */
    const char *said;
} cases[] = {
    {"step response", "T63", step, 0, "the travel is at the end of its range"},
    {"sensor sweep", "usable range", sweep, 0, "the shaft angle is at the end of its range"},
    {"sensor sweep", "hysteresis", sweep, 1, "the sensor ratio is at the end of its range"},
    {"filling", "difference", filling, 0, "the output 1 flow is at the end of its range"},
    {"filling", "difference", filling, 1, "the output 1 pressure is at the end of its range"},
};

Test(range, values_cut_off_are_not_measured_from)
{
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++)
        for (int cut = 0; cut < 2; cut++) {
            struct es_trace *t = cases[k].make();
            set_range(&t->series[cases[k].series], cut);
            struct es_measured *m = syn_measure_one(cases[k].measure, NULL, t, &facts);
            const struct es_measured *v = syn_output(cases[k].measure, m, cases[k].output);
            cr_expect_eq(v->valid, !cut, "%zu: %s %s: %s", k, cases[k].measure, cases[k].output, v->reason);
            if (cut)
                cr_expect_not_null(strstr(v->reason, cases[k].said), "%zu: %s", k, v->reason);
            free(m);
            es_trace_free(t);
        }
}

Test(range, level_and_extreme_say_channel_range_and_value)
{
    static const char *const measures[] = {"level", "extreme"};
    for (int k = 0; k < 2; k++) {
        struct es_trace *t = flat(ES_ROLE_SUPPLY_PRESSURE, 10e5);
        for (size_t i = 0; i < t->series[0].count; i++)
            t->series[0].y[i] = fmin(t->series[0].y[i], 10e5);
        t->series[0].low = -0.2e5;
        t->series[0].high = 10e5;
        struct es_measured *m = syn_measure_one(measures[k], "{\"channel\": \"supply pressure\"}", t, NULL);
        cr_expect_not(m->valid);
        cr_expect_not_null(
            strstr(m->reason, "the supply pressure is at the end of its range (-0.2 to 10 bar) in "), "%s",
            m->reason);
        cr_expect_not_null(strstr(m->reason, " samples: 9.99"), "%s", m->reason);
        free(m);
        t->series[0].low = t->series[0].high = 0; /* not known: as before */
        m = syn_measure_one(measures[k], "{\"channel\": \"supply pressure\"}", t, NULL);
        cr_expect(m->valid, "%s", m->reason);
        free(m);
        es_trace_free(t);
    }
}

/* Low ends as well, one sample is enough, and only within the part that is taken. */
Test(range, one_sample_within_the_part_taken)
{
    struct es_trace *t = flat(ES_ROLE_OUTPUT_1_FLOW, 1e-4);
    t->series[0].low = -2e-4;
    t->series[0].high = 2e-4;
    t->series[0].y[100] = -2e-4; /* at 2 s */
    struct es_measured *m = syn_measure_one("level", "{\"channel\": \"output 1 flow\"}", t, NULL);
    cr_expect_not(m->valid);
    cr_expect_not_null(strstr(m->reason, "in 1 of 500 samples"), "%s", m->reason);
    free(m);
    m = syn_measure_one("level", "{\"channel\": \"output 1 flow\", \"from\": \"3 s\"}", t, NULL);
    cr_expect(m->valid, "%s", m->reason);
    free(m);
    es_trace_free(t);
}

/* Of two methods the one within its range speaks alone. */
Test(range, a_leak_beyond_the_flow_sensor_is_told_by_the_rise)
{
    struct es_trace *flow = flat(ES_ROLE_OUTPUT_1_FLOW, 1e-4), *zero = flat(ES_ROLE_OUTPUT_1_FLOW, 0);
    struct es_trace *rise = flat(ES_ROLE_OUTPUT_1_PRESSURE, 0), *still = flat(ES_ROLE_OUTPUT_1_PRESSURE, 0);
    uint64_t seed = 5;
    for (size_t i = 0; i < rise->series[0].count; i++)
        rise->series[0].y[i] = 1e-6 / (2.5e-4 * 1e-5) * rise->series[0].t[i];
    syn_noise(&rise->series[0], 10, &seed);
    syn_noise(&still->series[0], 10, &seed);
    set_range(&flow->series[0], true);
    const struct es_trace *traces[] = {flow, rise, zero, still};
    struct es_measured *m = syn_measure("relay leak", "{\"settle\": \"1 s\"}", traces, &facts);
    const struct es_measured *by_sensor = syn_output("relay leak", m, "flow by flow sensor");
    const struct es_measured *leak = syn_output("relay leak", m, "flow");
    cr_expect(!by_sensor->valid && strstr(by_sensor->reason, "output 1 flow is at the end of its range"),
              "%s", by_sensor->reason);
    cr_expect(leak->valid, "%s", leak->reason);
    cr_expect_eq(leak->value, syn_output("relay leak", m, "flow by pressure rise")->value);
    free(m);
    es_trace_free(flow);
    es_trace_free(zero);
    es_trace_free(rise);
    es_trace_free(still);
}
