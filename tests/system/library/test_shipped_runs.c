/* Every shipped plan on good units of the types that it is for, and every procedure on a unit, or a bench,
 * with a fault that it must catch. In virtual time. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

#include "tests/system/library/virtual_run.h"

/* ---- Good units pass ---- */

/* Returns the bench time, s. */
static double passes(const char *plan, const char *type, bool attended, uint64_t seed)
{
    struct virtual_run x;

    virtual_run_make(&x,
                     &(struct virtual_case){.type = type, .plan = plan, .seed = seed, .attended = attended});
    virtual_run(&x, NULL);
    cr_expect_eq(x.outcome.verdict, ES_PASS, "%s on %s: %s", plan, type, es_verdict_word(x.outcome.verdict));
    if (x.outcome.verdict != ES_PASS)
        virtual_show(&x, false);
    const double took = es_seconds(es_virtual_now(x.v));
    virtual_run_free(&x);
    return took;
}

/* `longest`: bench time of each run, s. */
static void passes_on_complete_units(const char *plan, bool attended, double longest)
{
    static const char *const types[] = {"linear-single-acting", "linear-single-acting-plain",
                                        "linear-double-acting", "part-turn-single-acting",
                                        "part-turn-double-acting"};

    for (size_t i = 0; i < sizeof types / sizeof types[0]; i++)
        cr_expect_lt(passes(plan, types[i], attended, 3), longest, "%s on %s", plan, types[i]);
}

Test(good_units, after_relay_swap)
{
    passes_on_complete_units(LIBRARY "after-relay-swap.plan.json", false, 12 * 60);
}

/* What takes its place last is held back, so that such a unit takes no longer than the plan may. */
Test(faulty_units, a_self_adjustment_without_end_keeps_within_the_time)
{
    static const char *const types[] = {"linear-single-acting", "part-turn-double-acting"};

    for (size_t i = 0; i < sizeof types / sizeof types[0]; i++) {
        struct virtual_run x;
        virtual_run_make(&x, &(struct virtual_case){.type = types[i],
                                                    .plan = LIBRARY "after-relay-swap.plan.json",
                                                    .seed = 3,
                                                    .fault = "self-adjustment never ends",
                                                    .severity = 1});
        virtual_run(&x, NULL);
        const struct es_line *l = virtual_line(&x, "self-adjustment came to an end");
        cr_expect(l != NULL && l->verdict == ES_FAIL);
        cr_expect_eq(x.outcome.verdict, ES_FAIL);
        cr_expect_lt(es_seconds(es_virtual_now(x.v)), 12 * 60, "%s", types[i]);
        virtual_run_free(&x);
    }
}

/* With somebody there: every question of the cautions goes by. */
Test(good_units, incoming_complete_unit)
{
    passes_on_complete_units(LIBRARY "incoming-complete-unit.plan.json", true, 30 * 60);
}

Test(good_units, returned_unit_audit)
{
    (void)passes(LIBRARY "returned-unit-audit.plan.json", "linear-double-acting", false, 5);
    (void)passes(LIBRARY "returned-unit-audit.plan.json", "part-turn-double-acting", false, 5);
}

Test(good_units, incoming_spare_relay_module)
{
    for (uint64_t seed = 1; seed <= 4; seed++) {
        (void)passes(LIBRARY "incoming-relay-module.plan.json", "relay-module-single-acting", false, seed);
        (void)passes(LIBRARY "incoming-relay-module.plan.json", "relay-module-double-acting", false, seed);
    }
}

Test(good_units, endurance_cycling)
{
    (void)passes(LIBRARY "endurance-cycling.plan.json", "part-turn-double-acting", false, 3);
}

Test(good_bench, self_proof)
{
    for (uint64_t seed = 1; seed <= 8; seed++)
        (void)passes(LIBRARY "bench-self-proof.plan.json", "self-proof-block", true, seed);
}

/* ---- Faults are caught ---- */

struct caught {
    const char *plan, *type, *fault;
    double severity, per_stroke;
    const char *line; /* this one fails */
};

#define AUDIT    LIBRARY "returned-unit-audit.plan.json"
#define INCOMING LIBRARY "incoming-complete-unit.plan.json"

