/* Decision rules at their boundaries. Tags in brackets tie each test to the rule in judge.c. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/judgement/judge.h"

static struct es_limit make_limit(double lower, double upper, enum es_rule rule, double guard_factor)
{
    return (struct es_limit){.name = "travel",
                             .lower = lower,
                             .upper = upper,
                             .unit = es_unit_find("mm", 2),
                             .decimals = 2,
                             .rule = rule,
                             .guard_factor = guard_factor,
                             .required = true,
                             .source = "test"};
}

static enum es_verdict verdict(double value, double U, struct es_limit limit)
{
    return es_judge(value, U / 2, INFINITY, U, &limit).verdict;
}

/* [rule:simple] */
Test(judge, simple_acceptance_ignores_uncertainty)
{
    struct es_limit l = make_limit(1, 3, ES_RULE_SIMPLE, 1);
    cr_expect_eq(verdict(1, 0.5, l), ES_PASS, "a value on the lower limit is inside");
    cr_expect_eq(verdict(3, 0.5, l), ES_PASS, "a value on the upper limit is inside");
    cr_expect_eq(verdict(nextafter(1, 0), 0.5, l), ES_FAIL);
    cr_expect_eq(verdict(nextafter(3, 4), 0.5, l), ES_FAIL);
    struct es_judgement j = es_judge(3, 0.25, INFINITY, 0.5, &l);
    cr_expect_eq(j.guard, 0);
    cr_expect_float_eq(j.false_acceptance, 0.5, 1e-12, "on the limit half of what may be true is outside");
}

/* [rule:guarded] */
Test(judge, guarded_acceptance_moves_both_limits_inwards)
{
    struct es_limit l = make_limit(1, 3, ES_RULE_GUARDED, 1);
    cr_expect_eq(verdict(1.5, 0.5, l), ES_PASS);
    cr_expect_eq(verdict(2.5, 0.5, l), ES_PASS);
    cr_expect_eq(verdict(nextafter(1.5, 0), 0.5, l), ES_FAIL);
    cr_expect_eq(verdict(nextafter(2.5, 4), 0.5, l), ES_FAIL);
    cr_expect_eq(es_judge(2, 0.25, INFINITY, 0.5, &l).guard, 0.5);
}

/* [rule:guarded] */
Test(judge, guard_factor_scales_the_band)
{
    struct es_limit l = make_limit(-INFINITY, 3, ES_RULE_GUARDED, 0.5);
    cr_expect_eq(verdict(2.75, 0.5, l), ES_PASS);
    cr_expect_eq(verdict(2.76, 0.5, l), ES_FAIL);
    l.guard_factor = -1; /* rejects only beyond TL + U */
    cr_expect_eq(verdict(3.5, 0.5, l), ES_PASS);
    cr_expect_eq(verdict(3.51, 0.5, l), ES_FAIL);
}

/* [rule:guarded] */
Test(judge, one_sided_limits_leave_the_other_side_open)
{
    struct es_limit upper = make_limit(-INFINITY, 3, ES_RULE_GUARDED, 1);
    cr_expect_eq(verdict(-1e9, 0.5, upper), ES_PASS);
    struct es_limit lower = make_limit(1, INFINITY, ES_RULE_GUARDED, 1);
    cr_expect_eq(verdict(1e9, 0.5, lower), ES_PASS);
    cr_expect_eq(verdict(1.4, 0.5, lower), ES_FAIL);
    cr_expect_eq(verdict(1.5, 0.5, lower), ES_PASS);
}

/* [rule:no-room] */
Test(judge, band_without_room_blames_the_bench_unless_clearly_outside)
{
    struct es_limit l = make_limit(1, 3, ES_RULE_GUARDED, 1);
    cr_expect_eq(verdict(2, 1.0, l), ES_PASS, "exactly one point of room left");
    cr_expect_eq(verdict(2, 1.1, l), ES_NOT_TESTED);
    cr_expect_eq(verdict(4, 1.1, l), ES_NOT_TESTED);
    cr_expect_eq(verdict(4.2, 1.1, l), ES_FAIL);
    cr_expect_eq(verdict(-0.2, 1.1, l), ES_FAIL);
}

