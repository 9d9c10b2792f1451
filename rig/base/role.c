#include "rig/base/role.h"

#include <string.h>

#define IN(name_, dim_, meaning_)                                                                            \
    {                                                                                                        \
        .name = (name_), .direction = ES_IN, .dimension = (dim_), .other_dimension = ES_DIM_COUNT,           \
        .meaning = (meaning_)                                                                                \
    }
#define OUT(name_, dim_, meaning_)                                                                           \
    {                                                                                                        \
        .name = (name_), .direction = ES_OUT, .dimension = (dim_), .other_dimension = ES_DIM_COUNT,          \
        .meaning = (meaning_)                                                                                \
    }
#define STATE_IN(name_, meaning_)                                                                            \
    {                                                                                                        \
        .name = (name_), .direction = ES_IN, .dimension = ES_DIM_NUMBER, .other_dimension = ES_DIM_COUNT,    \
        .is_state = true, .meaning = (meaning_)                                                              \
    }
#define STATE_OUT(name_, meaning_)                                                                           \
    {                                                                                                        \
        .name = (name_), .direction = ES_OUT, .dimension = ES_DIM_NUMBER, .other_dimension = ES_DIM_COUNT,   \
        .is_state = true, .meaning = (meaning_)                                                              \
    }

static const struct es_role_info roles[ES_ROLE_COUNT] = {
    [ES_ROLE_LOOP_DEMAND] =
        OUT("loop demand", ES_DIM_CURRENT, "current that the loop source is told to drive"),
    [ES_ROLE_LOOP_CURRENT] = IN("loop current", ES_DIM_CURRENT, "loop current read back"),
    [ES_ROLE_LOOP_VOLTAGE] = IN("loop voltage", ES_DIM_VOLTAGE, "voltage at the unit's terminals"),
    [ES_ROLE_FEEDBACK_CURRENT] = IN("feedback current", ES_DIM_CURRENT, "the unit's position feedback"),
    [ES_ROLE_SENSOR_RATIO] =
        IN("sensor ratio", ES_DIM_RATIO, "wiper over track voltage of the unit's position sensor"),
    [ES_ROLE_SHAFT_ANGLE] =
        IN("shaft angle", ES_DIM_ANGLE, "reference encoder on the unit's shaft, 0 at mid travel"),
    [ES_ROLE_SHAFT_DRIVE] =
        OUT("shaft drive", ES_DIM_ANGLE, "angle that the bench's shaft motor is told to go to"),
    [ES_ROLE_SHAFT_COUPLING] =
        STATE_OUT("shaft coupling", "1: the motor turns the unit's shaft, 0: the actuator's lever does"),
    [ES_ROLE_SUPPLY_PRESSURE] = IN("supply pressure", ES_DIM_PRESSURE, "gauge pressure of the air supply"),
    [ES_ROLE_SUPPLY_DEMAND] =
        OUT("supply demand", ES_DIM_PRESSURE, "gauge pressure that the supply regulator is told to hold"),
    [ES_ROLE_SUPPLY_VALVE] = STATE_OUT("supply valve", "1: open, 0: shut and the supply volume vented"),
    [ES_ROLE_OUTPUT_1_PRESSURE] =
        IN("output 1 pressure", ES_DIM_PRESSURE, "gauge pressure in output 1's test volume"),
    [ES_ROLE_OUTPUT_1_FLOW] = IN("output 1 flow", ES_DIM_FLOW, "flow out of the unit's output 1"),
    [ES_ROLE_OUTPUT_1_ISOLATING] =
        STATE_OUT("output 1 isolating valve", "1: open to the test actuator, 0: shut"),
    [ES_ROLE_OUTPUT_1_VENT] = STATE_OUT("output 1 vent valve", "1: open to atmosphere, 0: shut"),
    [ES_ROLE_OUTPUT_2_PRESSURE] =
        IN("output 2 pressure", ES_DIM_PRESSURE, "gauge pressure in output 2's test volume"),
    [ES_ROLE_OUTPUT_2_FLOW] = IN("output 2 flow", ES_DIM_FLOW, "flow out of the unit's output 2"),
    [ES_ROLE_OUTPUT_2_ISOLATING] =
        STATE_OUT("output 2 isolating valve", "1: open to the test actuator, 0: shut"),
    [ES_ROLE_OUTPUT_2_VENT] = STATE_OUT("output 2 vent valve", "1: open to atmosphere, 0: shut"),
    [ES_ROLE_TRAVEL] = {.name = "travel",
                        .direction = ES_IN,
                        .dimension = ES_DIM_LENGTH,
                        .other_dimension = ES_DIM_ANGLE,
                        .meaning =
                            "position of the test actuator: a length (linear) or an angle (part-turn)"},
    [ES_ROLE_AUXILIARY_SUPPLY] = STATE_OUT("auxiliary supply", "1: 24 V DC to the unit's shutdown module"),
    [ES_ROLE_EMERGENCY_STOP] =
        STATE_IN("emergency stop", "1: circuit healthy, 0: pressed or its wire broken"),
    [ES_ROLE_GUARD] = STATE_IN("guard", "1: closed, 0: open"),
    [ES_ROLE_AMBIENT_TEMPERATURE] =
        IN("ambient temperature", ES_DIM_TEMPERATURE, "air temperature at the bench"),
    [ES_ROLE_AMBIENT_PRESSURE] =
        IN("ambient pressure", ES_DIM_PRESSURE, "absolute pressure of the surrounding air"),
    [ES_ROLE_AMBIENT_HUMIDITY] =
        IN("ambient humidity", ES_DIM_RATIO, "relative humidity of the surrounding air"),
    [ES_ROLE_SUPPLY_DEW_POINT] =
        IN("supply dew point", ES_DIM_TEMPERATURE, "pressure dew point of the supply air"),
    [ES_ROLE_WATCHDOG] =
        OUT("watchdog", ES_DIM_NUMBER, "counter that the bench's own hardware watches; it makes itself safe"),
    [ES_ROLE_SELF_ADJUSTMENT] = STATE_OUT(
        "self-adjustment", "1: starts the unit's self-adjustment over its digital channel, 0: ends it"),
    [ES_ROLE_SUPPLY_FLOW] = IN("supply flow", ES_DIM_FLOW, "flow out of the air supply into the bench"),
};

const struct es_role_info *es_role_info(enum es_role role)
{
    if ((int)role < 0 || role >= ES_ROLE_COUNT)
        return NULL;
    return &roles[role];
}

enum es_role es_role_find(const char *name)
{
    for (int i = 0; i < ES_ROLE_COUNT; i++)
        if (strcmp(roles[i].name, name) == 0)
            return (enum es_role)i;
    return ES_ROLE_NONE;
}