static const struct caught faults[] = {
    {LIBRARY "bench-self-proof.json", "self-proof-block", "fitting leaks on output 1", 0.15, 0,
     "bench's own leak at output 1"},
    {LIBRARY "bench-self-proof.json", "self-proof-block", "fitting leaks on output 2", 0.15, 0,
     "bench's own leak at output 2"},
    {LIBRARY "bench-self-proof.json", "self-proof-block", "flow sensor drifted", 0.3, 0,
     "zero of output 1 flow"},
    {LIBRARY "loop-and-supply.json", "linear-single-acting", "electronics dead", 1, 0,
     "terminal voltage at the highest current"},
    {LIBRARY "loop-and-supply.json", "part-turn-double-acting", "minimum current high", 0.3, 0,
     "lowest operating current"},
    {LIBRARY "relay-capacity.json", "linear-single-acting", "nozzle partly blocked", 0.6, 0,
     "flow delivered by output 1"},
    {LIBRARY "relay-capacity.json", "relay-module-double-acting", "coil weak", 0.6, 0,
     "conductance into output 2"},
    {LIBRARY "relay-capacity.json", "linear-single-acting", "spool worn", 0.8, 0, "air consumption at rest"},
    {LIBRARY "relay-capacity.json", "part-turn-double-acting", "diaphragm leaking", 0.4, 0,
     "air consumption at rest"},
    {LIBRARY "relay-module-direction.json", "relay-module-double-acting", "outputs crossed", 1, 0,
     "flow of the other output"},
    {LIBRARY "relay-module-direction.json", "relay-module-single-acting", "spool worn", 0.7, 0,
     "flow of output 1 at mid current"},
    {LIBRARY "relay-leak.json", "relay-module-double-acting", "relay seat leaks to output 2", 0.3, 0,
     "leak of output 2 at nominal supply"},
    {AUDIT, "linear-single-acting", "feedback drifted", 0.3, 0, "inaccuracy of the position feedback"},
    {AUDIT, "linear-single-acting", "coupling slack", 0.5, 0, "hysteresis of the travel"},
    {LIBRARY "loss-of-supplies.json", "linear-single-acting", "diaphragm leaking", 0.3, 0,
     "travel after loss of signal"},
    {LIBRARY "loss-of-supplies.json", "linear-single-acting", "relay seat leaks to output 1", 0.3, 0,
     "travel after loss of air"},
    {LIBRARY "self-adjustment.json", "linear-single-acting", "self-adjustment never ends", 0.75, 0,
     "duration of the self-adjustment"},
    {LIBRARY "self-adjustment.json", "part-turn-double-acting", "self-adjustment never ends", 1, 0,
     "self-adjustment came to an end"},
    {LIBRARY "endurance.json", "linear-single-acting", "nozzle partly blocked", 0.01, 0.004,
     "stroke time up, after"},
    {LIBRARY "endurance.json", "linear-single-acting", "coupling slack", 0.01, 0.004, "drift at half travel"},
};

Test(faulty_units, are_caught)
{
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        const struct caught *c = &faults[i];
        struct virtual_run x;
        virtual_run_make(&x, &(struct virtual_case){.type = c->type,
                                                    .plan = c->plan,
                                                    .seed = 3,
                                                    .attended = true,
                                                    .fault = c->fault,
                                                    .severity = c->severity,
                                                    .per_stroke = c->per_stroke});
        virtual_run(&x, NULL);
        const struct es_line *l = virtual_line(&x, c->line);
        cr_expect(l != NULL && l->verdict == ES_FAIL, "%s on %s: \"%s\": %s", c->fault, c->type, c->line,
                  l == NULL ? "no such line" : es_verdict_word(l->verdict));
        cr_expect_eq(x.outcome.verdict, ES_FAIL, "%s on %s: %s", c->fault, c->type,
                     es_verdict_word(x.outcome.verdict));
        virtual_run_free(&x);
    }
}

/* ---- Gates ---- */

static const struct es_procedure_record *record_of(const struct virtual_run *x, const char *name)
{
    for (size_t i = 0; i < x->outcome.procedure_count; i++)
        if (strcmp(x->outcome.procedures[i].name, name) == 0)
            return &x->outcome.procedures[i];
    cr_assert(false, "no record of %s", name);
    return NULL;
}

/* No stroke when the leak test failed, unless asked for; then the outcome says who asked. */
Test(gates, no_stroke_after_a_failed_leak_test_unless_asked_for)
{
    for (int asked = 0; asked < 2; asked++) {
        struct virtual_run x;
        virtual_run_make(&x, &(struct virtual_case){.type = "linear-single-acting",
                                                    .plan = INCOMING,
                                                    .seed = 3,
                                                    .fault = "relay seat leaks to output 1",
                                                    .severity = 0.15});
        x.order.ignore_gates = asked;
        virtual_run(&x, NULL);
        const struct es_procedure_record *stroke = record_of(&x, "stroke");
        const struct es_line *travel = virtual_line(&x, "travel");
        cr_assert_not_null(travel);
        cr_expect_eq(stroke->completed, asked);
        cr_expect_eq(travel->verdict, asked ? ES_PASS : ES_NOT_TESTED);
        if (!asked) {
            cr_assert_not_null(stroke->skipped);
            cr_expect_str_eq(stroke->skipped, "not run, because \"relay leak\" failed");
        }
        size_t said = 0;
        for (size_t i = 0; i < x.outcome.confirmation_count; i++) {
            const struct es_confirmation *c = &x.outcome.confirmations[i];
            if (strstr(c->text, "\"stroke\" would have been left out") == NULL)
                continue;
            said++;
            cr_expect_str_eq(c->answer, "run all the same, as asked for");
            cr_expect_str_eq(c->person, "Ada Example");
        }
        cr_expect_eq(said, asked ? 1u : 0u);
        cr_expect_eq(x.outcome.verdict, ES_FAIL);
        virtual_run_free(&x);
    }
}