/* [rule:non-binary] */
Test(judge, non_binary_has_four_results_on_each_side)
{
    struct es_limit l = make_limit(1, 3, ES_RULE_NON_BINARY, 1);
    static const struct {
        double value;
        enum es_verdict want;
    } rows[] = {{2.0, ES_PASS},
                {2.5, ES_PASS},
                {2.51, ES_CONDITIONAL_PASS},
                {3.0, ES_CONDITIONAL_PASS},
                {3.01, ES_CONDITIONAL_FAIL},
                {3.5, ES_CONDITIONAL_FAIL},
                {3.51, ES_FAIL},
                {1.5, ES_PASS},
                {1.49, ES_CONDITIONAL_PASS},
                {1.0, ES_CONDITIONAL_PASS},
                {0.99, ES_CONDITIONAL_FAIL},
                {0.5, ES_CONDITIONAL_FAIL},
                {0.49, ES_FAIL}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        cr_expect_eq(verdict(rows[i].value, 0.5, l), rows[i].want, "value %g", rows[i].value);
    }
}

Test(judge, no_uncertainty_means_certainty)
{
    struct es_limit l = make_limit(-INFINITY, 0, ES_RULE_GUARDED, 1);
    struct es_judgement j = es_judge(0, 0, INFINITY, 0, &l);
    cr_expect_eq(j.verdict, ES_PASS);
    cr_expect_eq(j.false_acceptance, 0);
    cr_expect_eq(j.conformance, 1);
    j = es_judge(1, 0, INFINITY, 0, &l);
    cr_expect_eq(j.verdict, ES_FAIL);
    cr_expect_eq(j.false_acceptance, 1);
    cr_expect_eq(j.conformance, 0);
}

Test(judge, what_is_no_number_is_not_tested)
{
    struct es_limit l = make_limit(1, 3, ES_RULE_SIMPLE, 0);
    struct es_limit open = make_limit(-INFINITY, INFINITY, ES_RULE_SIMPLE, 0);
    cr_expect_eq(es_judge(NAN, 0.1, 5, 0.2, &l).verdict, ES_NOT_TESTED);
    cr_expect_eq(es_judge(INFINITY, 0.1, 5, 0.2, &l).verdict, ES_NOT_TESTED);
    cr_expect_eq(es_judge(2, NAN, 5, 0.2, &l).verdict, ES_NOT_TESTED);
    cr_expect_eq(es_judge(2, -0.1, 5, 0.2, &l).verdict, ES_NOT_TESTED);
    cr_expect_eq(es_judge(2, 0.1, 0, 0.2, &l).verdict, ES_NOT_TESTED);
    cr_expect_eq(es_judge(2, 0.1, NAN, 0.2, &l).verdict, ES_NOT_TESTED);
    cr_expect_eq(es_judge(2, 0.1, 5, INFINITY, &l).verdict, ES_NOT_TESTED);
    cr_expect_eq(es_judge(2, 0.1, 5, 0.2, &open).verdict, ES_NOT_TESTED);
    cr_expect(isnan(es_judge(NAN, 0.1, 5, 0.2, &l).false_acceptance));
}

static struct es_measured measured(double mm, double u_mm)
{
    struct es_measured m = {.name = "travel", .dimension = ES_DIM_LENGTH, .valid = true, .value = mm * 1e-3};
    m.u = u_mm * 1e-3;
    m.dof = INFINITY;
    m.k = 2;
    m.U = 2 * m.u;
    return m;
}

static struct es_line judged(double mm, enum es_rule rule)
{
    struct es_limit l = make_limit(1e-3, 3e-3, rule, rule == ES_RULE_SIMPLE ? 0 : 1);
    struct es_measured m = measured(mm, 0.1);
    struct es_line line;
    struct es_error err;
    cr_assert_eq(es_judge_line("stroke", "travel", &m, &l, &line, &err), ES_OK, "%s", err.text);
    return line;
}

Test(judge, line_carries_everything_and_says_why)
{
    static const struct {
        double mm;
        enum es_rule rule;
        enum es_verdict verdict;
        const char *reason;
    } rows[] = {
        {2.0, ES_RULE_GUARDED, ES_PASS, NULL},
        {3.4, ES_RULE_SIMPLE, ES_FAIL, "3.40 mm is above the upper limit of 3.00 mm by 0.40 mm."},
        {0.4, ES_RULE_GUARDED, ES_FAIL, "0.40 mm is below the lower limit of 1.00 mm by 0.60 mm."},
        {2.9, ES_RULE_GUARDED, ES_FAIL,
         "2.90 mm is inside the upper limit of 3.00 mm, but closer to it than the guard band of 0.20 mm."},
        {2.9, ES_RULE_NON_BINARY, ES_CONDITIONAL_PASS,
         "2.90 mm is inside the upper limit of 3.00 mm, but closer to it than the guard band of 0.20 mm."},
        {0.9, ES_RULE_NON_BINARY, ES_CONDITIONAL_FAIL,
         "0.90 mm is below the lower limit of 1.00 mm, but by less than the guard band of 0.20 mm."},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct es_line line = judged(rows[i].mm, rows[i].rule);
        cr_expect_eq(line.verdict, rows[i].verdict, "row %zu", i);
        if (rows[i].reason) {
            cr_assert_not_null(line.reason);
            cr_expect_str_eq(line.reason, rows[i].reason);
        } else {
            cr_expect_null(line.reason);
        }
        cr_expect_str_eq(line.procedure, "stroke");
        cr_expect_str_eq(line.limit.name, "travel");
        es_line_clear(&line);
    }
}

