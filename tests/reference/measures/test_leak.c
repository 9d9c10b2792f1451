/* Leak by pressure rise or decay: a published example (40 CFR 1065.644), closed forms of ISO 6358 mass flow,
 * and open recordings of real decays (CC0) from beside the checkout. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/measures/csv_trace.h"
#include "procedures/measures/pressure_rate.h"
#include "tests/reference/measures/real_decay.h"
#include "tests/unit/measures/synthetic.h"

#define R_GAS 8.314472 /* as 40 CFR 1065 has it */

static const char plain[] = "{\"tare\": \"none\", \"settle\": \"0 s\", \"thermal time\": \"0 s\"}";

static struct es_measured *leak_of(struct es_trace *rise, double volume, double T, const char *settings)
{
    struct es_fact items[] = {{"output 1 volume", ES_DIM_VOLUME, volume, 0, INFINITY},
                              {"ambient temperature", ES_DIM_TEMPERATURE, T, 0, INFINITY},
                              {"ambient pressure", ES_DIM_PRESSURE, 101325, 0, INFINITY}};
    struct es_facts facts = {items, 3};
    return syn_measure("relay leak", settings, (const struct es_trace *[]){NULL, rise, NULL, NULL}, &facts);
}

static const struct es_measured *valid(const struct es_measured *m, const char *output)
{
    const struct es_measured *v = syn_output("relay leak", m, output);
    cr_assert(v->valid, "%s: %s", output, v->reason);
    return v;
}

/* V 2.0000 L, 25.300 to 50.600 kPa at 293.15 K within 70 s: 2.965704685e-4 mol/s (the example's law status
 * and its numbers read; last digits recomputed). */
Test(leak, cfr_1065_644)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, 701, 10);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = 25300 + 25300 * s->t[i] / 70 - 101325;
    struct es_measured *m = leak_of(t, 2e-3, 293.15, plain);
    double moles = valid(m, "flow by pressure rise")->value * 1e5 / (R_GAS * 293.15);
    cr_assert_float_eq(moles / 2.965704685e-4, 1, 1e-6, "%.9e", moles);
    free(m);
    es_trace_free(t);
}

/* V 0.5 l, 7.000 to 6.985 bar absolute, 293.15 to 293.35 K, 60 s: 0.1646852452 mbar l/s at 20 degC; without
 * the temperature 0.125 (recomputed). */
Test(leak, temperature_term)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, 601, 10);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = 7e5 - 1500 * s->t[i] / 60 - 101325;
    s = syn_series(t, ES_ROLE_AMBIENT_TEMPERATURE, 61, 1);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = 293.15 + 0.2 * s->t[i] / 60;
    struct es_measured *m = leak_of(t, 0.5e-3, 293.15, plain);
    double flow = valid(m, "flow by pressure rise")->value; /* m3/s at 20 degC, 100 kPa */
    cr_assert_float_eq(-flow * 1e5 * 10 / 0.1646852452, 1, 5e-4, "%.6f mbar l/s", -flow * 1e6);
    free(m);
    es_trace_free(t);
}

/* Choked isothermal decay of 0.5 l from 5 bar gauge, C 1e-3 dm3/(s bar): p = p0 exp(-t / 500 s), 721.59
 * mbar/min at first. Two points 60 s apart read 6 % low, 300 s apart 25 % (lesson 3). */
Test(leak, bent_decay_is_not_biased)
{
    size_t length;
    char *csv = outside_data("air/c_two_point_bias.csv", &length);
    static const double windows[] = {60, 120, 300};
    for (int w = 0; w < 3; w++) {
        struct es_trace *t = syn_trace();
        struct es_series *s = syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, (size_t)windows[w] * 10 + 1, 10);
        for (size_t i = 0; i < s->count; i++)
            s->y[i] = 601325 * exp(-s->t[i] / 499.9995) - 101325;
        uint64_t seed = 5;
        double two = (s->y[s->count - 1] - s->y[0]) / windows[w];
        cr_assert_lt(two / -1202.65, w == 2 ? 0.76 : 0.95);
        if (csv) { /* the same bias as the independent solver found */
            char row[64];
            snprintf(row, sizeof row, "\n0.001,%.1f,", windows[w]);
            const char *at = strstr(csv, row);
            cr_assert_not_null(at);
            double truth, estimate, bias;
            cr_assert_eq(sscanf(at + strlen(row), "%lf,%lf,%lf", &truth, &estimate, &bias), 3);
            cr_assert_float_eq(100 * (two / -1202.65 - 1), bias, 0.01);
        }
        syn_noise(s, 100, &seed);
        struct es_measured *m = leak_of(t, 0.5e-3, 293.15, plain);
        const struct es_measured *rate = valid(m, "pressure rate");
        cr_assert_float_eq(rate->value / -1202.65, 1, 0.01, "%g s: %.2f Pa/s", windows[w], rate->value);
        cr_assert_lt(fabs(rate->value + 1202.65), 1.5 * rate->U);
        free(m);
        es_trace_free(t);
    }
    free(csv);
}

/* dp/dt of 0.5 l filled from 6 bar gauge through C, b 0.3 (ISO 6358), isothermal at 20 degC. */
static double filling_rate(double p, double supply, double C)
{
    double r = p / supply, b = 0.3;
    double share = r <= b ? 1 : r >= 1 ? 0 : sqrt(1 - pow((r - b) / (1 - b), 2));
    return C * supply * share * 1e5 / 0.5e-3; /* rho0 R T0 taken as p0 */
}

