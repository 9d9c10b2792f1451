/* Analytic step responses, tables recomputed from their definitions (first order with dead time; second
 * order: formulas as in control textbooks, from memory): finely sampled without noise to the stated accuracy,
 * and with noise within the stated uncertainty. */
#include <criterion/criterion.h>
#include <math.h>

#include "tests/unit/measures/synthetic.h"

typedef double answer_fn(double t, const double *p);

static double first_order(double t, const double *p)
{
    return syn_first_order(t, p[0], p[1]);
}

static double second_order(double t, const double *p)
{
    return syn_second_order(t, p[0], p[1]);
}

static double critical(double t, const double *p)
{
    return t <= 0 ? 0 : 1 - exp(-p[0] * t) * (1 + p[0] * t);
}

static double two_lags(double t, const double *p)
{
    return t <= 0 ? 0 : 1 - (p[0] * exp(-t / p[0]) - p[1] * exp(-t / p[1])) / (p[0] - p[1]);
}

static double ramp(double t, const double *p)
{
    return fmin(1, fmax(0, (t - p[0]) / p[1]));
}

static struct es_measured *step(answer_fn *answer, const double *p, double length, double rate, double noise,
                                double size, const char *settings, uint64_t seed)
{
    struct es_trace *t = syn_trace();
    double origin = 0.5;
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, (size_t)((origin + length) * rate), rate);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = 0.02 + size * answer(s->t[i] - origin, p);
    if (noise > 0)
        syn_noise(s, noise * fabs(size), &seed);
    syn_command(t, ES_ROLE_LOOP_DEMAND, origin, 0.012, 0.012 + 0.001 * (size > 0 ? 1 : -1));
    struct es_measured *m = syn_measure_one("step response", settings, t, NULL);
    es_trace_free(t);
    return m;
}

static void expect(const struct es_measured *m, const char *output, double truth, double accuracy)
{
    const struct es_measured *v = syn_output("step response", m, output);
    cr_assert(v->valid, "%s: %s", output, v->reason);
    cr_assert_float_eq(v->value, truth, accuracy, "%s %.9g, table %.9g", output, v->value, truth);
}

/* theta 0.35 s, tau 0.8 s. Accuracy demanded: a thousandth of tau, T98 (slope 0.02) three. */
Test(step_tables, first_order_fine)
{
    double p[] = {0.35, 0.8};
    struct es_measured *m = step(first_order, p, 14, 1000, 0, 0.001, NULL, 1);
    expect(m, "dead time", 0.35, 0.0008);
    expect(m, "T63", 1.14540181868, 0.0008);
    expect(m, "T86", 1.95198440043, 0.0008);
    expect(m, "T98", 3.47961840434, 0.0024);
    expect(m, "settling time", 3.47961840434, 0.0024);
    expect(m, "overshoot", 0, 1e-9);
    expect(m, "steps", 1, 0);
    free(m);
}

Test(step_tables, first_order_downwards)
{
    double p[] = {0.35, 0.8};
    struct es_measured *m = step(first_order, p, 14, 1000, 0, -0.001, NULL, 1);
    expect(m, "dead time", 0.35, 0.0008);
    expect(m, "T63", 1.14540181868, 0.0008);
    expect(m, "T98", 3.47961840434, 0.0024);
    free(m);
}

/* Sampled at 20 Hz a straight line between samples errs by up to dt^2 / (8 tau) = 0.39 ms; the fit stays
 * below. */
Test(step_tables, first_order_coarse)
{
    double p[] = {0.35, 0.8};
    struct es_measured *m = step(first_order, p, 14, 20, 0, 0.001, NULL, 1);
    expect(m, "T63", 1.14540181868, 0.0008);
    expect(m, "T86", 1.95198440043, 0.0015);
    expect(m, "dead time", 0.35, 0.005);
    free(m);
}

struct row {
    double zeta, omega, overshoot, t63, t865, t98, ts5, ts2, ts1;
};

