/* Guard bands from a chosen risk, values whose distribution is not symmetric, global risk on a line: at and
 * around their boundaries. Figures worked by hand or with scipy.stats. Tags tie each test to its rule. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/judgement/judge.h"
#include "procedures/judgement/type_sheet.h"
#include "procedures/measures/numeric/student.h"
#include "procedures/measures/propagate.h"

static struct es_limit limit_of(double lower, double upper, enum es_rule rule, double factor, double risk)
{
    return (struct es_limit){.name = "flow",
                             .lower = lower,
                             .upper = upper,
                             .unit = es_unit_find("mm", 2),
                             .decimals = 2,
                             .rule = rule,
                             .guard_factor = factor,
                             .guard_risk = risk,
                             .required = true};
}

/* [rule:guard-band] scipy: t.ppf(0.99, 4) = 3.746947387979, norm.ppf(0.99) = 2.326347874041,
 * norm.ppf(0.95) = 1.644853626951. */
Test(rules, guard_band_from_a_chosen_risk)
{
    static const struct {
        double risk, dof, w;
    } rows[] = {
        {0.01, 4, 3.746947387979}, {0.01, INFINITY, 2.326347874041}, {0.05, INFINITY, 1.644853626951}};
    for (size_t i = 0; i < 3; i++) {
        struct es_limit l = limit_of(-INFINITY, 10, ES_RULE_GUARDED, 1, rows[i].risk);
        double at = 10 - 0.5 * rows[i].w;
        struct es_judgement j = es_judge(at - 1e-9, 0.5, rows[i].dof, 1, &l);
        cr_expect_eq(j.verdict, ES_PASS, "just inside the acceptance limit");
        cr_expect_float_eq(j.guard, 0.5 * rows[i].w, 1e-10);
        cr_expect_float_eq(j.false_acceptance, rows[i].risk, 1e-8);
        cr_expect_eq(es_judge(at + 1e-9, 0.5, rows[i].dof, 1, &l).verdict, ES_FAIL);
        struct es_limit lower = limit_of(10, INFINITY, ES_RULE_GUARDED, 1, rows[i].risk);
        at = 10 + 0.5 * rows[i].w;
        cr_expect_eq(es_judge(at + 1e-9, 0.5, rows[i].dof, 1, &lower).verdict, ES_PASS);
        cr_expect_eq(es_judge(at - 1e-9, 0.5, rows[i].dof, 1, &lower).verdict, ES_FAIL);
    }
}

