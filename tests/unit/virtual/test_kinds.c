/* Every kind of unit: a good one does its work; the relay module on its adaptor block; options of a unit. */
#include <criterion/criterion.h>
#include <math.h>

#include "tests/unit/virtual/helpers.h"

static double travel_of(enum es_virtual_type type)
{
    return es_virtual_type_about(type)->linear ? 0.030 : 90 * DEG;
}

static bool whole(enum es_virtual_type type)
{
    return !es_virtual_type_about(type)->module;
}

static void stands_where_it_is_told(enum es_virtual_type type, uint64_t seed)
{
    static const double demands[] = {20, 4, 12, 8, 16, 13, 12.5};
    struct es_virtual *v = start(type, seed);
    connect_actuator(v, 4 * BAR);
    for (size_t n = 0; n < sizeof demands / sizeof demands[0]; n++) {
        demand(v, demands[n] * MA, 6);
        const double share = (demands[n] - 4) / 16;
        cr_expect_float_eq(truth(v, ES_ROLE_TRAVEL) / travel_of(type), share, 0.012, "%s %d: %g at %g mA",
                           es_virtual_type_name(type), (int)seed, truth(v, ES_ROLE_TRAVEL) / travel_of(type),
                           demands[n]);
        cr_expect_float_eq(truth(v, ES_ROLE_FEEDBACK_CURRENT), demands[n] * MA, 0.16 * MA);
    }
    es_virtual_free(v);
}

/* Within a band of 1 % and for good: a good unit does not hunt. */
static void comes_to_rest(enum es_virtual_type type, uint64_t seed)
{
    struct es_virtual *v = start(type, seed);
    connect_actuator(v, 4 * BAR);
    for (int i = 0; i < 8; i++) {
        demand(v, (5 + 1.7 * i) * MA, 5);
        const double at = truth(v, ES_ROLE_TRAVEL);
        es_virtual_advance(v, 4);
        cr_expect_float_eq(truth(v, ES_ROLE_TRAVEL), at, 0.007 * travel_of(type), "%s %d at %d: %g",
                           es_virtual_type_name(type), (int)seed, i,
                           (truth(v, ES_ROLE_TRAVEL) - at) / travel_of(type));
    }
    es_virtual_free(v);
}

Test(kinds, good_whole_units_stand_where_they_are_told)
{
    for (int type = 0; type < ES_VIRTUAL_TYPE_COUNT; type++) {
        for (uint64_t seed = 0; seed < 5 && whole((enum es_virtual_type)type); seed++) {
            stands_where_it_is_told((enum es_virtual_type)type, seed);
            comes_to_rest((enum es_virtual_type)type, seed);
        }
    }
}

Test(kinds, no_good_unit_leaks_at_rest)
{
    for (int type = 0; type < ES_VIRTUAL_SELF_PROOF_BLOCK; type++) {
        for (uint64_t seed = 0; seed < 5; seed++) {
            struct es_virtual *v = start((enum es_virtual_type)type, seed);
            close_volumes(v, 4 * BAR);
            cr_expect(fabs(truth(v, ES_ROLE_OUTPUT_1_FLOW)) < 2 * NL_H);
            cr_expect(fabs(truth(v, ES_ROLE_OUTPUT_2_FLOW)) < 2 * NL_H);
            es_virtual_free(v);
        }
    }
}

static double seconds_until(struct es_virtual *v, double current, double share, double travel)
{
    double t = 0;
    set(v, ES_ROLE_LOOP_DEMAND, current);
    while (t < 20 && fabs(truth(v, ES_ROLE_TRAVEL) - share * travel) > 0.01 * travel) {
        es_virtual_advance(v, 0.01);
        t += 0.01;
    }
    return t;
}

Test(kinds, strokes_take_a_few_seconds)
{
    for (int type = 0; type < ES_VIRTUAL_SELF_PROOF_BLOCK; type++) {
        struct es_virtual *v = start_nominal((enum es_virtual_type)type);
        const double travel = travel_of((enum es_virtual_type)type);
        connect_actuator(v, 4 * BAR);
        demand(v, 4 * MA, 5);
        const double up = seconds_until(v, 20 * MA, 1, travel);
        demand(v, 20 * MA, 5);
        const double down = seconds_until(v, 4 * MA, 0, travel);
        cr_expect(up > 0.2 && up < 5, "%s up %g s", es_virtual_type_name((enum es_virtual_type)type), up);
        cr_expect(down > 0.2 && down < 6, "%s down %g s", es_virtual_type_name((enum es_virtual_type)type),
                  down);
        es_virtual_free(v);
    }
}

/* The adaptor block: 12 mA is the middle, a coil without current leaves both outputs shut. */
Test(kinds, loop_current_drives_a_relay_module)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_RELAY_MODULE_DOUBLE_ACTING);
    close_volumes(v, 4 * BAR);
    cr_expect(truth(v, ES_ROLE_OUTPUT_1_PRESSURE) < 0.02 * BAR);
    demand(v, 20 * MA, 8); /* until the air has cooled */
    cr_expect_float_eq(truth(v, ES_ROLE_OUTPUT_1_PRESSURE), 4 * BAR, 0.05 * BAR);
    cr_expect(truth(v, ES_ROLE_OUTPUT_2_PRESSURE) < 0.02 * BAR);
    cr_expect_float_eq(look(v).spool, 1, 0.02);
    demand(v, 12 * MA, 5);
    cr_expect_float_eq(look(v).spool, 0, 0.02);
    cr_expect_float_eq(truth(v, ES_ROLE_OUTPUT_1_PRESSURE), 4 * BAR, 0.05 * BAR, "it holds: %g bar",
                       truth(v, ES_ROLE_OUTPUT_1_PRESSURE) / BAR);
    demand(v, 4 * MA, 3);
    cr_expect(truth(v, ES_ROLE_OUTPUT_1_PRESSURE) < 0.02 * BAR);
    cr_expect_float_eq(truth(v, ES_ROLE_OUTPUT_2_PRESSURE), 4 * BAR, 0.05 * BAR);
    demand(v, 0, 3);
    cr_expect(!look(v).alive && fabs(look(v).spool) < 0.02);
    cr_expect(truth(v, ES_ROLE_SENSOR_RATIO) == 0 && truth(v, ES_ROLE_FEEDBACK_CURRENT) == 0);
    demand(v, 10 * MA, 1);
    cr_expect_float_eq(truth(v, ES_ROLE_LOOP_VOLTAGE), 5 + 100 * 10 * MA, 1e-3);
    es_virtual_free(v);
}

