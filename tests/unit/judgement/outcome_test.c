#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/outcome.h"

Test(outcome, starts_empty_and_is_empty_again_after_free)
{
    struct es_outcome o;
    es_outcome_init(&o);
    cr_expect_eq(o.verdict, ES_NOT_TESTED);
    cr_expect_not(o.completed);
    cr_expect(isnan(o.safe_state_time));
    o.unit_serial = strdup("EX-1");
    es_outcome_free(&o);
    cr_expect_null(o.unit_serial);
    es_outcome_free(&o);
    es_outcome_free(NULL);
}

Test(outcome, adders_keep_what_was_added)
{
    struct es_outcome o;
    es_outcome_init(&o);
    for (int i = 0; i < 20; i++) {
        struct es_line *line = es_outcome_add_line(&o);
        cr_assert_not_null(line);
        cr_expect_null(line->procedure, "fresh elements are zeroed");
        line->guard = i;
        line->measurand = strdup("travel");
        struct es_curve *curve = es_outcome_add_curve(&o);
        curve->count = 1;
        curve->t = calloc(1, sizeof *curve->t);
        curve->y = calloc(1, sizeof *curve->y);
        curve->recording = strdup("up");
        es_outcome_add_procedure(&o)->name = strdup("stroke");
        es_outcome_add_confirmation(&o)->text = strdup("?");
        es_outcome_add_instrument(&o)->name = strdup("flow");
        es_outcome_add_recording(&o)->file = strdup("x");
    }
    cr_expect_eq(o.line_count, 20);
    cr_expect_eq(o.curve_count + o.procedure_count + o.confirmation_count + o.instrument_count, 80);
    for (int i = 0; i < 20; i++) {
        cr_expect_eq(o.lines[i].guard, i);
    }
    es_outcome_free(&o);
    cr_expect_eq(o.line_count, 0);
}
