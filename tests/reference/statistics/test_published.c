/* Statistics against published values. Sources beside each check; "from memory" where it is. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/statistics/sampling.h"
#include "results/statistics/statistics.h"

static void near(double found, double expected, double tolerance, const char *what)
{
    cr_assert(fabs(found - expected) <= tolerance, "%s: %.10g, expected %.10g", what, found, expected);
}

/* NIST/SEMATECH e-Handbook 6.3.2.2, ten batches; the handbook divides by d2 = 1.128, we by 2/sqrt(pi). */
Test(published, individuals_and_moving_ranges)
{
    const double values[] = {49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
    uint32_t signals[10];
    struct es_control_chart chart;
    struct es_error err;
    cr_assert_eq(es_control_chart(values, 10, 0, ES_RUN_RULES_ALL, signals, &chart, &err), ES_OK);
    near(chart.centre, 50.81, 1e-12, "mean");
    near(chart.range_mean, 1.8778, 5e-5, "mean moving range");
    near(chart.centre + 3 * chart.range_mean / 1.128, 55.8041, 5e-5, "UCL with the handbook's d2");
    near(chart.centre - 3 * chart.range_mean / 1.128, 45.8159, 5e-5, "LCL with the handbook's d2");
    near(chart.upper, 55.802412, 5e-7, "UCL with the exact d2");
    near(chart.lower, 45.817588, 5e-7, "LCL with the exact d2");
    cr_assert_eq(chart.signals, 0u); /* the handbook finds the process in control */
}

/* Pyzdek, Table 9.4 (2.66 for 3/d2), and his jets set. */
Test(published, pyzdek)
{
    const double values[] = {110, 103, 97,  96, 105, 110, 100, 93, 90,  103, 97,  103, 90,
                             97,  99,  106, 90, 96,  109, 90,  91, 108, 96,  101, 96};
    const double jets[] = {78.4, 80.1, 84.4, 79.1, 80.4, 83.5, 73.8, 83.5, 75.0, 76.8,
                           70.5, 80.3, 82.4, 79.4, 86.4, 90.5, 77.7, 82.5, 79.9, 83.2};
    struct es_control_chart chart;
    struct es_error err;
    cr_assert_eq(es_control_chart(values, 25, 0, ES_RUN_RULES_ALL, NULL, &chart, &err), ES_OK);
    near(chart.centre, 99.04, 1e-12, "mean");
    near(chart.range_mean, 8.166667, 5e-7, "mean moving range");
    near(chart.centre + 2.66 * chart.range_mean, 120.7633, 5e-5, "UCL");
    near(chart.centre - 2.66 * chart.range_mean, 77.3167, 5e-5, "LCL");
    cr_assert_eq(es_control_chart(jets, 20, 0, ES_RUN_RULES_ALL, NULL, &chart, &err), ES_OK);
    near(chart.upper, 94.550973, 5e-7, "UCL of the jets");
    near(chart.lower, 66.229027, 5e-7, "LCL of the jets");
}

/* Values about 0 with a mean range of 1.128 sigma each way: rules of the e-Handbook 6.3.2 one by one. The
 * first eight fix centre 0 and sigma; what follows makes the pattern. */
static uint32_t signals_at_end(const double *tail, size_t count)
{
    double values[40] = {1, -1, 1, -1, 1, -1, 1, -1};
    uint32_t signals[40];
    struct es_control_chart chart;
    struct es_error err;
    memcpy(values + 8, tail, count * sizeof *tail);
    cr_assert_eq(es_control_chart(values, 8 + count, 8, ES_RUN_RULES_ALL, signals, &chart, &err), ES_OK);
    near(chart.centre, 0, 1e-12, "centre");
    near(chart.sigma, 2 / ES_CHART_D2, 1e-12, "sigma"); /* 1.7725 */
    return signals[7 + count];
}

Test(published, each_run_rule)
{
    cr_assert(signals_at_end((double[]){5.4}, 1) & ES_RUN_BEYOND_3);
    cr_assert_not(signals_at_end((double[]){5.2}, 1) & ES_RUN_BEYOND_3);
    cr_assert(signals_at_end((double[]){3.6, 0.1, 3.7}, 3) & ES_RUN_2_OF_3);
    cr_assert_not(signals_at_end((double[]){3.6, 0.1, -3.7}, 3) & ES_RUN_2_OF_3);
    cr_assert(signals_at_end((double[]){1.8, 1.9, 0.1, 1.8, 1.9}, 5) & ES_RUN_4_OF_5);
    cr_assert_not(signals_at_end((double[]){1.8, 1.7, 0.1, 1.8, 1.9}, 5) & ES_RUN_4_OF_5);
    cr_assert(signals_at_end((double[]){1, 2, 1, 2, 1, 2, 1, 1}, 8) & ES_RUN_8_SAME_SIDE);
    cr_assert_not(signals_at_end((double[]){1, 2, 1, 0, 1, 2, 1, 1}, 8) & ES_RUN_8_SAME_SIDE);
    cr_assert(signals_at_end((double[]){-2, -1.5, -1, 0.5, 1, 1.5}, 6) & ES_RUN_6_TREND);
    cr_assert_not(signals_at_end((double[]){-2, -1.5, -1.5, 0.5, 1, 1.5}, 6) & ES_RUN_6_TREND);
    cr_assert(signals_at_end((double[]){1, -1, 1, -1, 1, -1}, 6) & ES_RUN_14_ALTERNATE);
    cr_assert_not(signals_at_end((double[]){1, -1, 1, 1, 1, -1}, 6) & ES_RUN_14_ALTERNATE);
    cr_assert(signals_at_end((double[]){4, -3}, 2) & ES_RUN_RANGE);
    cr_assert_not(signals_at_end((double[]){3, -3}, 2) & ES_RUN_RANGE);
}

/* e-Handbook 6.1.6. */
Test(published, capability)
{
    struct es_capability found = es_capability(16, 2, 8, 20);
    near(found.cp, 1.0, 1e-12, "Cp");
    near(found.cpk, 0.6667, 5e-5, "Cpk");
    near(es_capability(16, 2, 8, INFINITY).cpk, 1.3333, 5e-5, "Cpl");
}

/* ISO 13528 9.7 by its definition: |E_n| = 1 where the difference equals the uncertainty of the difference.
 */
Test(published, en_number)
{
    near(es_en_number(10.5, 0.3, 10.0, 0.4), 1.0, 1e-12, "En");
    near(es_en_number(9.0, 0.3, 10.0, 0.4), -2.0, 1e-12, "En");
    cr_assert(isinf(es_en_number(1, 0, 2, 0)));
    near(es_en_number(2, 0, 2, 0), 0, 0, "En of equal values");
    cr_assert(isnan(es_en_number(NAN, 1, 2, 1)));
    cr_assert(isnan(es_en_number(1, -1, 2, 1)));
}

struct lot {
    size_t lot;
    double aql;
    char letter;
    size_t n, accept;
};

/* ISO 2859-1:1999: letters of lots 151 to 3200 at level II and J at AQL 1.0 as read in a published copy; the
 * rest of the tables from memory. */
Test(published, sampling_plans)
{
    static const struct lot lots[] = {
        {501, 1.0, 'J', 80, 2},      {1200, 1.0, 'J', 80, 2},    {280, 1.0, 'H', 50, 1},
        {500, 1.0, 'H', 50, 1},      {3200, 1.0, 'K', 125, 3},   {1201, 0.65, 'K', 125, 2},
        {90, 1.0, 'E', 13, 0},       {100, 1.0, 'E', 13, 0},     {200, 2.5, 'G', 32, 2},
        {30, 2.5, 'C', 5, 0},        {1000, 0.10, 'K', 125, 0},  {60, 10, 'E', 13, 3},
        {400000, 4.0, 'M', 315, 21}, {400000, 1.0, 'P', 800, 14}};
    for (size_t i = 0; i < sizeof lots / sizeof lots[0]; i++) {
        struct es_sampling_plan plan;
        struct es_error err;
        cr_assert_eq(es_sampling_iso2859(lots[i].lot, ES_LEVEL_II, lots[i].aql, &plan, &err), ES_OK);
        cr_assert(plan.letter == lots[i].letter && plan.n == lots[i].n && plan.accept == lots[i].accept,
                  "lot %zu at %g: %c %zu %zu", lots[i].lot, lots[i].aql, plan.letter, plan.n, plan.accept);
    }
    struct es_sampling_plan small;
    struct es_error err;
    cr_assert_eq(es_sampling_iso2859(10, ES_LEVEL_II, 0.10, &small, &err), ES_OK);
    cr_assert(small.whole_lot && small.n == 10);
    cr_assert_eq(es_sampling_iso2859(1, ES_LEVEL_II, 1.0, &small, &err), ES_RANGE);
    cr_assert_eq(es_sampling_iso2859(100, ES_LEVEL_II, 1.1, &small, &err), ES_RANGE);
}

/* Tables I and II-A of MIL-STD-105E (1989, public domain), from which the tables of ISO 2859-1 come, as read
 * in a public transcription: sample and acceptance number for each code letter and AQL, arrows followed.
 * Level III, so that every letter occurs. */
static const char *const table_rows[16] = {
    /* n/Ac */
    "1250/0 800/0 500/0 315/0 200/0 125/0 80/0 50/0 32/0 20/0 13/0 8/0 5/0 3/0 2/0 5/1",
    "1250/0 800/0 500/0 315/0 200/0 125/0 80/0 50/0 32/0 20/0 13/0 8/0 5/0 3/0 2/0 5/1",
    "1250/0 800/0 500/0 315/0 200/0 125/0 80/0 50/0 32/0 20/0 13/0 8/0 5/0 3/0 8/1 5/1",
    "1250/0 800/0 500/0 315/0 200/0 125/0 80/0 50/0 32/0 20/0 13/0 8/0 5/0 13/1 8/1 8/2",
    "1250/0 800/0 500/0 315/0 200/0 125/0 80/0 50/0 32/0 20/0 13/0 8/0 20/1 13/1 13/2 13/3",
    "1250/0 800/0 500/0 315/0 200/0 125/0 80/0 50/0 32/0 20/0 13/0 32/1 20/1 20/2 20/3 20/5",
    "1250/0 800/0 500/0 315/0 200/0 125/0 80/0 50/0 32/0 20/0 50/1 32/1 32/2 32/3 32/5 32/7",
    "1250/0 800/0 500/0 315/0 200/0 125/0 80/0 50/0 32/0 80/1 50/1 50/2 50/3 50/5 50/7 50/10",
    "1250/0 800/0 500/0 315/0 200/0 125/0 80/0 50/0 125/1 80/1 80/2 80/3 80/5 80/7 80/10 80/14",
    "1250/0 800/0 500/0 315/0 200/0 125/0 80/0 200/1 125/1 125/2 125/3 125/5 125/7 125/10 125/14 125/21",
    "1250/0 800/0 500/0 315/0 200/0 125/0 315/1 200/1 200/2 200/3 200/5 200/7 200/10 200/14 200/21 125/21",
    "1250/0 800/0 500/0 315/0 200/0 500/1 315/1 315/2 315/3 315/5 315/7 315/10 315/14 315/21 200/21 125/21",
    "1250/0 800/0 500/0 315/0 800/1 500/1 500/2 500/3 500/5 500/7 500/10 500/14 500/21 315/21 200/21 125/21",
    "1250/0 800/0 500/0 1250/1 800/1 800/2 800/3 800/5 800/7 800/10 800/14 800/21 500/21 315/21 200/21 "
    "125/21",
    "1250/0 800/0 2000/1 1250/1 1250/2 1250/3 1250/5 1250/7 1250/10 1250/14 1250/21 800/21 500/21 315/21 "
    "200/21 125/21",
    "1250/0 800/0 2000/1 2000/2 2000/3 2000/5 2000/7 2000/10 2000/14 2000/21 1250/21 800/21 500/21 315/21 "
    "200/21 125/21",
};

Test(published, every_plan_of_the_table)
{
    static const double aqls[] = {0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25,
                                  0.40,  0.65,  1.0,   1.5,   2.5,   4.0,  6.5,  10};
    /* a lot of the letter: level II for A, level III for B to R */
    static const size_t of_letter[16] = {8,   8,    15,   25,    50,    90,     150,    280,
                                         500, 1200, 3200, 10000, 35000, 150000, 500000, 500001};
    for (size_t letter = 0; letter < 16; letter++) {
        const char *row = table_rows[letter];
        for (size_t k = 0; k < 16; k++) {
            struct es_sampling_plan plan;
            struct es_error err;
            size_t lot = of_letter[letter], n = 0, accept = 0;
            int used = 0;
            cr_assert_eq(sscanf(row, "%zu/%zu%n", &n, &accept, &used), 2);
            row += used;
            cr_assert_eq(
                es_sampling_iso2859(lot, letter == 0 ? ES_LEVEL_II : ES_LEVEL_III, aqls[k], &plan, &err),
                ES_OK);
            cr_expect(plan.n == (n < lot ? n : lot) && plan.accept == accept && plan.whole_lot == (n >= lot),
                      "letter %zu, AQL %g: %zu %zu, expected %zu %zu", letter, aqls[k], plan.n, plan.accept,
                      n, accept);
        }
    }
}

/* Operating characteristic of n 80, c 2: recomputed values of the binomial; a plan that is found keeps its
 * risks. */
Test(published, operating_characteristic)
{
    const struct es_sampling_plan plan = {.n = 80, .accept = 2};
    near(es_sampling_accepts(&plan, 0.01), 0.95344681, 5e-9, "1 %");
    near(es_sampling_accepts(&plan, 0.02), 0.78441889, 5e-9, "2 %");
    near(es_sampling_accepts(&plan, 0.05), 0.23062050, 5e-9, "5 %");
    near(es_sampling_quality(&plan, 0.95), 0.0102978, 5e-8, "quality accepted in 95 %");
    near(es_sampling_quality(&plan, 0.50), 0.0332853, 5e-8, "quality accepted in half");
    near(es_sampling_quality(&plan, 0.10), 0.0651597, 5e-8, "quality accepted in 10 %");
    struct es_sampling_plan found;
    struct es_error err;
    /* no failure in 59: 95 % sure of at most 5 % */
    cr_assert_eq(es_sampling_find(0, 0.05, 0.05, 0.05, &found, &err), ES_OK);
    cr_assert(found.n == 59 && found.accept == 0);
    cr_assert_eq(es_sampling_find(0.01, 0.05, 0.06, 0.1, &found, &err), ES_OK);
    cr_assert(es_sampling_accepts(&found, 0.01) >= 0.95 && es_sampling_accepts(&found, 0.06) <= 0.1);
    cr_assert_eq(es_sampling_find(0.1, 0.05, 0.1, 0.1, &found, &err), ES_RANGE);
}

/* Thermal impedance of ten power modules, three inspectors, three times each: Houf & Berman, IEEE Trans. CHMT
 * 11 (1988); data read in Vidakovic, Statistics for Bioengineering Sciences (2011), Example 11.14. The
 * published sums of squares and variance components (Montgomery, Introduction to Statistical Quality Control;
 * Burdick, Borror & Montgomery 2003) are from memory. */
Test(published, crossed_study)
{
    static const double values[] = {37, 38, 37, 41, 41, 40, 41, 42, 41, 42, 41, 43, 42, 42, 42, 43, 42, 43,
                                    30, 31, 31, 31, 31, 31, 29, 30, 28, 42, 43, 42, 43, 43, 43, 42, 42, 42,
                                    28, 30, 29, 29, 30, 29, 31, 29, 29, 42, 42, 43, 45, 45, 45, 44, 46, 45,
                                    25, 26, 27, 28, 28, 30, 29, 27, 27, 40, 40, 40, 43, 42, 42, 43, 43, 41,
                                    25, 25, 25, 27, 29, 28, 26, 26, 26, 35, 34, 34, 35, 35, 34, 35, 34, 35};
    struct es_repeatability r;
    struct es_error err;
    cr_assert_eq(es_repeatability_crossed(values, 10, 3, 3, &r, &err), ES_OK);
    near(r.ss_units, 3935.96, 0.005, "sum of squares of the parts");
    near(r.ss_conditions, 39.27, 0.005, "of the inspectors");
    near(r.ss_interaction, 48.51, 0.005, "of parts and inspectors together");
    near(r.ss_error, 30.67, 0.005, "within");
    near(r.ms_units, 437.33, 0.005, "mean square of the parts");
    near(r.ms_conditions, 19.63, 0.005, "of the inspectors");
    near(r.ms_interaction, 2.70, 0.006, "together");
    near(r.ms_error, 0.51, 0.005, "within");
    near(r.var_units, 48.29, 0.005, "variance of the parts");
    near(r.var_conditions, 0.56, 0.006, "of the inspectors");
    near(r.var_interaction, 0.73, 0.005, "together");
    near(r.var_error, 0.51, 0.005, "within");
    near(r.var_error + r.var_conditions + r.var_interaction, 1.80, 0.006, "of the gauge");
}

/* NIST/SEMATECH e-Handbook 2.4.4, "Example of repeatability calculations": sums of squares of five wafers
 * with 60 degrees of freedom each, pooled: 3.17635, 300, 0.10290 (read). The readings are not printed there:
 * for each wafer 61 values are made here that have its sum of squares. */
Test(published, pooled_repeatability)
{
    static const double squares[] = {0.48115, 0.69209, 0.48483, 1.21752, 0.30076};
    static const size_t counts[] = {61, 61, 61, 61, 61};
    double values[5 * 61];
    size_t dof = 0;
    for (size_t w = 0; w < 5; w++) {
        for (size_t i = 0; i < 61; i++) {
            double size = i < 60 ? sqrt(squares[w] / 60) : 0;
            values[w * 61 + i] = 96 + (double)w + (i % 2 ? size : -size);
        }
    }
    near(es_repeatability_pooled(values, counts, 5, &dof), 0.10290, 5e-6, "s1");
    cr_expect_eq(dof, 300u);
}

Test(published, pareto)
{
    struct es_pareto_row rows[] = {{"b", 2, 0, 0}, {"a", 2, 0, 0}, {"c", 5, 0, 0}, {"d", 1, 0, 0}};
    es_pareto(rows, 4);
    cr_assert(strcmp(rows[0].name, "c") == 0 && strcmp(rows[1].name, "a") == 0 &&
              strcmp(rows[2].name, "b") == 0);
    near(rows[0].share, 0.5, 1e-12, "share");
    near(rows[2].cumulative, 0.9, 1e-12, "cumulative");
    near(rows[3].cumulative, 1.0, 1e-12, "all");
}

Test(published, refusals)
{
    struct es_control_chart chart;
    struct es_repeatability study;
    struct es_error err;
    const double values[] = {1, 2, NAN, 4, 5, 6, 7, 8};
    size_t dof;
    cr_assert_eq(es_control_chart(values, 1, 0, 0, NULL, &chart, &err), ES_RANGE);
    cr_assert_eq(es_control_chart(values, 2, 3, 0, NULL, &chart, &err), ES_RANGE);
    cr_assert_eq(es_control_chart(values, 4, 0, 0, NULL, &chart, &err), ES_BAD_INPUT);
    cr_assert_eq(es_repeatability_crossed(values, 2, 2, 1, &study, &err), ES_RANGE);
    cr_assert_eq(es_repeatability_crossed(values, 2, 2, 2, &study, &err), ES_BAD_INPUT);
    cr_assert(isnan(es_repeatability_pooled(values, (size_t[]){1, 1}, 2, &dof)) && dof == 0);
}
