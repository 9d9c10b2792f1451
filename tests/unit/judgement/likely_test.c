/* What is said beyond the verdicts, against figures worked out by hand. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/judgement/likely.h"

static struct es_detection_cause causes[] = {
    {"leak", "air goes", ES_CAUSE_UNIT, 0.08, 0},
    {"bench leak", "the bench leaks", ES_CAUSE_BENCH, 0.02, 0},
};
static struct es_detection_check checks[] = {{"Listen.", "Ears.", 2, 1}};
static uint32_t line_causes[2][ES_DETECTION_BANDS][ES_DETECTION_BINS];
static struct es_detection_cell type_causes[2][ES_DETECTION_BANDS];
static struct es_detection_line line = {
    .procedure = "a", .measurand = "flow", .middle = 1, .scatter = 0.5, .causes = line_causes};
static struct es_detection_type type = {.name = "t",
                                        .version = "1",
                                        .digest = "d1",
                                        .lines = &line,
                                        .line_count = 1,
                                        .good = {100, 100, 0},
                                        .causes = type_causes};
static struct es_detection_plan plan = {.name = "p",
                                        .version = "2",
                                        .digest = "p2",
                                        .program = "1",
                                        .seed = "7",
                                        .units = 400,
                                        .types = &type,
                                        .type_count = 1};
static struct es_detection table = {
    .causes = causes, .cause_count = 2, .checks = checks, .check_count = 1, .plans = &plan, .plan_count = 1};

/* Good units near 1; leaks at 9 and failed, but one of a hundred near 1; the bench's leaks not tested. */
static void learn(void)
{
    const struct es_seen near = {"a", "flow", ES_PASS, true, 1, NULL};
    const struct es_seen far = {"a", "flow", ES_FAIL, true, 9, NULL};
    memset(line_causes, 0, sizeof line_causes);
    memset(line.good, 0, sizeof line.good);
    line.good[es_detection_bin(&line, &near)] = 100;
    for (int band = 0; band < ES_DETECTION_BANDS; band++) {
        line_causes[0][band][es_detection_bin(&line, &far)] = 99;
        line_causes[0][band][es_detection_bin(&line, &near)] = 1;
        line_causes[1][band][ES_DETECTION_OTHER] = 100;
        type_causes[0][band] = (struct es_detection_cell){100, 1, 99};
        type_causes[1][band] = (struct es_detection_cell){100, 0, 0};
    }
}

static struct es_likely *say(enum es_verdict verdict, double value, const struct es_confirmed *confirmed)
{
    struct es_line one = {.procedure = "a",
                          .measurand = "flow",
                          .value = {.valid = verdict != ES_NOT_TESTED, .value = value},
                          .limit = {.required = true},
                          .verdict = verdict,
                          .reason = "anything"};
    struct es_outcome o = {.completed = true,
                           .verdict = verdict,
                           .plan = "p",
                           .plan_version = "2",
                           .plan_digest = "p2",
                           .type = "t",
                           .type_digest = "d1",
                           .lines = &one,
                           .line_count = 1};
    struct es_likely *likely = NULL;
    struct es_error err = {0};
    learn();
    cr_assert_eq(es_likely_make(&table, confirmed, &o, &likely, &err), ES_OK, "%s", err.text);
    return likely;
}

Test(likely, names_the_cause_with_evidence_and_check)
{
    struct es_likely *l = say(ES_FAIL, 9, NULL);
    cr_assert_eq(l->kind, ES_LIKELY_CAUSES);
    cr_assert_geq(l->count, 1);
    cr_expect_str_eq(l->causes[0].name, "leak");
    cr_expect_gt(l->causes[0].probability, 0.9);
    cr_assert_geq(l->causes[0].evidence_count, 1);
    cr_expect(strstr(l->causes[0].evidence[0], "flow failed"), "%s", l->causes[0].evidence[0]);
    cr_expect_str_eq(l->check, "Listen.");
    cr_expect_str_eq(l->caution, "Ears.");
    cr_expect_eq(l->remark_count, 0);
    cr_expect(strstr(l->basis, "400 virtual units"), "%s", l->basis);
    es_likely_free(l);
    l = say(ES_NOT_TESTED, 0, NULL);
    cr_expect_str_eq(l->causes[0].name, "bench leak");
    cr_expect_eq(l->causes[0].place, ES_CAUSE_BENCH);
    cr_assert_eq(l->remark_count, 1);
    cr_expect(strstr(l->remarks[0], "no deciding line"), "%s", l->remarks[0]);
    es_likely_free(l);
}

/* What nobody showed while the table was learned leaves every cause as likely as before. */
Test(likely, what_was_never_met_speaks_for_nobody)
{
    struct es_likely *l = say(ES_FAIL, 3, NULL);
    cr_assert_eq(l->kind, ES_LIKELY_CAUSES);
    cr_expect_float_eq(l->no_fault, 0.9, 1e-12, "%g", l->no_fault);
    es_likely_free(l);
}

/* misses (1 + 1/2)/101 in each band; good (100 + 1/2)/101; 0.08 and 0.9 before. */
Test(likely, remaining_by_hand)
{
    struct es_likely *l = say(ES_PASS, 1, NULL);
    const double faulty = 0.08 * 1.5 / 101, passing = 0.9 * 100.5 / 101;
    cr_assert_eq(l->kind, ES_LIKELY_REMAINING);
    cr_expect_float_eq(l->remaining, faulty / (faulty + passing), 1e-12, "%g", l->remaining);
    cr_expect_gt(l->upper, l->remaining);
    cr_expect_float_eq(l->before, 0.08, 1e-12);
    cr_assert_eq(l->count, 1);
    cr_expect_str_eq(l->causes[0].name, "leak");
    es_likely_free(l);
}

