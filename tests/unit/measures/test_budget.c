/* Terms of a budget against brute force: what the steps of a reading leave in a mean. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/budget.h"
#include "procedures/measures/propagate.h"

#define OFFSETS 200
#define REACH   12 /* steps to either side of the value */

/* Mean and standard deviation of readings in steps of 1 of the value x beside normal noise, by the exact
 * probability of each reading. */
static void readings(double x, double noise, double *mean, double *s)
{
    double sum = 0, square = 0;
    for (int k = -REACH; k <= REACH; k++) {
        double wide = noise * sqrt(2.0), p = 0.5 * (erf((k + 0.5 - x) / wide) - erf((k - 0.5 - x) / wide));
        sum += p * k;
        square += p * k * k;
    }
    *mean = sum;
    *s = sqrt(fmax(0, square - sum * sum));
}

/* Over values evenly spread in a step: root mean square of what the mean is off, and of the scatter. */
static double off(double noise, double *scatter)
{
    double square = 0, variance = 0;
    for (int i = 0; i < OFFSETS; i++) {
        double x = (i + 0.5) / OFFSETS - 0.5, mean, s;
        readings(x, noise, &mean, &s);
        square += (mean - x) * (mean - x) / OFFSETS;
        variance += s * s / OFFSETS;
    }
    *scatter = sqrt(variance);
    return sqrt(square);
}

Test(resolution, beside_noise_it_is_what_brute_force_finds)
{
    for (int k = 0; k < 8; k++) {
        double noise = 0.42 + 0.06 * k, s, u = off(noise, &s);
        /* 0.3 %: s^2 is less than sigma^2 + 1/12 by u^2, which es_resolution_u does not take off */
        cr_expect_float_eq(es_resolution_u(1, s), u, 0.003 * u, "noise %.2f: %.3g against %.3g", noise,
                           es_resolution_u(1, s), u);
        cr_expect_float_eq(es_resolution_u(1e-3, 1e-3 * s), 1e-3 * u, 3e-6 * u);
    }
}

Test(resolution, without_noise_it_is_a_step)
{
    cr_expect_float_eq(es_resolution_u(1, 0), 1 / sqrt(12), 1e-12);
    cr_expect_float_eq(es_resolution_u(1, NAN), 1 / sqrt(12), 1e-12);
    cr_expect_eq(es_resolution_u(0, 1), 0);
    double last = 1;
    for (int k = 0; k < 1200; k++) {
        double s = 0.001 * k;
        cr_expect(es_resolution_u(1, s) <= last, "more noise, more doubt: at %.3f", s);
        last = es_resolution_u(1, s);
    }
}

/* Readings of two neighbours say little of the noise: over noises that are equally probable in each ratio,
 * from a hundredth of a step on, and values evenly spread, what the mean is off where the readings scatter by
 * about s. */
Test(resolution, of_two_neighbours_as_brute_force_finds)
{
    enum { BINS = 9 };
    double square[BINS] = {0};
    size_t n[BINS] = {0};
    for (int k = 0; k < 268; k++)
        for (int i = 0; i < OFFSETS; i++) {
            double x = (i + 0.5) / OFFSETS - 0.5, noise = 0.01 * pow(1.02, k), mean, s;
            readings(x, noise, &mean, &s);
            size_t bin = (size_t)(s * 20);
            if (bin < BINS) {
                square[bin] += (mean - x) * (mean - x);
                n[bin]++;
            }
        }
    for (size_t b = 1; b < BINS; b++) {
        double u = es_resolution_u(1, ((double)b + 0.5) / 20), found = sqrt(square[b] / (double)n[b]);
        cr_expect(found > 0.8 * u && found < 1.1 * u, "scatter %.3f: %.3f against %.3f",
                  ((double)b + 0.5) / 20, u, found);
    }
}

/* 95 % of a rectangle alone are 1.645 u (0.95 sqrt 3): the widest of a budget reaches JCGM 101 by itself. */
Test(rectangle, is_stated_to_monte_carlo)
{
    const struct es_draws draws = {.seed = 5};
    struct es_error err;
    struct es_measured m;
    struct es_budget b = {0};
    es_measured_start(&m, "value", ES_DIM_TIME);
    es_budget_add_rectangle(&b, ES_TERM_COMMON, 0.01);
    es_budget_add_rectangle(&b, ES_TERM_REPEAT, -1);
    es_budget_add(&b, ES_TERM_REPEAT, 0.02, 10);
    es_measured_set(&m, 7, &b);
    cr_assert_float_eq(m.u, sqrt(1 / 3.0 + 1e-4 / 3 + 4e-4), 1e-9);
    cr_expect_gt(m.k, 1.95);
    cr_assert_eq(es_measured_propagate(&m, &draws, &err), ES_OK);
    cr_expect_float_eq(m.k, 1.645, 0.02, "%g", m.k);
    cr_expect_gt(m.spread.trials, 0);
}