/* [rule:not-tested] */
Test(judge, invalid_value_is_not_tested_with_its_reason)
{
    struct es_limit l = make_limit(1e-3, 3e-3, ES_RULE_GUARDED, 1);
    struct es_measured m = measured(2, 0.1);
    m.valid = false;
    strcpy(m.reason, "not settled: still moving 0.4 %/s at the end of the recording");
    struct es_line line;
    cr_assert_eq(es_judge_line("stroke", "travel", &m, &l, &line, NULL), ES_OK);
    cr_expect_eq(line.verdict, ES_NOT_TESTED);
    cr_expect_str_eq(line.reason, m.reason);
    cr_expect(isnan(line.false_acceptance));
    es_line_clear(&line);
    m.valid = true;
    m.value = NAN;
    cr_assert_eq(es_judge_line("stroke", "travel", &m, &l, &line, NULL), ES_OK);
    cr_expect_eq(line.verdict, ES_NOT_TESTED);
    cr_expect_not(line.value.valid, "nobody downstream may take it for a number");
    es_line_clear(&line);
    cr_assert_eq(es_judge_not_tested("stroke", "travel", &l, "The leak test failed before.", &line, NULL),
                 ES_OK);
    cr_expect_eq(line.verdict, ES_NOT_TESTED);
    cr_expect_str_eq(line.reason, "The leak test failed before.");
    es_line_clear(&line);
}

Test(judge, other_dimension_is_a_fault_of_the_program)
{
    struct es_limit l = make_limit(1e-3, 3e-3, ES_RULE_GUARDED, 1);
    struct es_measured m = measured(2, 0.1);
    m.dimension = ES_DIM_PRESSURE;
    struct es_line line = {.guard = 7};
    struct es_error err;
    cr_expect_eq(es_judge_line("stroke", "travel", &m, &l, &line, &err), ES_INTERNAL);
    cr_expect_eq(line.guard, 7, "nothing written on failure");
    cr_expect(strstr(err.text, "pressure") && strstr(err.text, "length"), "%s", err.text);
}

/* [rule:overall] */
Test(judge, overall_is_the_worst_of_the_required_lines)
{
    struct es_line lines[3] = {{.verdict = ES_PASS, .limit.required = true},
                               {.verdict = ES_PASS, .limit.required = true},
                               {.verdict = ES_FAIL, .limit.required = false}};
    cr_expect_eq(es_judge_overall(lines, 3), ES_PASS, "a line that only informs does not count");
    static const enum es_verdict rising[] = {ES_PASS, ES_CONDITIONAL_PASS, ES_NOT_TESTED, ES_CONDITIONAL_FAIL,
                                             ES_FAIL};
    for (size_t a = 0; a < 5; a++) {
        for (size_t b = 0; b < 5; b++) {
            lines[0].verdict = rising[a];
            lines[1].verdict = rising[b];
            cr_expect_eq(es_judge_overall(lines, 3), rising[a > b ? a : b]);
        }
    }
    cr_expect_eq(es_judge_overall(lines, 0), ES_NOT_TESTED, "nothing tested is no pass");
    cr_expect_eq(es_judge_overall(lines + 2, 1), ES_NOT_TESTED, "nothing required is no pass");
}

Test(judge, words)
{
    cr_expect_str_eq(es_verdict_word(ES_PASS), "pass");
    cr_expect_str_eq(es_verdict_word(ES_CONDITIONAL_PASS), "conditional pass");
    cr_expect_str_eq(es_verdict_word(ES_CONDITIONAL_FAIL), "conditional fail");
    cr_expect_str_eq(es_verdict_word(ES_FAIL), "fail");
    cr_expect_str_eq(es_verdict_word(ES_NOT_TESTED), "not tested");
    cr_expect_str_eq(es_rule_word(ES_RULE_SIMPLE), "simple acceptance");
    cr_expect_str_eq(es_rule_word(ES_RULE_GUARDED), "guarded acceptance");
    cr_expect_str_eq(es_rule_word(ES_RULE_NON_BINARY), "non-binary");
}
