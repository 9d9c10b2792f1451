/* Judgement against published figures. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/judgement/judge.h"
#include "procedures/measures/numeric/student.h"

/* JCGM 106:2012 clauses 7.3 and 7.4, worked examples (figures from memory, computed again from the normal
 * distribution; the document prints 0.92, 0.99 and 0.66). */
Test(jcgm_106, clause_7_conformance_probabilities)
{
    cr_expect_float_eq(es_conformance_probability(-5.47, 0.05, INFINITY, -INFINITY, -5.40), 0.919243, 5e-7);
    cr_expect_float_eq(es_conformance_probability(509.7, 8.6, INFINITY, 490, INFINITY), 0.989010, 5e-7);
    cr_expect_float_eq(es_conformance_probability(13.6, 1.8, INFINITY, 12.5, 16.3), 0.662630, 5e-7);
}

/* ILAC-G8:09/2019, table of guard bands w = r U: probability of false acceptance of a value exactly on the
 * acceptance limit (percentages from memory, computed again; U = 2 u, normal distribution). */
Test(ilac_g8, guard_band_table)
{
    static const struct {
        double r, probability, printed_bound;
    } rows[] = {{3, 9.865876e-10, 1e-6},
                {1.5, 1.349898e-3, 1.6e-3},
                {1, 2.275013e-2, 2.5e-2},
                {0.83, 4.845723e-2, 5e-2},
                {0, 0.5, 0.5}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct es_limit limit = {.lower = -INFINITY,
                                 .upper = 10,
                                 .unit = es_unit_find("mm", 2),
                                 .rule = ES_RULE_GUARDED,
                                 .guard_factor = rows[i].r};
        double u = 0.125;
        double on_limit = 10 - rows[i].r * 2 * u;
        struct es_judgement j = es_judge(on_limit, u, INFINITY, 2 * u, &limit);
        cr_expect_eq(j.verdict, ES_PASS);
        cr_expect_float_eq(j.false_acceptance / rows[i].probability, 1, 1e-6, "r = %g: %g", rows[i].r,
                           j.false_acceptance);
        cr_expect_leq(j.false_acceptance, rows[i].printed_bound);
    }
}

/* ILAC-G8:09/2019 4.2.2: w = U at 95 % promises less than 2.5 % on a one-sided limit. With U = t_0.975(dof) u
 * (JCGM 100 table G.2) this holds with equality for any degrees of freedom only under the t distribution. */
Test(ilac_g8, guard_band_of_U_gives_2_5_percent_for_any_dof)
{
    static const struct {
        double dof, k;
    } rows[] = {{1, 12.7062}, {2, 4.3027},  {4, 2.7764},       {10, 2.2281},
                {16, 2.1199}, {50, 2.0086}, {INFINITY, 1.9600}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double p = es_false_acceptance(10 - rows[i].k, 1, rows[i].dof, -INFINITY, 10);
        cr_expect_float_eq(p, 0.025, 2e-5, "dof %g: %g", rows[i].dof, p);
    }
}

/* JCGM 106:2012 8.3 (speed limit): 100 km/h, relative u 2 %, 99.9 %: readings from 107 km/h on are beyond
 * doubt (figure from memory, computed again: 106.59). */
Test(jcgm_106, clause_8_3_speed_limit)
{
    double v = 106.59;
    cr_expect_float_eq(es_conformance_probability(v, 0.02 * v, INFINITY, 100, INFINITY), 0.999, 2e-5);
}

Test(probability, both_sides_add_up_and_small_tails_keep_their_digits)
{
    for (double y = -3; y <= 6; y += 0.37) {
        double inside = es_conformance_probability(y, 0.5, 7, 0, 3);
        double outside = es_false_acceptance(y, 0.5, 7, 0, 3);
        cr_expect_float_eq(inside + outside, 1, 1e-13, "y = %g", y);
    }
    /* Phi(-10) = 7.6198530241605e-24 (Abramowitz and Stegun table 26.2: -log10 Q(10) = 23.11805) */
    double far = es_false_acceptance(0, 1, INFINITY, -INFINITY, 10);
    cr_expect_float_eq(-log10(far), 23.11805, 5e-6);
    double far_outside = es_conformance_probability(10, 1, INFINITY, -INFINITY, 0);
    cr_expect_float_eq(far_outside / 7.6198530241605e-24, 1, 1e-12);
}

/* ---- Global risk ---- */

static const struct es_interval unit_limits = {-1, 1};

/* JCGM 106:2012 9.5.4, ball bearings (prior, limit and u read in an open-source notebook that works the
 * example): gamma prior with shape 4 and scale 1/4 um, limit 2 um, u 0.25 um: 4.2 % of the bearings do not
 * conform, the consumer's risk is 0.8 % under simple acceptance, and 0.1 % with an acceptance limit of
 * 1.671829 um (recomputed with scipy). */