/* [rule:guard-band] [rule:non-binary] [rule:no-room] with w from a risk */
Test(rules, a_chosen_risk_serves_all_rules_that_have_a_band)
{
    struct es_limit l = limit_of(1, 3, ES_RULE_NON_BINARY, 1, 0.05); /* w = 0.1644854 with u 0.1 */
    static const struct {
        double value;
        enum es_verdict want;
    } rows[] = {{2.83, ES_PASS},
                {2.84, ES_CONDITIONAL_PASS},
                {3.0, ES_CONDITIONAL_PASS},
                {3.16, ES_CONDITIONAL_FAIL},
                {3.17, ES_FAIL},
                {1.17, ES_PASS},
                {1.16, ES_CONDITIONAL_PASS},
                {0.84, ES_CONDITIONAL_FAIL},
                {0.83, ES_FAIL}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_expect_eq(es_judge(rows[i].value, 0.1, INFINITY, 0.2, &l).verdict, rows[i].want, "%g",
                     rows[i].value);
    struct es_limit narrow = limit_of(1, 1.3, ES_RULE_GUARDED, 1, 0.05);
    cr_expect_eq(es_judge(1.15, 0.1, INFINITY, 0.2, &narrow).verdict, ES_NOT_TESTED, "no room: 2 w is 0.33");
    cr_expect_eq(es_judge(1.47, 0.1, INFINITY, 0.2, &narrow).verdict, ES_FAIL);
    l.guard_risk = 0.5;
    cr_expect_eq(es_judge(2, 0.1, INFINITY, 0.2, &l).verdict, ES_NOT_TESTED, "half is no risk to choose");
}

/* A single limit and an uncertainty of more than half of it: only what is clearly outside is the unit's. */
Test(rules, single_limit_without_room)
{
    struct es_limit upper = limit_of(-INFINITY, 10, ES_RULE_GUARDED, 1, 0);
    struct es_limit lower = limit_of(10, INFINITY, ES_RULE_GUARDED, 1, 0);
    static const struct {
        double value, U;
        enum es_verdict want;
    } rows[] = {{0, 11.3, ES_NOT_TESTED}, {4, 5.1, ES_PASS},    {6, 5.1, ES_NOT_TESTED},
                {12, 5.1, ES_NOT_TESTED}, {15.2, 5.1, ES_FAIL}, {6, 4.9, ES_FAIL},
                {5, 4.9, ES_PASS}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double u = rows[i].U / 2;
        cr_expect_eq(es_judge(rows[i].value, u, INFINITY, rows[i].U, &upper).verdict, rows[i].want, "%g",
                     rows[i].value);
        cr_expect_eq(es_judge(20 - rows[i].value, u, INFINITY, rows[i].U, &lower).verdict, rows[i].want, "%g",
                     20 - rows[i].value);
    }
}

/* [rule:guarded] The risk of the other kind: a unit that is rejected although it conforms. Normal, u 0.1,
 * limit 3: at 2.9 inside with Phi(1) = 0.841345, at 3.1 with Phi(-1) = 0.158655, at 3.5 with 2.8665e-7;
 * between 1 and 3 at 1.05 with Phi(0.5) = 0.691462. */
Test(rules, false_rejection_is_what_a_rejected_value_leaves_inside)
{
    struct es_limit l = limit_of(-INFINITY, 3, ES_RULE_GUARDED, 1, 0),
                    both = limit_of(1, 3, ES_RULE_GUARDED, 1, 0);
    static const double rows[][2] = {{2.9, 0.841345}, {3.1, 0.158655}, {3.5, 2.866516e-7}};
    for (size_t i = 0; i < 3; i++) {
        struct es_judgement j = es_judge(rows[i][0], 0.1, INFINITY, 0.2, &l);
        cr_expect_eq(j.verdict, ES_FAIL);
        cr_expect_float_eq(j.conformance / rows[i][1], 1, 1e-5, "%g: %g", rows[i][0], j.conformance);
        cr_expect_float_eq(j.conformance + j.false_acceptance, 1, 1e-12);
    }
    struct es_judgement j = es_judge(1.05, 0.1, INFINITY, 0.2, &both);
    cr_expect_eq(j.verdict, ES_FAIL);
    cr_expect_float_eq(j.conformance, 0.691462, 1e-6);
}

/* An exponential distribution from 0 with scale 1, put together from its quantiles -ln(1 - p):
 * 2.5 % 0.025318, 97.5 % 3.688879, mean 1. */
static struct es_measured skew(double shift)
{
    struct es_measured m = {.name = "flow",
                            .dimension = ES_DIM_LENGTH,
                            .valid = true,
                            .value = shift + 1,
                            .u = 1,
                            .dof = INFINITY,
                            .U = 2.688879,
                            .k = 2.688879};
    m.spread = (struct es_spread){
        .trials = 100000, .stable = true, .low = shift + 0.025318, .high = shift + 3.688879};
    for (size_t i = 0; i < ES_SPREAD_POINTS; i++) {
        double z = -3.71901648545568 + 2 * 3.71901648545568 * (double)i / (ES_SPREAD_POINTS - 1);
        m.spread.at[i] = shift - log(es_normal_cumulative(-z));
    }
    return m;
}

/* [rule:own-distribution] P(Y > x) = e^-x; the normal distribution would say 0.0228 at 3 and 0.1587 at 0. */
Test(rules, probabilities_follow_the_values_own_distribution)
{
    static const double at[] = {0.5, 1, 2, 3, 5};
    struct es_measured m = skew(0);
    for (size_t i = 0; i < 5; i++) {
        struct es_limit l = limit_of(-INFINITY, at[i], ES_RULE_SIMPLE, 0, 0);
        struct es_judgement j = es_judge_measured(&m, &l);
        cr_expect_float_eq(j.false_acceptance / exp(-at[i]), 1, 0.01, "%g: %g", at[i], j.false_acceptance);
        cr_expect_float_eq(j.conformance + j.false_acceptance, 1, 1e-12);
    }
    struct es_limit both = limit_of(0.1, 2, ES_RULE_SIMPLE, 0, 0);
    cr_expect_float_eq(es_judge_measured(&m, &both).false_acceptance, 1 - exp(-0.1) + exp(-2), 0.002);
}

/* [rule:guarded] The acceptance limit is where the interval's own end touches the limit: w is 2.688879 below
 * an upper limit and 0.974682 above a lower one. */
Test(rules, guard_bands_follow_the_values_own_sides)
{
    struct es_limit upper = limit_of(-INFINITY, 10, ES_RULE_GUARDED, 1, 0);
    struct es_measured m = skew(10 - 3.688879 - 1e-9);
    struct es_judgement j = es_judge_measured(&m, &upper);
    cr_expect_eq(j.verdict, ES_PASS);
    cr_expect_float_eq(j.guard, 2.688879, 1e-9);
    cr_expect_float_eq(j.false_acceptance, 0.025, 2e-4);
    m = skew(10 - 3.688879 + 1e-9);
    cr_expect_eq(es_judge_measured(&m, &upper).verdict, ES_FAIL);
    struct es_limit lower = limit_of(10, INFINITY, ES_RULE_GUARDED, 1, 0);
    m = skew(10 - 0.025318 + 1e-9);
    j = es_judge_measured(&m, &lower);
    cr_expect_eq(j.verdict, ES_PASS);
    cr_expect_float_eq(j.guard, 0.974682, 1e-9);
    m = skew(10 - 0.025318 - 1e-9);
    cr_expect_eq(es_judge_measured(&m, &lower).verdict, ES_FAIL);
    upper.guard_factor = -1; /* rejected only when surely above: the lower end beyond the limit */
    m = skew(10 - 0.025318 - 1e-9);
    cr_expect_eq(es_judge_measured(&m, &upper).verdict, ES_PASS);
    m = skew(10 - 0.025318 + 1e-9);
    cr_expect_eq(es_judge_measured(&m, &upper).verdict, ES_FAIL);
    upper.guard_factor = 1;
    upper.guard_risk = 0.1; /* e^-x = 0.1 at 2.302585 */
    m = skew(10 - 2.29);
    cr_expect_eq(es_judge_measured(&m, &upper).verdict, ES_FAIL);
    m = skew(10 - 2.315);
    cr_expect_eq(es_judge_measured(&m, &upper).verdict, ES_PASS);
}

/* [rule:non-binary] */
Test(rules, conditional_results_follow_the_values_own_sides)
{
    struct es_limit l = limit_of(-INFINITY, 10, ES_RULE_NON_BINARY, 1, 0);
    static const struct {
        double value;
        enum es_verdict want;
    } rows[] = {{10 - 2.69, ES_CONDITIONAL_PASS}, {10 - 2.688, ES_CONDITIONAL_PASS}, {10 - 2.6889, ES_PASS},
                {10, ES_CONDITIONAL_PASS},        {10.974, ES_CONDITIONAL_FAIL},     {10.975, ES_FAIL}};
    for (size_t i = 1; i < sizeof rows / sizeof rows[0]; i++) {
        struct es_measured m = skew(rows[i].value - 1);
        cr_expect_eq(es_judge_measured(&m, &l).verdict, rows[i].want, "%g", rows[i].value);
    }
}

/* [rule:global-risk] Units N(0, 1), limits +-2, u 0.25, simple acceptance: JCGM 106 figures as recomputed in
 * conformity_test.c scaled: consumer 0.00800608, producer 0.01485088. */
Test(rules, a_stated_prior_gives_the_lines_global_risks)
{
    struct es_limit l = limit_of(-2e-3, 2e-3, ES_RULE_SIMPLE, 0, 0);
    struct es_measured m = {
        .dimension = ES_DIM_LENGTH, .valid = true, .value = 1e-3, .u = 0.25e-3, .dof = INFINITY, .U = 0.5e-3};
    struct es_line line;
    cr_assert_eq(es_judge_line("p", "m", &m, &l, &line, NULL), ES_OK);
    cr_expect(isnan(line.consumer_risk), "nothing was stated, nothing is said");
    es_line_clear(&line);
    l.prior = (struct es_prior){ES_PRIOR_NORMAL, 0, 1e-3};
    cr_assert_eq(es_judge_line("p", "m", &m, &l, &line, NULL), ES_OK);
    cr_expect_float_eq(line.consumer_risk, 0.00800608, 1e-8);
    cr_expect_float_eq(line.producer_risk, 0.01485088, 1e-8);
    es_line_clear(&line);
    l.rule = ES_RULE_GUARDED;
    l.guard_factor = 1;
    cr_assert_eq(es_judge_line("p", "m", &m, &l, &line, NULL), ES_OK);
    cr_expect_lt(line.consumer_risk, 0.0005);
    cr_expect_gt(line.producer_risk, 0.08, "what guarding costs");
    es_line_clear(&line);
}

#define SHEET(limit)                                                                                         \
    "{\"endstop\": \"type-sheet/1\", \"name\": \"example-x\", \"title\": \"Example X\", \"version\": \"3\"," \
    "\"action\": \"double-acting\", \"motion\": \"linear\","                                                 \
    "\"ceilings\": {\"supply pressure\": \"7 bar\", \"loop current\": \"22 mA\"}, \"quantities\": {},"       \
    "\"limits\": {\"a\": {\"upper\": \"2 mm\", \"source\": \"s\", " limit "}}}"

static enum es_status read_sheet(const char *text, struct es_type **type, char *expected, size_t size)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct es_error err = {0};
    cr_assert_eq(es_document_parse("sheet", text, strlen(text), &findings, &doc, &err), ES_OK, "%s",
                 err.text);
    enum es_status s = es_type_from_document(doc, &findings, type, &err);
    snprintf(expected, size, "%s", findings.count ? findings.items[0].expected : "");
    es_findings_free(&findings);
    es_document_free(doc);
    return s;
}

