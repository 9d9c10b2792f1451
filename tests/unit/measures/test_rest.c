/* A unit that does not come to rest: the movement is a figure of its own, and a creeping start is doubt. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/measures/movement.h"
#include "tests/unit/measures/synthetic.h"

static struct es_fact ends[] = {{"lower end", ES_DIM_LENGTH, 0, 1e-5, INFINITY},
                                {"upper end", ES_DIM_LENGTH, 0.03, 1e-5, INFINITY},
                                {"loop low", ES_DIM_CURRENT, 0.004, 0, INFINITY},
                                {"loop high", ES_DIM_CURRENT, 0.020, 0, INFINITY}};
static struct es_facts facts = {ends, 4};

static const struct es_measured *get(const struct es_measured *m, const char *output)
{
    const struct es_measured *v = syn_output("step response", m, output);
    cr_assert(v->valid, "%s: %s", output, v->reason);
    return v;
}

/* 10 % of 30 mm up at 2 s, first order, for 6 s at 100 Hz; swings and creeps on top. */
static struct es_trace *step(double swing, double period, double creep, double noise, uint64_t seed)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, 800, 100);
    for (size_t i = 0; i < s->count; i++) {
        double x = s->t[i];
        s->y[i] = 0.015 + 0.003 * syn_first_order(x - 2, 0.1, 0.3);
        s->y[i] += swing / 2 * sin(6.283185307 * x / period) + creep * fmin(x - 2, 0);
    }
    syn_noise(s, noise, &seed);
    syn_command(t, ES_ROLE_LOOP_DEMAND, 2, 0.012, 0.0136);
    return t;
}

Test(rest, hunting_has_a_figure)
{
    static const double periods[] = {0.3, 1.1, 2.9};
    for (int k = 0; k < 3; k++) {
        struct es_trace *t = step(0.0009, periods[k], 0, 3e-6, 5); /* 3 % of span, between 0.3 and 3 s */
        struct es_measured *m = syn_measure_one("step response", NULL, t, &facts);
        const struct es_measured *v = get(m, "movement at rest");
        cr_assert_float_eq(v->value, 0.03, 0.003, "%g s: %g", periods[k], v->value);
        cr_assert_gt(v->value - v->U, 0.02);
        free(m);
        es_trace_free(t);
    }
}

Test(rest, noise_is_no_movement)
{
    int covered = 0;
    for (uint64_t seed = 1; seed <= 100; seed++) {
        struct es_trace *t = step(0, 1, 0, 1.5e-5, seed); /* 0.05 % of span */
        struct es_measured *m = syn_measure_one("step response", NULL, t, &facts);
        const struct es_measured *v = get(m, "movement at rest");
        covered += v->value <= v->U;
        cr_assert_lt(v->value + v->U, 0.002, "%g +- %g", v->value, v->U);
        free(m);
        es_trace_free(t);
    }
    cr_assert_geq(covered, 90, "%d of 100", covered);
}

Test(rest, span_is_needed)
{
    struct es_fact full[] = {{"full travel", ES_DIM_LENGTH, 0.03, 0, INFINITY}};
    struct es_facts only = {full, 1};
    struct es_trace *t = step(0.0009, 1.1, 0, 3e-6, 5);
    struct es_measured *m = syn_measure_one("step response", NULL, t, &only);
    cr_assert_float_eq(get(m, "movement at rest")->value, 0.03, 0.002);
    free(m);
    m = syn_measure_one("step response", NULL, t, NULL);
    cr_assert_not_null(strstr(syn_output("step response", m, "movement at rest")->reason, "span"));
    free(m);
    es_trace_free(t);
}

/* 1.5 % of the step in the last second before it: every figure is there, with the truth in its interval. */
Test(rest, creeping_start_is_doubt)
{
    struct es_trace *t = step(0, 1, 0.000045, 1e-6, 3), *still = step(0, 1, 0, 1e-6, 3);
    struct es_measured *m = syn_measure_one("step response", NULL, t, &facts);
    struct es_measured *k = syn_measure_one("step response", NULL, still, &facts);
    static const char *const names[] = {"dead time", "T63", "T86", "T98"};
    double truth[] = {0.1, 0.1 - 0.3 * log(0.37), 0.1 - 0.3 * log(0.135), 0.1 - 0.3 * log(0.02)};
    for (int i = 0; i < 4; i++) {
        const struct es_measured *v = get(m, names[i]);
        cr_assert_lt(fabs(v->value - truth[i]), v->U, "%s: %g +- %g", names[i], v->value, v->U);
    }
    cr_assert_gt(get(m, "T63")->u, 2 * get(k, "T63")->u);
    free(m);
    free(k);
    es_trace_free(t);
    es_trace_free(still);
}

/* A tenth of the step in a second leaves no start. */
Test(rest, strong_creep_is_refused)
{
    struct es_trace *t = step(0, 1, 0.0003, 1e-6, 3);
    struct es_measured *m = syn_measure_one("step response", NULL, t, &facts);
    const struct es_measured *v = syn_output("step response", m, "T63");
    cr_assert_not(v->valid);
    cr_assert_not_null(strstr(v->reason, "not at rest before"), "%s", v->reason);
    free(m);
    es_trace_free(t);
}