/* T86.5 recomputed with scipy.optimize.brentq; the rest from the table of reference values. */
static const struct row table[] = {
    {0.2, 2, 0.52662059933, 0.65411312382, 0.810473737485, 0.890070337445, 6.87221820914, 9.80095186522,
     11.4665755368},
    {0.4, 4, 0.25382672198, 0.363066134955, 0.468462249566, 0.529059392514, 1.90219534686, 2.10232990692,
     2.83305333978},
    {0.5, 1, 0.163033534822, 1.53731347993, 2.037601693394, 2.3534890344, 5.2890932203, 8.07634897393,
     8.78056472388},
    {0.6, 5, 0.0947802248422, 0.326535819151, 0.447129696633, 0.533718456679, 1.04580968812, 1.18859757573,
     1.25172820992},
    {0.7, 3, 0.0459879102603, 0.579862628967, 0.825597058549, 1.03621085407, 0.966606842024, 1.99293078913,
     2.19157660809},
    {0.8, 2, 0.0151646198645, 0.929544225944, 1.38460454313, 1.87792065265, 1.69267519569, 1.87792065265,
     3.17663867021},
};

Test(step_tables, second_order_fine)
{
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        const struct row *r = &table[i];
        double p[] = {r->zeta, r->omega}, w = r->omega;
        static const char *const bands[] = {"{\"band\": \"5 %\"}", "{\"band\": \"2 %\"}",
                                            "{\"band\": \"1 %\"}"};
        double ts[] = {r->ts5, r->ts2, r->ts1};
        for (int b = 0; b < 3; b++) {
            struct es_measured *m = step(second_order, p, 13 / (r->zeta * w), 400 * w, 0, 0.001, bands[b], 1);
            expect(m, "settling time", ts[b], 0.004 / w);
            expect(m, "overshoot", r->overshoot, 2e-4);
            expect(m, "T63", r->t63, 0.001 / w);
            expect(m, "T86", r->t865, 0.001 / w);
            expect(m, "T98", r->t98, 0.002 / w);
            expect(m, "dead time", 0, 0.02 / w);
            free(m);
        }
    }
}

Test(step_tables, critical_and_two_lags)
{
    double c[] = {2}, l[] = {1.0, 0.4};
    struct es_measured *m = step(critical, c, 12, 1000, 0, 0.001, NULL, 1);
    expect(m, "T63", 1.06888105893, 0.001);
    expect(m, "T86", 1.754214664705, 0.001);
    expect(m, "T98", 2.91696085096, 0.003);
    free(m);
    m = step(two_lags, l, 16, 1000, 0, 0.001, NULL, 1);
    expect(m, "T63", 1.45922361147, 0.001);
    expect(m, "T86", 2.503910032234, 0.001);
    expect(m, "T98", 4.42232226171, 0.004);
    free(m);
}

/* Pneumatic slew: theta 0.2 s, 12.5 %/s, a step of 10 %: a corner right behind T98. */
Test(step_tables, rate_limited)
{
    double p[] = {0.2, 0.8};
    struct es_measured *m = step(ramp, p, 5, 500, 0, 0.001, NULL, 1);
    expect(m, "dead time", 0.2, 0.001);
    expect(m, "T63", 0.704, 0.001);
    expect(m, "T86", 0.2 + 0.865 * 0.8, 0.001);
    expect(m, "T98", 0.984, 0.002);
    free(m);
}

/* With noise: the truth lies within 1.6 U in every one of 40 traces a case (chance of failure below 1e-3
 * where the intervals are honest), and nine in ten lie within U. */
Test(step_tables, first_order_noisy)
{
    double p[] = {0.35, 0.8};
    static const char *const outputs[] = {"dead time", "T63", "T86", "T98"};
    double truth[] = {0.35, 1.14540181868, 1.95198440043, 3.47961840434};
    int inside[4] = {0}, all = 40;
    for (int k = 0; k < all; k++) {
        struct es_measured *m = step(first_order, p, 12, 200, 0.005, 0.001, NULL, 100 + (uint64_t)k);
        for (int o = 0; o < 4; o++) {
            const struct es_measured *v = syn_output("step response", m, outputs[o]);
            cr_assert(v->valid, "%s: %s", outputs[o], v->reason);
            cr_assert_lt(fabs(v->value - truth[o]), 2 * v->U, "%s %.5f +- %.5f", outputs[o], v->value, v->U);
            inside[o] += fabs(v->value - truth[o]) <= v->U;
        }
        free(m);
    }
    for (int o = 0; o < 4; o++)
        cr_assert_geq(inside[o], 34, "%s: %d of %d", outputs[o], inside[o], all);
}
