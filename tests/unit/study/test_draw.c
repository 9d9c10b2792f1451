/* Who is who: shares, evenness, independence of the rest of the study. */
#include <criterion/criterion.h>
#include <math.h>

#include "rig/study/inner.h"

static struct es_study make(size_t types, double good_share)
{
    struct es_study s = {.order = {.seed = 5,
                                   .units = 4000,
                                   .type_count = types,
                                   .good_share = good_share,
                                   .severity_low = 0.2,
                                   .severity_high = 0.8}};
    s.types[0].feedback = s.types[1].feedback = true;
    s.types[0].kind = ES_VIRTUAL_LINEAR_SINGLE_ACTING;
    s.types[1].kind = ES_VIRTUAL_PART_TURN_DOUBLE_ACTING;
    return s;
}

Test(study_draw, shares_hold_in_every_first_part)
{
    const struct es_study s = make(2, 0.4);
    size_t good[2] = {0};
    for (size_t i = 0; i < 4000; i++) {
        const size_t before = i / 2;
        struct es_study_unit u;
        es_study_draw(&s, i, &u);
        cr_assert_eq(u.type, i % 2);
        good[u.type] += u.fault < 0;
        cr_assert(fabs((double)good[u.type] - 0.4 * (double)(before + 1)) <= 1.001);
    }
}

Test(study_draw, faults_take_turns_and_severities_spread)
{
    const struct es_study s = make(1, 0);
    size_t count[ES_STUDY_FAULTS_MAX] = {0}, low = 0;
    double sum = 0;
    for (size_t i = 0; i < 2900; i++) {
        struct es_study_unit u;
        es_study_draw(&s, i, &u);
        cr_assert(u.fault >= 0 && es_virtual_fault_possible(u.fault, ES_VIRTUAL_LINEAR_SINGLE_ACTING));
        cr_assert(u.severity >= 0.2 && u.severity <= 0.8);
        count[u.fault]++;
        sum += u.severity;
        low += u.severity < 0.35;
    }
    for (int f = 0; f < (int)es_virtual_fault_count(); f++) {
        if (es_virtual_fault_possible(f, ES_VIRTUAL_LINEAR_SINGLE_ACTING)) {
            cr_expect(count[f] >= 90, "%s only %zu times", es_study_fault_name(f), count[f]);
        }
    }
    cr_expect_float_eq(sum / 2900, 0.5, 0.01);
    cr_expect_float_eq((double)low / 2900, 0.25, 0.02);
}

Test(study_draw, a_unit_does_not_depend_on_how_many_there_are)
{
    struct es_study s = make(2, 0.4), larger = s;
    larger.order.units = 9;
    larger.order.threads = 7;
    for (size_t i = 0; i < 9; i++) {
        struct es_study_unit a, b;
        es_study_draw(&s, i, &a);
        es_study_draw(&larger, i, &b);
        cr_expect(a.seed == b.seed && a.fault == b.fault && a.severity == b.severity);
    }
    struct es_study_unit a, b;
    larger.order.seed = 6;
    es_study_draw(&s, 3, &a);
    es_study_draw(&larger, 3, &b);
    cr_expect_neq(a.seed, b.seed);
}

Test(study_draw, only_the_faults_asked_for)
{
    struct es_study s = make(2, 0);
    s.order.faults[0] = "encoder slack";
    s.order.faults[1] = "lever-too-short"; /* linear only; hyphens are easier in a shell */
    s.order.fault_count = 2;
    int faults[ES_STUDY_FAULTS_MAX];
    cr_expect_eq(es_study_faults(&s.order, &s.types[0], faults), 2);
    cr_expect_eq(es_study_faults(&s.order, &s.types[1], faults), 1);
    cr_expect_str_eq(es_study_fault_name(faults[0]), "encoder slack");
    s.order.faults[0] = "feedback drifted";
    s.order.fault_count = 1;
    cr_expect_eq(es_study_faults(&s.order, &s.types[0], faults), 1);
    s.types[0].feedback = false;
    cr_expect_eq(es_study_faults(&s.order, &s.types[0], faults), 0, "a type without feedback");
    cr_expect_str_eq(es_study_fault_name(-1), "good");
}
