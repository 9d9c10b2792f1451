/* Roles: what a channel is for on a station. Procedures name roles; benches give them channels.
 * The table in role.c is the only list of them. Static data, thread-safe. */
#ifndef ES_BASE_ROLE_H
#define ES_BASE_ROLE_H

#include <stddef.h>

#include "rig/base/quantity.h"

enum es_role {
    ES_ROLE_LOOP_DEMAND,        /* out A: current the loop source is told to drive */
    ES_ROLE_LOOP_CURRENT,       /* in A: read-back */
    ES_ROLE_LOOP_VOLTAGE,       /* in V: at the unit's terminals */
    ES_ROLE_FEEDBACK_CURRENT,   /* in A: unit's position feedback */
    ES_ROLE_SENSOR_RATIO,       /* in 1: wiper over track voltage of the unit's position sensor */
    ES_ROLE_SHAFT_ANGLE,        /* in rad: reference encoder on the unit's shaft, 0 = mid */
    ES_ROLE_SHAFT_DRIVE,        /* out rad: angle the bench's shaft motor is told to go to */
    ES_ROLE_SHAFT_COUPLING,     /* out state: 1 motor turns the unit's shaft, 0 actuator does */
    ES_ROLE_SUPPLY_PRESSURE,    /* in Pa gauge */
    ES_ROLE_SUPPLY_DEMAND,      /* out Pa gauge: regulator */
    ES_ROLE_SUPPLY_VALVE,       /* out state: 1 open */
    ES_ROLE_OUTPUT_1_PRESSURE,  /* in Pa gauge */
    ES_ROLE_OUTPUT_1_FLOW,      /* in m3/s ANR, positive out of the unit */
    ES_ROLE_OUTPUT_1_ISOLATING, /* out state: 1 open to the test actuator, 0 shut */
    ES_ROLE_OUTPUT_1_VENT,      /* out state: 1 open to atmosphere */
    ES_ROLE_OUTPUT_2_PRESSURE,
    ES_ROLE_OUTPUT_2_FLOW,
    ES_ROLE_OUTPUT_2_ISOLATING,
    ES_ROLE_OUTPUT_2_VENT,
    ES_ROLE_TRAVEL,              /* in m (linear) or rad (part-turn): test actuator */
    ES_ROLE_AUXILIARY_SUPPLY,    /* out state: 24 V DC for a shutdown module */
    ES_ROLE_EMERGENCY_STOP,      /* in state: 1 healthy (circuit closed), 0 pressed or broken wire */
    ES_ROLE_GUARD,               /* in state: 1 closed, 0 open */
    ES_ROLE_AMBIENT_TEMPERATURE, /* in K */
    ES_ROLE_AMBIENT_PRESSURE,    /* in Pa absolute */
    ES_ROLE_AMBIENT_HUMIDITY,    /* in 1 */
    ES_ROLE_SUPPLY_DEW_POINT,    /* in K */
    ES_ROLE_WATCHDOG,            /* out number: written within its period, else the bench makes itself safe */
    ES_ROLE_SELF_ADJUSTMENT,     /* out state: 1 starts the unit's self-adjustment, 0 ends it */
    ES_ROLE_SUPPLY_FLOW,         /* in m3/s ANR: out of the source into the supply volume */
    ES_ROLE_COUNT,
    ES_ROLE_NONE = -1
};

enum es_direction { ES_IN, ES_OUT };

struct es_role_info {
    const char *name; /* in files and messages: "output 1 pressure" */
    enum es_direction direction;
    enum es_dimension dimension;
    enum es_dimension other_dimension; /* ES_DIM_COUNT when there is only one */
    bool is_state;                     /* 0 or 1 */
    const char *meaning;               /* one line */
};

const struct es_role_info *es_role_info(enum es_role role); /* never NULL for a valid role */
enum es_role es_role_find(const char *name);                /* ES_ROLE_NONE when unknown */

#endif
