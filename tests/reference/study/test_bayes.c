/* The ranking of causes against worked examples of Bayes' rule. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "procedures/judgement/causes.h"
#include "procedures/judgement/likely.h"

#define TRIALS 1e8 /* counts so large that what is pooled does not show */

/* A table with one type whose lines each stand in a procedure of their own, so that each counts whole. */
struct small {
    struct es_detection d;
    struct es_detection_cause causes[4];
    struct es_detection_plan plan;
    struct es_detection_type type;
    struct es_detection_line lines[4];
    uint32_t counts[4][4][ES_DETECTION_BANDS][ES_DETECTION_BINS];
    struct es_detection_cell cells[4][ES_DETECTION_BANDS];
};

enum { PASS_BIN = 2 * 4, FAIL_BIN = 2 * 6 + 1 };

static void set(struct small *s, size_t line, size_t cause, double hit)
{
    for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
        s->counts[line][cause][band][FAIL_BIN] = (uint32_t)(TRIALS * hit);
        s->counts[line][cause][band][PASS_BIN] = (uint32_t)(TRIALS * (1 - hit));
        s->cells[cause][band].units = 1000;
    }
}

static void set_good(struct small *s, size_t line, double hit)
{
    s->lines[line].good[FAIL_BIN] = (uint32_t)(TRIALS * hit);
    s->lines[line].good[PASS_BIN] = (uint32_t)(TRIALS * (1 - hit));
}

static struct small *make(size_t causes, size_t lines)
{
    static const char *const names[] = {"a", "b", "c", "d"};
    struct small *s = calloc(1, sizeof *s);
    cr_assert(s);
    s->type = (struct es_detection_type){
        .name = "t", .lines = s->lines, .line_count = lines, .causes = s->cells, .good = {1000, 1000, 0}};
    for (size_t i = 0; i < lines; i++) {
        s->lines[i] = (struct es_detection_line){.procedure = (char *)names[i],
                                                 .measurand = (char *)"m",
                                                 .middle = 0,
                                                 .scatter = 1,
                                                 .causes = s->counts[i]};
    }
    for (size_t i = 0; i < causes; i++) {
        s->causes[i] = (struct es_detection_cause){.name = (char *)names[i], .meaning = (char *)names[i]};
    }
    s->plan = (struct es_detection_plan){.name = (char *)"p", .types = &s->type, .type_count = 1};
    s->d =
        (struct es_detection){.causes = s->causes, .cause_count = causes, .plans = &s->plan, .plan_count = 1};
    return s;
}

static struct es_seen failing(size_t line)
{
    static const char *const names[] = {"a", "b", "c", "d"};
    return (struct es_seen){names[line], "m", ES_FAIL, true, 6, NULL};
}

static struct es_causes rank(const struct small *s, const struct es_seen *seen, size_t count)
{
    struct es_causes out;
    struct es_error err = {0};
    cr_assert_eq(es_causes_rank(&s->d, "p", "t", seen, count, NULL, &out, &err), ES_OK, "%s", err.text);
    return out;
}

/* Eddy 1982 (read): prior 1 %, hit 80 %, false alarm 9.6 % -> 0.0776397516; further independent positives
 * 0.4122691293, 0.8539184610, 0.9798843078. */
Test(study_bayes, one_cause_and_repeated_evidence)
{
    static const double published[] = {0.0776397516, 0.4122691293, 0.8539184610, 0.9798843078};
    struct small *s = make(1, 4);
    struct es_seen seen[4];
    s->causes[0].rate = 0.01;
    for (size_t i = 0; i < 4; i++) {
        set(s, i, 0, 0.8);
        set_good(s, i, 0.096);
        seen[i] = failing(i);
        const struct es_causes c = rank(s, seen, i + 1);
        cr_expect_float_eq(1 - c.no_fault, published[i], 2e-7, "after %zu: %.10f", i + 1, 1 - c.no_fault);
    }
    free(s);
}

/* Four causes (recomputed): priors .70 .12 .10 .08, likelihoods .02 .85 .10 .30, then .05 .60 .70 .10; the
 * first is taken as "no fault". */
