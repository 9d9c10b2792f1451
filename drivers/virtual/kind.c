#include "drivers/virtual/kind.h"

#include <string.h>

/* Invented units: sizes usual for small control valves, of no real make. */

typedef void (*shape_of_unit)(struct es_parameters *p);

static void linear_lever(struct es_parameters *p)
{
    p->linkage = (struct es_linkage_parameters){
        .lever = true, .lever_length = 0.030, .backlash = 0.05 * ES_RAD_PER_DEG};
    p->electronics.gain = 8;
    p->electronics.rate_gain = 0.5;
}

static void direct_shaft(struct es_parameters *p)
{
    p->linkage = (struct es_linkage_parameters){.lever = false, .backlash = 0.03 * ES_RAD_PER_DEG};
    p->electronics.gain = 7;
    p->electronics.rate_gain = 0.5;
}

static void linear_single_acting(struct es_parameters *p)
{
    p->actuator = (struct es_actuator_parameters){
        .area = 0.016,
        .length = 0.030,
        .mass = 6,
        .preload = 0.4 * ES_BAR * 0.016,
        .spring_rate = 0.8 * ES_BAR * 0.016 / 0.030,
        .coulomb = 50,
        .adhesion = 53,
        .viscous = 400,
        .stribeck = 0.0003,
        .dead_volume = {0.15e-3, 0.15e-3},
        .hA = 6,
    };
    linear_lever(p);
}

static void linear_double_acting(struct es_parameters *p)
{
    p->actuator = (struct es_actuator_parameters){
        .area = 0.0125,
        .length = 0.030,
        .mass = 8,
        .coulomb = 110,
        .adhesion = 118,
        .viscous = 1200,
        .stribeck = 0.0003,
        .dead_volume = {0.15e-3, 0.15e-3},
        .hA = 6,
    };
    linear_lever(p);
}

static void part_turn_double_acting(struct es_parameters *p)
{
    p->actuator = (struct es_actuator_parameters){
        .area = 3.82e-4,
        .length = 90 * ES_RAD_PER_DEG,
        .mass = 0.05,
        .coulomb = 7,
        .adhesion = 8,
        .viscous = 12,
        .stribeck = 0.01,
        .dead_volume = {0.15e-3, 0.15e-3},
        .hA = 6,
    };
    direct_shaft(p);
}

/* Rack and pinion against springs: 0.6 bar to start, 1.5 bar at the end. */
static void part_turn_single_acting(struct es_parameters *p)
{
    part_turn_double_acting(p);
    p->actuator.preload = 0.6 * ES_BAR * 3.82e-4;
    p->actuator.spring_rate = 0.9 * ES_BAR * 3.82e-4 / (90 * ES_RAD_PER_DEG);
    p->actuator.coulomb = 1.4;
    p->actuator.adhesion = 1.5;
    /* Little friction to damp it: its electronics has to, or it passes each step by a tenth and hunts. */
    p->electronics.rate_gain = 1.1;
}

/* The adaptor block drives the coil both ways from the loop's current: nothing below the least current, down
 * at the low end, up at the high end. */
static void on_adaptor_block(struct es_parameters *p)
{
    p->electronics.adaptor = true;
    p->electronics.burden_voltage = 5.0;
    p->electronics.burden_resistance = 100;
}

static void module_single_acting(struct es_parameters *p)
{
    linear_single_acting(p);
    on_adaptor_block(p);
}

static void module_double_acting(struct es_parameters *p)
{
    part_turn_double_acting(p);
    on_adaptor_block(p);
}

/* No relay moves: the supply is joined to both outputs. */
static void self_proof_block(struct es_parameters *p)
{
    part_turn_double_acting(p);
    on_adaptor_block(p);
    p->relay.joined = true;
}

void es_virtual_kind_settle(struct es_parameters *p)
{
    if (!p->relay.joined) {
        return;
    }
    p->electronics.burden_voltage = 0;
    p->electronics.burden_resistance = 250;
    p->relay.bleed = 0;
}

static const struct kind {
    struct es_virtual_type_about about;
    shape_of_unit shape;
} kinds[ES_VIRTUAL_TYPE_COUNT] = {
    [ES_VIRTUAL_LINEAR_SINGLE_ACTING] = {{"linear-single-acting", true, false, false, false},
                                         linear_single_acting},
    [ES_VIRTUAL_PART_TURN_DOUBLE_ACTING] = {{"part-turn-double-acting", false, true, false, false},
                                            part_turn_double_acting},
    [ES_VIRTUAL_LINEAR_DOUBLE_ACTING] = {{"linear-double-acting", true, true, false, false},
                                         linear_double_acting},
    [ES_VIRTUAL_PART_TURN_SINGLE_ACTING] = {{"part-turn-single-acting", false, false, false, false},
                                            part_turn_single_acting},
    [ES_VIRTUAL_RELAY_MODULE_SINGLE_ACTING] = {{"relay-module-single-acting", true, false, true, false},
                                               module_single_acting},
    [ES_VIRTUAL_RELAY_MODULE_DOUBLE_ACTING] = {{"relay-module-double-acting", false, true, true, false},
                                               module_double_acting},
    [ES_VIRTUAL_SELF_PROOF_BLOCK] = {{"self-proof-block", false, true, true, true}, self_proof_block},
};

const struct es_virtual_type_about *es_virtual_type_about(enum es_virtual_type type)
{
    return (int)type >= 0 && type < ES_VIRTUAL_TYPE_COUNT ? &kinds[type].about : NULL;
}

const char *es_virtual_type_name(enum es_virtual_type type)
{
    return kinds[type].about.name;
}

bool es_virtual_type_find(const char *name, enum es_virtual_type *out)
{
    for (int i = 0; i < ES_VIRTUAL_TYPE_COUNT; i++) {
        if (strcmp(kinds[i].about.name, name) == 0) {
            *out = (enum es_virtual_type)i;
            return true;
        }
    }
    return false;
}

unsigned es_virtual_has(enum es_virtual_type type)
{
    const struct es_virtual_type_about *a = &kinds[type].about;
    return (a->double_acting ? ES_NEEDS_OUTPUT_2 : 0u) |
           (a->module ? 0u : ES_NEEDS_WHOLE | (a->linear ? ES_NEEDS_LEVER : 0u));
}

void es_virtual_kind_apply(enum es_virtual_type type, struct es_parameters *p)
{
    kinds[type].shape(p);
}