/* 0.1 in all, 20 worth: 16 and 4; after five leaks of the bench: 16/25 and 9/25 of 0.1. */
Test(likely, confirmed_repairs_move_the_rates)
{
    struct es_confirmed c = {0};
    double rates[ES_CAUSES_MAX];
    for (int i = 0; i < 5; i++)
        es_confirmed_add(&c, &table, "t", "t", "bench leak");
    es_confirmed_add(&c, &table, "t", "t", "no fault found");
    es_confirmed_add(&c, &table, "t", "t", "mice");
    cr_expect_eq(c.repairs, 5);
    cr_expect_eq(c.no_fault_found, 1);
    cr_expect_eq(c.others, 1);
    es_confirmed_rates(&table, &c, rates);
    cr_expect_float_eq(rates[0], 0.064, 1e-12);
    cr_expect_float_eq(rates[1], 0.036, 1e-12);
    es_confirmed_rates(&table, NULL, rates);
    cr_expect_float_eq(rates[0], 0.08, 0);
    struct es_likely *before = say(ES_PASS, 1, NULL), *after = say(ES_PASS, 1, &c);
    cr_expect_lt(after->remaining, before->remaining);
    cr_expect_eq(after->repairs, 5);
    cr_expect_eq(after->no_fault_found, 1);
    cr_assert_geq(after->count, 1);
    cr_expect_str_eq(after->causes[0].name, "leak");
    cr_expect_float_eq(after->causes[0].assumed, 0.08, 1e-12);
    cr_expect_float_eq(after->causes[0].rate, 0.064, 1e-12);
    const double faulty = 0.064 * 1.5 / 101, passing = 0.9 * 100.5 / 101; /* as in remaining_by_hand */
    cr_expect_float_eq(after->remaining, faulty / (faulty + passing), 1e-12);
    es_likely_free(before);
    es_likely_free(after);
}

/* What was found in a relay module says nothing of a complete unit; of a type that no plan knows it counts.
 */
Test(likely, repairs_of_another_kind_move_nothing)
{
    struct es_confirmed c = {0};
    struct es_detection_type both[2] = {type, type};
    struct es_detection_plan wide = plan;
    struct es_detection d = table;
    both[1].name = (char *)"module";
    both[1].kind = ES_RELAY_MODULE;
    wide.types = both;
    wide.type_count = 2;
    d.plans = &wide;
    es_confirmed_add(&c, &d, "t", "module", "leak");
    cr_expect_eq(c.repairs, 0);
    es_confirmed_add(&c, &d, "module", "module", "leak");
    es_confirmed_add(&c, &d, "module", "elsewhere", "leak");
    es_confirmed_add(&c, &d, "module", NULL, "leak");
    cr_expect_eq(c.counts[0], 3);
}

static void expect_unknown(const struct es_detection *t, const struct es_outcome *o, const char *why)
{
    struct es_likely *l = NULL;
    struct es_error err = {0};
    cr_assert_eq(es_likely_make(t, NULL, o, &l, &err), ES_OK, "%s", err.text);
    cr_expect_eq(l->kind, ES_LIKELY_UNKNOWN);
    cr_assert(l->unknown && strstr(l->unknown, why), "%s", l->unknown ? l->unknown : "nothing");
    es_likely_free(l);
}

Test(likely, says_plainly_what_it_does_not_know)
{
    struct es_line other = {.procedure = "b", .measurand = "else", .verdict = ES_FAIL};
    struct es_outcome o = {.completed = true, .verdict = ES_FAIL, .plan = "p", .type = "u"};
    struct es_likely *l = NULL;
    struct es_error err = {0};
    expect_unknown(NULL, &o, "no table");
    expect_unknown(&table, &o, "the type \"u\"");
    o.type = "t";
    o.plan = "q";
    expect_unknown(&table, &o, "the plan \"q\"");
    o.plan = "p";
    o.lines = &other;
    o.line_count = 1;
    expect_unknown(&table, &o, "any of the lines");
    o.completed = false;
    cr_expect_eq(es_likely_make(&table, NULL, &o, &l, &err), ES_BAD_INPUT);
}

Test(likely, another_state_of_plan_or_type_is_remarked)
{
    learn();
    struct es_line one = {.procedure = "a",
                          .measurand = "flow",
                          .value = {.valid = true, .value = 9},
                          .limit = {.required = true},
                          .verdict = ES_FAIL};
    struct es_outcome o = {.completed = true,
                           .verdict = ES_FAIL,
                           .plan = "p",
                           .plan_version = "3",
                           .plan_digest = "p3",
                           .type = "t",
                           .type_digest = "d2",
                           .lines = &one,
                           .line_count = 1};
    struct es_likely *l = NULL;
    struct es_error err = {0};
    cr_assert_eq(es_likely_make(&table, NULL, &o, &l, &err), ES_OK);
    cr_assert_eq(l->remark_count, 2);
    cr_expect(strstr(l->remarks[0], "run with 3"), "%s", l->remarks[0]);
    es_likely_free(l);
}