Test(study_bayes, four_rivals)
{
    static const double rates[] = {0.12, 0.10, 0.08}, first[] = {0.85, 0.10, 0.30},
                        second[] = {0.60, 0.70, 0.10};
    struct small *s = make(3, 2);
    const struct es_seen seen[] = {failing(0), failing(1)};
    for (size_t c = 0; c < 3; c++) {
        s->causes[c].rate = rates[c];
        set(s, 0, c, first[c]);
        set(s, 1, c, second[c]);
    }
    set_good(s, 0, 0.02);
    set_good(s, 1, 0.05);
    const struct es_causes one = rank(s, seen, 1), two = rank(s, seen, 2);
    cr_expect_float_eq(one.no_fault, 0.0933333, 1e-6);
    cr_expect_float_eq(one.items[0].probability, 0.68, 1e-6);
    cr_expect_float_eq(one.items[1].probability, 0.16, 1e-6);
    cr_expect_float_eq(one.items[2].probability, 0.0666667, 1e-6);
    cr_expect_float_eq(two.no_fault, 0.00981767, 1e-6);
    cr_expect_eq(two.items[0].index, 0);
    cr_expect_float_eq(two.items[0].probability, 0.85834502, 1e-6);
    cr_expect_float_eq(two.items[1].probability, 0.09817672, 1e-6);
    cr_expect_float_eq(two.items[2].probability, 0.03366059, 1e-6);
    free(s);
}

/* The same with priors that ten confirmed repairs of the last cause moved: of 0.30 in all, worth 20 repairs,
 * 8, 6.667 and 5.333; with ten more of the last one 8, 6.667 and 15.333 of 30: priors .08, .066667, .153333.
 * After the first evidence (by hand): .7 * .02 = .014, .08 * .85 = .068, .066667 * .1 = .0066667, .153333 *
 * .3 = .046, in all .1346667. */
Test(study_bayes, confirmed_repairs_move_the_prior)
{
    static const double rates[] = {0.12, 0.10, 0.08}, first[] = {0.85, 0.10, 0.30};
    struct small *s = make(3, 1);
    struct es_confirmed confirmed = {0};
    struct es_causes found;
    struct es_error err = {0};
    double moved[ES_CAUSES_MAX];
    const struct es_seen seen = failing(0);
    for (size_t c = 0; c < 3; c++) {
        s->causes[c].rate = rates[c];
        set(s, 0, c, first[c]);
    }
    set_good(s, 0, 0.02);
    for (int i = 0; i < 10; i++)
        es_confirmed_add(&confirmed, &s->d, "t", "t", "c");
    es_confirmed_rates(&s->d, &confirmed, moved);
    cr_expect_float_eq(moved[0], 0.08, 1e-12);
    cr_expect_float_eq(moved[1], 0.2 / 3, 1e-12);
    cr_expect_float_eq(moved[2], 0.46 / 3, 1e-12);
    cr_assert_eq(es_causes_rank(&s->d, "p", "t", &seen, 1, moved, &found, &err), ES_OK, "%s", err.text);
    cr_expect_float_eq(found.no_fault, 0.014 / 0.1346667, 1e-6);
    cr_expect_eq(found.items[0].index, 0);
    cr_expect_float_eq(found.items[0].probability, 0.068 / 0.1346667, 1e-6);
    cr_expect_eq(found.items[1].index, 2, "now before the second");
    cr_expect_float_eq(found.items[1].probability, 0.046 / 0.1346667, 1e-6);
    cr_expect_float_eq(found.items[2].probability, 0.0066667 / 0.1346667, 1e-6);
    free(s);
}

/* Prior 5 %, sensitivity 0.90, specificity 0.80 (from memory, recomputed): 0.1914893617 after a positive,
 * 0.0065359477 after a negative, which is what remains after a clean sheet. */
Test(study_bayes, what_remains_after_a_pass)
{
    struct small *s = make(1, 1);
    struct es_remaining r;
    struct es_error err = {0};
    s->causes[0].rate = 0.05;
    for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
        s->cells[0][band] = (struct es_detection_cell){100000000, 10000000, 90000000};
    }
    s->type.good = (struct es_detection_cell){100000000, 80000000, 20000000};
    cr_assert_eq(es_causes_remaining(&s->d, "p", "t", NULL, &r, &err), ES_OK, "%s", err.text);
    cr_expect_float_eq(r.probability, 0.0065359477, 1e-7, "%.10f", r.probability);
    cr_expect(r.upper > r.probability && r.upper < 1.01 * r.probability);
    cr_expect_float_eq(r.before, 0.05, 1e-12);
    set(s, 0, 0, 0.9);
    set_good(s, 0, 0.2);
    const struct es_seen seen = failing(0);
    const struct es_causes c = rank(s, &seen, 1);
    cr_expect_float_eq(c.items[0].probability, 0.1914893617, 1e-6);
    free(s);
}
