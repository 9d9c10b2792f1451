/* What a rise says of a leak whose volume loses air again, and warms: the middle of what is stated is exact,
 * its ends are in the interval. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/orifice.h"
#include "procedures/measures/pressure_rate.h"
#include "tests/unit/measures/synthetic.h"

#define AMBIENT 101325.0
#define VOLUME  2.5e-4
#define SUPPLY  1.4e5 /* gauge */
#define B       0.3

struct leak {
    double C, out_over_in, warmth; /* m3/(s Pa); s: (gamma - 1) tau of an excess that dies away with 3 s */
};

/* 20 s of a rise, isothermal but for the warmth; returns the rate at the beginning. */
static double rise(struct es_series *s, const struct leak *leak, double noise)
{
    const double scale = 1e5 / VOLUME, h = 1e-3;
    const double into = leak->C * scale;
    double p = AMBIENT, truth = into * es_orifice_drive(AMBIENT + SUPPLY, AMBIENT, ES_T_ANR, B);
    uint64_t seed = 11;
    for (size_t i = 0; i < s->count; i++) {
        s->y[i] = p - AMBIENT + truth * leak->warmth * -expm1(-s->t[i] / 3);
        for (int k = 0; k < 50; k++)
            p += h * into *
                 (es_orifice_drive(AMBIENT + SUPPLY, p, ES_T_ANR, B) -
                  leak->out_over_in * es_orifice_drive(p, AMBIENT, ES_T_ANR, B));
    }
    syn_noise(s, noise, &seed);
    return truth;
}

/* (rate - truth) / truth; *u: standard uncertainty over truth. */
static double departure(const struct leak *leak, double thermal_time, double noise, double *u)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, 401, 20);
    const double truth = rise(s, leak, noise);
    const struct es_pressure_rate_input in = {.series = s,
                                              .settle = 5,
                                              .driving = 0.5e5,
                                              .thermal_time = thermal_time,
                                              .supply = SUPPLY,
                                              .ambient = AMBIENT};
    struct es_pressure_rate r;
    struct es_error err = {0};
    cr_assert_eq(es_pressure_rate_of(&in, &r, &err), ES_OK, "%s", err.text);
    cr_assert(r.valid, "%s", r.reason);
    *u = sqrt(r.budget.square[ES_TERM_REPEAT] + r.budget.square[ES_TERM_COMMON]) / truth;
    es_trace_free(t);
    return r.rate / truth - 1;
}

/* 0.3 Nl/h into the volume; at the exhaust nothing, as much, and twice as much. */
Test(pressure_rate, what_escapes_again)
{
    struct leak leak = {.C = 3.8e-13};
    double at[3], u[3];
    for (int i = 0; i < 3; i++) {
        leak.out_over_in = i;
        at[i] = departure(&leak, 0, 2, &u[i]);
        cr_expect_leq(fabs(at[i]), 1.96 * u[i], "exhaust %d: off by %.4f, u %.4f", i, at[i], u[i]);
    }
    cr_expect_leq(fabs(at[1]), 0.004, "alike: %.4f", at[1]);
    /* the ends lie one half-width away, sqrt 3 standard uncertainties of a rectangle that says nearly all */
    cr_expect(at[0] > 0.01 && at[2] < -0.01, "%.4f %.4f", at[0], at[2]);
    cr_expect_geq(at[0] / u[0], 1.3, "an interval that is too wide: %.4f, u %.4f", at[0], u[0]);
}

/* All the heat that the longest thermal time makes, and none. */
Test(pressure_rate, heat)
{
    struct leak leak = {.C = 3.8e-13, .out_over_in = 1};
    double u;
    const double none = departure(&leak, 3, 2, &u);
    cr_expect(none < 0 && none > -1.96 * u, "no heat: %.4f, u %.4f", none, u);
    leak.warmth = 0.4 * 3;
    const double all = departure(&leak, 3, 2, &u);
    cr_expect(all > 0 && all < 1.96 * u, "all of it: %.4f, u %.4f", all, u);
    cr_expect_float_eq(all, -none, 0.008, "%.4f %.4f", all, none);
}
