/* `endstop check` promises a longest duration. Here every fault that the virtual bench knows is put in,
 * gross, and no run outlasts its promise: waits that time out, units that hunt, a bus so slow that readings
 * are late, air that never comes. In virtual time. */
#include <criterion/criterion.h>
#include <math.h>

#include "tests/system/library/virtual_run.h"

#define PLAN LIBRARY "after-relay-swap.plan.json"

/* Returns the share of the longest duration that the run took. */
static double share_of_longest(const char *type, const char *plan, const char *fault, double severity)
{
    struct virtual_run x;

    virtual_run_make(
        &x,
        &(struct virtual_case){
            .type = type, .plan = plan, .seed = 11, .fault = fault, .severity = severity, .watched = true});
    const double longest = virtual_longest(&x);
    virtual_run_to_any_end(&x, NULL);
    const double took = es_seconds(es_virtual_now(x.v));
    cr_expect_leq(took, longest, "%s with \"%s\" %g: %.2f s, at most %.2f s", type, fault, severity, took,
                  longest);
    virtual_run_free(&x);
    return took / longest;
}

Test(longest, every_gross_fault_keeps_within_the_proof)
{
    static const char *const types[] = {"linear-single-acting", "part-turn-double-acting"};
    static const enum es_virtual_type kinds[] = {ES_VIRTUAL_LINEAR_SINGLE_ACTING,
                                                 ES_VIRTUAL_PART_TURN_DOUBLE_ACTING};
    double nearest = 0;

    for (int f = 0; f < (int)es_virtual_fault_count(); f++) {
        const int first = f % 2; /* types take turns */
        const int type = es_virtual_fault_possible(f, kinds[first]) ? first : 1 - first;
        nearest = fmax(nearest, share_of_longest(types[type], PLAN, es_virtual_fault_get(f)->name, 1));
    }
    cr_expect_gt(nearest, 0.4, "the longest run takes %g of its promise", nearest);
}

/* The bus as slow as can be before the interlock ends the run, and units that never rest, with every
 * procedure that waits for something to come to rest. */
Test(longest, a_slow_bus_and_waits_that_time_out)
{
    static const char *const procedures[] = {LIBRARY "stroke.json", LIBRARY "step-response.json",
                                             LIBRARY "staircase.json", LIBRARY "dead-band.json",
                                             LIBRARY "loss-of-supplies.json"};

    for (size_t i = 0; i < sizeof procedures / sizeof procedures[0]; i++) {
        (void)share_of_longest("part-turn-double-acting", procedures[i], "slow bus", 0.3);
        (void)share_of_longest("part-turn-double-acting", procedures[i], "slow bus", 0.6);
        (void)share_of_longest("linear-single-acting", procedures[i], "actuator friction high", 1);
        (void)share_of_longest("linear-single-acting", procedures[i], "spool sticking", 1);
    }
}