Test(kinds, single_acting_module_has_no_output_2)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_RELAY_MODULE_SINGLE_ACTING);
    close_volumes(v, 4 * BAR);
    demand(v, 4 * MA, 3);
    cr_expect(truth(v, ES_ROLE_OUTPUT_2_PRESSURE) < 0.001 * BAR);
    demand(v, 20 * MA, 3);
    cr_expect_float_eq(truth(v, ES_ROLE_OUTPUT_1_PRESSURE), 4 * BAR, 0.05 * BAR);
    es_virtual_free(v);
}

/* Supply and both outputs are one; the loop sees a resistor; nothing of a unit can be wrong with it. */
Test(kinds, self_proof_block_joins_supply_and_outputs)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_SELF_PROOF_BLOCK);
    close_volumes(v, 4 * BAR);
    demand(v, 12 * MA, 20);
    const double supply = truth(v, ES_ROLE_SUPPLY_PRESSURE);
    cr_expect_float_eq(supply, 4 * BAR, 0.05 * BAR);
    cr_expect_float_eq(truth(v, ES_ROLE_OUTPUT_1_PRESSURE), supply, 1e-4 * BAR);
    cr_expect_float_eq(truth(v, ES_ROLE_OUTPUT_2_PRESSURE), supply, 1e-4 * BAR);
    cr_expect_float_eq(truth(v, ES_ROLE_LOOP_VOLTAGE), 250 * 12 * MA, 1e-6);
    cr_expect(!es_virtual_fault_possible(es_virtual_fault_find("relay seat leaks to output 1"),
                                         ES_VIRTUAL_SELF_PROOF_BLOCK));
    cr_expect(es_virtual_fault_possible(es_virtual_fault_find("fitting leaks on output 2"),
                                        ES_VIRTUAL_SELF_PROOF_BLOCK));
    es_virtual_free(v);
}

Test(kinds, a_module_has_only_faults_that_it_can_have)
{
    const enum es_virtual_type module = ES_VIRTUAL_RELAY_MODULE_DOUBLE_ACTING;
    cr_expect(es_virtual_fault_possible(es_virtual_fault_find("coil open"), module));
    cr_expect(es_virtual_fault_possible(es_virtual_fault_find("seal between outputs missing"), module));
    cr_expect(!es_virtual_fault_possible(es_virtual_fault_find("sensor track worn"), module));
    cr_expect(!es_virtual_fault_possible(es_virtual_fault_find("lever too long"), module));
    cr_expect(!es_virtual_fault_possible(es_virtual_fault_find("seal between outputs missing"),
                                         ES_VIRTUAL_RELAY_MODULE_SINGLE_ACTING));
    cr_expect(!es_virtual_fault_possible(es_virtual_fault_find("lever too long"),
                                         ES_VIRTUAL_PART_TURN_SINGLE_ACTING));
    cr_expect(
        es_virtual_fault_possible(es_virtual_fault_find("lever too long"), ES_VIRTUAL_LINEAR_DOUBLE_ACTING));
}

static struct es_virtual *with_options(bool feedback, bool shutdown_module)
{
    struct es_virtual_config config;
    struct es_virtual *v = NULL;
    es_virtual_config_init(&config, ES_VIRTUAL_PART_TURN_DOUBLE_ACTING);
    config.feedback = feedback;
    config.shutdown_module = shutdown_module;
    cr_assert(es_virtual_new(&config, &v, NULL) == ES_OK);
    return v;
}

Test(kinds, without_position_feedback)
{
    struct es_virtual *v = with_options(false, false);
    connect_actuator(v, 4 * BAR);
    demand(v, 12 * MA, 5);
    cr_expect(truth(v, ES_ROLE_FEEDBACK_CURRENT) == 0);
    cr_expect_float_eq(truth(v, ES_ROLE_TRAVEL), 45 * DEG, 1 * DEG);
    es_virtual_free(v);
}

Test(kinds, shutdown_module_needs_its_24_volts)
{
    struct es_virtual *v = with_options(true, true);
    connect_actuator(v, 4 * BAR);
    demand(v, 20 * MA, 5);
    cr_expect(truth(v, ES_ROLE_TRAVEL) < 1 * DEG, "off: driven down");
    set(v, ES_ROLE_AUXILIARY_SUPPLY, 1);
    es_virtual_advance(v, 5);
    cr_expect(truth(v, ES_ROLE_TRAVEL) > 89 * DEG);
    set(v, ES_ROLE_AUXILIARY_SUPPLY, 0);
    es_virtual_advance(v, 5);
    cr_expect(truth(v, ES_ROLE_TRAVEL) < 1 * DEG);
    cr_expect(look(v).shut_down);
    es_virtual_free(v);
}
