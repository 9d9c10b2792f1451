/* Distributions that JCGM 100 does not carry, against closed forms. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/measures/numeric/student.h"
#include "procedures/measures/propagate.h"

static struct es_measured value_of(double value, double u, double half_width, struct es_budget *b)
{
    struct es_measured m;
    *b = (struct es_budget){0};
    es_measured_start(&m, "y", ES_DIM_RATIO);
    es_budget_add(b, ES_TERM_REPEAT, u, INFINITY);
    es_budget_add(b, ES_TERM_REPEAT, es_rectangular(half_width), INFINITY);
    es_measured_set(&m, value, b);
    return m;
}

static void propagate(struct es_measured *m, uint64_t seed)
{
    struct es_error err = {0};
    const struct es_draws draws = {seed, 0};
    cr_assert_eq(es_measured_propagate(m, &draws, &err), ES_OK, "%s", err.text);
}

/* P(N(0, s) + R(-a, a) <= x) = s/(2a) (G((x + a)/s) - G((x - a)/s)), G(z) = z Phi(z) + phi(z). */
static double g(double z)
{
    return z * es_normal_cumulative(z) + exp(-0.5 * z * z) / sqrt(2 * acos(-1));
}

static double sum_below(double x, double s, double a)
{
    return s / (2 * a) * (g((x + a) / s) - g((x - a) / s));
}

Test(propagate, a_rectangle_that_dominates_has_a_shorter_interval)
{
    static const double rows[][2] = {{0.01, 1}, {0.2, 1}, {0.4, 1}};
    for (size_t i = 0; i < 3; i++) {
        double s = rows[i][0], a = rows[i][1];
        struct es_budget b;
        struct es_measured m = value_of(5, s, a, &b);
        double linear = m.U;
        es_model_sum(&m, &b, ES_TERM_REPEAT, a);
        propagate(&m, 1);
        cr_assert_gt(m.spread.trials, 29999);
        cr_expect_float_eq(m.value, 5, 0.01);
        cr_expect_float_eq(m.u, hypot(s, a / sqrt(3)), 0.006);
        cr_expect_lt(m.U, linear);
        cr_expect_float_eq(sum_below(m.spread.high - 5, s, a), 0.975, 0.006);
        cr_expect_float_eq(sum_below(m.spread.low - 5, s, a), 0.025, 0.006);
        cr_expect_float_eq(m.k * m.u, m.U, 1e-12);
        for (int k = -4; k <= 4; k++) {
            double x = 0.25 * k;
            cr_expect_float_eq(es_spread_below(&m.spread, 5 + x), sum_below(x, s, a), 0.006, "%g %g", s, x);
        }
    }
}

Test(propagate, a_rectangle_that_does_not_matter_leaves_everything_as_it_was)
{
    struct es_budget b;
    struct es_measured m = value_of(5, 1, 1, &b), before = m; /* u 1 and 0.58: no trial is needed */
    es_model_sum(&m, &b, ES_TERM_REPEAT, 1);
    cr_expect(es_model_is_plain(&m));
    propagate(&m, 1);
    cr_expect_eq(m.spread.trials, 0);
    cr_expect(m.value == before.value && m.U == before.U && m.dof == before.dof);
    /* the bound in propagate.c: at 0.7 the ends differ by less than 0.02 u, by the closed form */
    double a = 0.7 * sqrt(3), u = hypot(1, 0.7);
    cr_expect_lt(sum_below((1.96 - 0.03) * u, 1, a), 0.975);
    cr_expect_gt(sum_below((1.96 + 0.01) * u, 1, a), 0.975);
}

/* What is validated keeps JCGM 100's numbers to the last bit: the ends differ by 0.02 (closed form), delta is
 * 0.05. */
Test(propagate, validated_values_keep_jcgm_100)
{
    struct es_budget b;
    struct es_measured m = value_of(3, 0.7, 1, &b), before = m;
    es_model_sum(&m, &b, ES_TERM_REPEAT, 1);
    cr_assert_not(es_model_is_plain(&m), "trials are made");
    propagate(&m, 1);
    cr_expect_eq(m.spread.trials, 0, "and show that they were not needed");
    cr_expect(m.value == before.value && m.u == before.u && m.U == before.U);
}

Test(propagate, a_size_near_zero_is_folded)
{
    struct es_budget b = {0};
    struct es_measured m;
    es_measured_start(&m, "y", ES_DIM_RATIO);
    es_budget_add(&b, ES_TERM_COMMON, 0.1, INFINITY);
    es_measured_set(&m, 0, &b);
    es_model_size(&m, 0, &b);
    propagate(&m, 3);
    /* half-normal: mean sqrt(2/pi) s, sd sqrt(1 - 2/pi) s, quantile p at Phi^-1((1 + p)/2) s */
    cr_expect_float_eq(m.value, 0.1 * sqrt(2 / acos(-1)), 0.001);
    cr_expect_float_eq(m.u, 0.1 * sqrt(1 - 2 / acos(-1)), 0.001);
    cr_expect_float_eq(m.spread.low, 0.1 * es_normal_quantile(0.5125), 0.001);
    cr_expect_float_eq(m.spread.high, 0.1 * es_normal_quantile(0.9875), 0.002);
    cr_expect_float_eq(m.U, m.spread.high - m.value, 1e-12);
    es_measured_set(&m, 1, &b);
    es_model_size(&m, -1, &b);
    cr_expect(es_model_is_plain(&m), "10 u from zero");
}