Test(jcgm_106, clause_9_5_4_ball_bearings)
{
    const struct es_prior prior = {ES_PRIOR_GAMMA, 4, 0.25};
    const struct es_interval tolerance = {-INFINITY, 2}, guarded = {-INFINITY, 1.671829};
    struct es_global_risk r = es_global_risk_of(&prior, 0.25, tolerance, tolerance);
    cr_assert(r.valid);
    cr_expect_float_eq(r.non_conforming, 0.04238011, 5e-9, "%.10f", r.non_conforming);
    cr_expect_float_eq(r.consumer, 0.00801911, 5e-9, "%.10f", r.consumer);
    r = es_global_risk_of(&prior, 0.25, tolerance, guarded);
    cr_expect_float_eq(r.consumer, 0.001, 5e-9, "%.10f", r.consumer);
    const struct es_prior made = es_prior_gamma_of(1, 0.5);
    cr_expect(made.a == 4 && made.b == 0.25);
}

/* Normal prior of standard deviation s, limits +-1, test uncertainty u (recomputed with scipy; the first
 * is the 0.8 % and 1.5 % of textbook tables for a test uncertainty a quarter of the prior's standard
 * deviation). */
Test(jcgm_106, global_risk_of_a_normal_prior)
{
    static const struct {
        double s, u, accepted, consumer, producer;
    } rows[] = {{0.5, 0.125, 1, 0.00800608, 0.01485088},
                {0.4, 0.1, 1, 0.00244535, NAN},
                {0.5, 0.25, 0.91, 0.00805161, 0.06610645}};
    for (size_t i = 0; i < 3; i++) {
        const struct es_prior prior = {ES_PRIOR_NORMAL, 0, rows[i].s};
        const struct es_interval accepted = {-rows[i].accepted, rows[i].accepted};
        struct es_global_risk r = es_global_risk_of(&prior, rows[i].u, unit_limits, accepted);
        cr_expect_float_eq(r.consumer, rows[i].consumer, 5e-9, "row %zu: %.10f", i, r.consumer);
        if (isfinite(rows[i].producer))
            cr_expect_float_eq(r.producer, rows[i].producer, 5e-9, "row %zu: %.10f", i, r.producer);
    }
}

/* Shares of conforming units against the consumer's risk with u a quarter of the prior's standard deviation
 * (a draft table of a calibration practice, read in the tests of an open-source library; scipy gives
 * 1.59995353 and 0.87101019 where it has 1.599953 and 0.871009). */
Test(jcgm_106, consumer_risk_by_share_of_conforming_units)
{
    static const double rows[][2] = {{0.60, 4.838603}, {0.70, 3.922341}, {0.80, 2.855831},
                                     {0.90, 1.599953}, {0.95, 0.871009}, {0.99, 0.199917}};
    for (size_t i = 0; i < 6; i++) {
        /* two-sided limits +-1 hold this share */
        double s = 1 / es_normal_quantile(0.5 + rows[i][0] / 2);
        const struct es_prior prior = {ES_PRIOR_NORMAL, 0, s};
        struct es_global_risk r = es_global_risk_of(&prior, s / 4, unit_limits, unit_limits);
        cr_expect_float_eq(1 - r.non_conforming, rows[i][0], 1e-9);
        cr_expect_float_eq(100 * r.consumer, rows[i][1], 2e-6, "%g: %.8f", rows[i][0], 100 * r.consumer);
    }
}

/* What follows from the definition, and what makes no sense. */
Test(jcgm_106, global_risk_at_its_ends)
{
    const struct es_prior prior = {ES_PRIOR_NORMAL, 0, 0.5}, none = {ES_PRIOR_NONE, 0, 1};
    struct es_global_risk r = es_global_risk_of(&prior, 0, unit_limits, unit_limits);
    cr_expect_eq(r.consumer, 0, "measured without uncertainty");
    cr_expect_lt(r.producer, 1e-12);
    cr_expect_float_eq(r.non_conforming, 0.0455002639, 1e-9);
    r = es_global_risk_of(&prior, 100, unit_limits, (struct es_interval){-INFINITY, INFINITY});
    cr_expect_float_eq(r.consumer, 0.0455002639, 1e-9, "everything is accepted");
    r = es_global_risk_of(&prior, 0.1, unit_limits, (struct es_interval){1, -1});
    cr_expect_eq(r.consumer, 0, "nothing is accepted");
    cr_expect_float_eq(r.producer, 1 - 0.0455002639, 1e-9);
    cr_expect_not(es_global_risk_of(&none, 0.1, unit_limits, unit_limits).valid);
    cr_expect(isnan(es_global_risk_of(&prior, NAN, unit_limits, unit_limits).consumer));
}