Test(rules, a_type_sheet_states_risk_and_prior)
{
    struct es_type *t = NULL;
    char expected[400];
    cr_assert_eq(read_sheet(SHEET("\"false acceptance\": 0.01, \"prior\": {\"shape\": \"gamma\", \"mean\": "
                                  "\"1 mm\", \"standard deviation\": \"0.5 mm\"}"),
                            &t, expected, sizeof expected),
                 ES_OK, "%s", expected);
    const struct es_limit *l = es_type_limit(t, "a");
    cr_assert_not_null(l);
    cr_expect_eq(l->guard_risk, 0.01);
    cr_expect_eq(l->prior.kind, ES_PRIOR_GAMMA);
    cr_expect_float_eq(l->prior.a, 4, 1e-12, "shape");
    cr_expect_float_eq(l->prior.b, 0.25e-3, 1e-15, "scale");
    es_type_free(t);
    static const struct {
        const char *sheet, *expected;
    } bad[] = {
        {SHEET("\"false acceptance\": 0.01, \"guard factor\": 1"), "either"},
        {SHEET("\"false acceptance\": 0.01, \"rule\": \"simple\""), "no guard band"},
        {SHEET("\"false acceptance\": 0.5"), ""},
        {SHEET("\"prior\": {\"mean\": \"1 mm\"}"), ""},
        {SHEET("\"prior\": {\"mean\": \"1 bar\", \"standard deviation\": \"1 mm\"}"), "unit of the limit"},
        {SHEET("\"prior\": {\"mean\": \"1 mm\", \"standard deviation\": \"0 mm\"}"), "more than 0"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        t = NULL;
        cr_expect_eq(read_sheet(bad[i].sheet, &t, expected, sizeof expected), ES_BAD_INPUT, "sheet %zu", i);
        cr_expect_not_null(strstr(expected, bad[i].expected), "sheet %zu: %s", i, expected);
    }
}