Test(propagate, a_ratio_with_an_uncertain_divisor)
{
    struct es_budget a = {0}, b = {0}, c = {0};
    struct es_measured m;
    es_measured_start(&m, "y", ES_DIM_RATIO);
    es_budget_add(&a, ES_TERM_REPEAT, 0.001, INFINITY);
    es_budget_add(&b, ES_TERM_COMMON, 0.2, INFINITY);
    es_budget_add(&c, ES_TERM_COMMON, 0.2, INFINITY);
    es_measured_set(&m, 1, &c);
    es_model_ratio(&m, 1, &a, 1, &b);
    propagate(&m, 4);
    /* 1 / N(1, 0.2): the quantiles are those of the divisor, turned over */
    cr_expect_float_eq(m.spread.low, 1 / (1 + 1.959964 * 0.2), 0.005);
    cr_expect_float_eq(m.spread.high, 1 / (1 - 1.959964 * 0.2), 0.03);
    cr_expect_gt(m.spread.high - m.value, 1.5 * (m.value - m.spread.low), "not symmetric");
    es_measured_set(&m, 0, &c);
    es_model_ratio(&m, 0, &b, 10, &a); /* the numerator is nothing but noise: half of it lies below zero */
    propagate(&m, 4);
    cr_expect_eq(m.spread.low, 0);
    cr_expect_float_eq(m.spread.high, 0.1959964 * 0.2, 0.001);
    cr_expect_float_eq(es_spread_above(&m.spread, 0.02), es_normal_cumulative(-1), 0.004);
    es_measured_set(&m, 1, &c);
    es_model_ratio(&m, 1, &a, 0.7, &b);
    propagate(&m, 4);
    cr_expect_not(m.valid, "a divisor 3.5 u from zero");
}

Test(propagate, seeds_follow_from_names_and_bits_from_seeds)
{
    struct es_budget b;
    struct es_measured first = value_of(5, 0.1, 1, &b), again, other;
    es_model_sum(&first, &b, ES_TERM_REPEAT, 1);
    again = other = first;
    propagate(&first, es_seed_of(9, "leak", "flow of output 1", "flow"));
    propagate(&again, es_seed_of(9, "leak", "flow of output 1", "flow"));
    propagate(&other, es_seed_of(10, "leak", "flow of output 1", "flow"));
    cr_expect_eq(first.spread.trials, again.spread.trials);
    cr_expect_eq(memcmp(first.spread.at, again.spread.at, sizeof first.spread.at), 0);
    cr_expect(first.spread.low == again.spread.low && first.spread.high == again.spread.high);
    cr_expect(first.value == again.value && first.U == again.U);
    cr_expect(first.value != other.value);
    cr_expect_neq(es_seed_of(9, "ab", "c", "d"), es_seed_of(9, "a", "bc", "d"));
    cr_expect_neq(es_seed_of(9, "a", "b", "c"), es_seed_of(9, "a", "b", "d"));
}

Test(propagate, few_trials_are_told)
{
    struct es_budget b;
    struct es_measured m = value_of(5, 0.1, 1, &b);
    struct es_error err = {0};
    const struct es_draws few = {1, 10000};
    es_model_sum(&m, &b, ES_TERM_REPEAT, 1);
    cr_assert_eq(es_measured_propagate(&m, &few, &err), ES_OK);
    cr_expect_eq(m.spread.trials, 10000);
    cr_expect_not(m.spread.stable);
    es_measured_refuse(&m, "no");
    cr_assert_eq(es_measured_propagate(&m, &few, &err), ES_OK);
    cr_expect_not(m.valid);
}

Test(propagate, quantiles_and_probabilities_are_inverse)
{
    struct es_budget b;
    struct es_measured m = value_of(0, 0.1, 1, &b);
    es_model_sum(&m, &b, ES_TERM_REPEAT, 1);
    propagate(&m, 2);
    static const double p[] = {1e-6, 0.001, 0.01, 0.3, 0.5, 0.9, 0.999};
    for (size_t i = 0; i < 7; i++) {
        double x = es_spread_quantile(&m.spread, p[i]);
        cr_expect_float_eq(es_spread_below(&m.spread, x) / p[i], 1, 1e-9, "%g", p[i]);
        cr_expect_float_eq(es_spread_above(&m.spread, x) / (1 - p[i]), 1, 1e-9);
    }
}