static double filling_step(double p, double supply, double C, double h)
{
    double a = filling_rate(p, supply, C), b = filling_rate(p + h / 2 * a, supply, C);
    double c = filling_rate(p + h / 2 * b, supply, C), d = filling_rate(p + h * c, supply, C);
    return p + h / 6 * (a + 2 * b + 2 * c + d);
}

/* The integrator used here against closed form and DOP853 of the outside data (C 0.2, 1 bar to 6.01325). */
Test(leak, integrator_agrees_with_outside_data)
{
    size_t length;
    char *csv = outside_data("air/a_filling.csv", &length);
    if (!csv)
        cr_skip_test("data beside the checkout are not there");
    double p = 101325, t = 0, h = 1e-5;
    int checked = 0;
    for (char *line = strchr(csv, '\n'); line && line[1]; line = strchr(line + 1, '\n')) {
        double gauge, absolute, closed;
        if (sscanf(line + 1, "%lf,%lf,%lf", &gauge, &absolute, &closed) != 3 || gauge > 4.5)
            continue;
        for (; p < absolute * 1e5; t += h)
            p = filling_step(p, 601325, 0.2e-8, h);
        cr_assert_float_eq(t / closed, 1, 0.004, "%g bar: %.5f s, closed form %.5f", gauge, t, closed);
        checked++;
    }
    cr_assert_geq(checked, 6);
    free(csv);
}

/* A leak into the closed volume: straight while choked, then slowing. The rate at the beginning, whatever
 * part of the rise was recorded (lesson 3: a gross leak has no straight line). */
Test(leak, self_limiting_rise)
{
    static const double C[] = {1e-13, 1e-12, 1e-11, 5e-11}; /* m3/(s Pa): 1e-8 = 1 dm3/(s bar) */
    static const double allowed[] = {0.01, 0.01, 0.02, 0.1};
    for (int k = 0; k < 4; k++) {
        struct es_trace *t = syn_trace();
        struct es_series *s = syn_series(t, ES_ROLE_OUTPUT_1_PRESSURE, 601, 10);
        double p = 101325, truth = filling_rate(p, 501325, C[k]);
        uint64_t seed = 9;
        for (size_t i = 0; i < s->count; i++) {
            s->y[i] = p - 101325;
            for (int j = 0; j < 10; j++)
                p = filling_step(p, 501325, C[k], 0.01);
        }
        syn_noise(s, 1, &seed);
        struct es_measured *m = leak_of(t, 0.5e-3, 293.15, plain);
        const struct es_measured *rate = syn_output("relay leak", m, "pressure rate");
        if (rate->valid) {
            cr_assert_float_eq(rate->value / truth, 1, allowed[k], "C %g: %.4g of %.4g", C[k], rate->value,
                               truth);
            cr_assert_lt(fabs(rate->value - truth), 2.5 * rate->U, "C %g: %g +- %g, truth %g", C[k],
                         rate->value, rate->U, truth);
        } else {
            cr_assert_eq(k, 3, "C %g: %s", C[k], rate->reason);
        }
        free(m);
        es_trace_free(t);
    }
}

/* An independent least-squares analysis of t >= 20 s: -14.23 and -16.51 mbar/min, naive standard error 0.15.
 * Undisturbed repeats of such decays scattered by 3 mbar/min: the naive one is over-confident (lesson 1). */
static void expect_decay(const char *name, double slope)
{
    struct es_trace *t = real_decay(name);
    if (!t)
        cr_skip_test("data beside the checkout are not there");
    struct es_pressure_rate_input in = {.series = &t->series[0], .settle = 20, .driving = 0.5e5};
    struct es_pressure_rate r;
    cr_assert_eq(es_pressure_rate_of(&in, &r, NULL), ES_OK);
    cr_assert(r.valid, "%s", r.reason);
    double to_mbar_min = 60 / 100.0, u = sqrt(r.budget.square[0] + r.budget.square[1]) * to_mbar_min;
    cr_assert_float_eq(r.straight * to_mbar_min, slope, 0.006, "%.3f", r.straight * to_mbar_min);
    cr_assert_float_eq(r.rate * to_mbar_min, slope, 2 * u, "%.3f", r.rate * to_mbar_min);
    cr_assert_gt(u, 1.6 * 0.15);
    cr_assert_lt(u, 5);
    es_trace_free(t);
}

Test(leak, real_decay_1)
{
    expect_decay("pressure-decay/chamber-1.csv", -14.23);
}

Test(leak, real_decay_2)
{
    expect_decay("pressure-decay/chamber-2.csv", -16.51);
}

/* Empties to under 0.1 bar after some seconds shut: no straight line and no single slowing fall. */
Test(leak, real_gross_decay_is_refused)
{
    struct es_trace *t = real_decay("pressure-decay/chamber-3.csv");
    if (!t)
        cr_skip_test("data beside the checkout are not there");
    struct es_measured *m = leak_of(t, 0.5e-3, 293.15, "{\"tare\": \"none\"}");
    const struct es_measured *rate = syn_output("relay leak", m, "pressure rate");
    cr_assert_not(rate->valid);
    cr_assert_not_null(strstr(rate->reason, "no single rate"), "%s", rate->reason);
    free(m);
    es_trace_free(t);
}
