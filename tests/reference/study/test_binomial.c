/* Intervals of a counted share against published values. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/judgement/binomial.h"

static void expect(struct es_share s, double lower, double upper, double within)
{
    cr_expect_float_eq(s.lower, lower, within, "%zu/%zu: lower %.10f, published %.10f", s.k, s.n, s.lower,
                       lower);
    cr_expect_float_eq(s.upper, upper, within, "%zu/%zu: upper %.10f, published %.10f", s.k, s.n, s.upper,
                       upper);
}

/* Newcombe, Stat Med 17 (1998) 857, Table I, method 3 (second-hand). */
Test(study_binomial, wilson_as_newcombe)
{
    expect(es_share_wilson(81, 263, 0.95), 0.2553, 0.3662, 5e-5);
    expect(es_share_wilson(15, 148, 0.95), 0.0624, 0.1605, 5e-5);
    expect(es_share_wilson(0, 20, 0.95), 0, 0.1611, 5e-5);
    expect(es_share_wilson(1, 29, 0.95), 0.0061, 0.1718, 5e-5);
}

/* The same table, method 5 (from memory, recomputed). */
Test(study_binomial, clopper_pearson_as_newcombe)
{
    expect(es_share_clopper_pearson(81, 263, 0.95), 0.2527, 0.3676, 5e-5);
    expect(es_share_clopper_pearson(15, 148, 0.95), 0.0578, 0.1617, 5e-5);
    expect(es_share_clopper_pearson(0, 20, 0.95), 0, 0.1684, 5e-5);
    expect(es_share_clopper_pearson(1, 29, 0.95), 0.0009, 0.1776, 5e-5);
}

/* R, help page of binom.test: 682 of 925 (Conover 1971) (recomputed). */
Test(study_binomial, clopper_pearson_as_r)
{
    expect(es_share_clopper_pearson(682, 925, 0.95), 0.7076682641, 0.7654065582, 1e-10);
}

/* Recomputed with an independent library. */
Test(study_binomial, clopper_pearson_small)
{
    expect(es_share_clopper_pearson(4, 20, 0.95), 0.0573339971, 0.4366140030, 1e-10);
    expect(es_share_clopper_pearson(0, 10, 0.95), 0, 0.3084971078, 1e-10);
    expect(es_share_clopper_pearson(10, 10, 0.95), 1 - 0.3084971078, 1, 1e-10);
}

/* 1 - (alpha/2)^(1/n): closed form for no failure, at sizes where doubles begin to hurt. */
Test(study_binomial, none_of_many_in_closed_form)
{
    for (size_t n = 1; n < 10000000; n *= 10) {
        const double exact = -expm1(log(0.025) / (double)n);
        cr_expect_float_eq(es_share_clopper_pearson(0, n, 0.95).upper / exact, 1, 1e-9, "n = %zu", n);
    }
}

Test(study_binomial, nothing_counted_says_nothing)
{
    const struct es_share s = es_share_clopper_pearson(0, 0, 0.95), wrong = es_share_wilson(3, 2, 0.95);
    cr_expect(isnan(s.share) && s.lower == 0 && s.upper == 1);
    cr_expect(isnan(wrong.share));
}

/* Zero failures: 59 for 95/95, 22 for 90/90, 29 for 90 % at 95 % (recomputed; well-known figures). */
Test(study_binomial, trials_without_failure)
{
    cr_expect_eq(es_trials_without_failure(0.95, 0.95), 59);
    cr_expect_eq(es_trials_without_failure(0.90, 0.90), 22);
    cr_expect_eq(es_trials_without_failure(0.90, 0.95), 29);
    cr_expect_eq(es_trials_without_failure(0.1, 0.9), 1);
    cr_expect_eq(es_trials_without_failure(1, 0.95), 0);
}
