/* The measures themselves, for measure_table.c and tests; and what their setting rows share. */
#ifndef ES_MEASURES_MEASURES_H
#define ES_MEASURES_MEASURES_H

#include "procedures/measures/measure.h"

extern const struct es_measure es_measure_sensor_sweep;
extern const struct es_measure es_measure_relay_leak;
extern const struct es_measure es_measure_held_pressure;
extern const struct es_measure es_measure_filling;
extern const struct es_measure es_measure_relay_direction;
extern const struct es_measure es_measure_stroke;
extern const struct es_measure es_measure_step_response;
extern const struct es_measure es_measure_level;
extern const struct es_measure es_measure_extreme;
extern const struct es_measure es_measure_difference;
extern const struct es_measure es_measure_loss;
extern const struct es_measure es_measure_supply_influence;
extern const struct es_measure es_measure_staircase;
extern const struct es_measure es_measure_dead_band;
extern const struct es_measure es_measure_capacity;
extern const struct es_measure es_measure_burden;
extern const struct es_measure es_measure_self_adjustment;
extern const struct es_measure es_measure_drift;
extern const struct es_measure es_measure_lever_geometry;

/* The words of role.c in the order of enum es_role, NULL-terminated, so that a setting of kind
 * ES_FIELD_CHOICE with these choices holds an enum es_role. A test compares the two lists. */
extern const char *const es_role_choices[ES_ROLE_COUNT + 1];

/* Rows for setting tables. */
#define ES_ROLE_SETTING(name_, type_, member_, required_, fallback_, meaning_)                               \
    {                                                                                                        \
        .name = (name_), .kind = ES_FIELD_CHOICE, .required = (required_),                                   \
        .offset = offsetof(type_, member_), .fallback = (fallback_), .choices = es_role_choices,             \
        .meaning = (meaning_)                                                                                \
    }
#define ES_QUANTITY_SETTING(name_, type_, member_, dimension_, min_, max_, fallback_, meaning_)              \
    {                                                                                                        \
        .name = (name_), .kind = ES_FIELD_QUANTITY, .offset = offsetof(type_, member_),                      \
        .dimension = (dimension_), .min = (min_), .max = (max_), .fallback = (fallback_),                    \
        .meaning = (meaning_)                                                                                \
    }
#define ES_CHOICE_SETTING(name_, type_, member_, choices_, fallback_, meaning_)                              \
    {                                                                                                        \
        .name = (name_), .kind = ES_FIELD_CHOICE, .offset = offsetof(type_, member_),                        \
        .fallback = (fallback_), .choices = (choices_), .meaning = (meaning_)                                \
    }
#define ES_TEXT_SETTING(name_, type_, member_, fallback_, meaning_)                                          \
    {                                                                                                        \
        .name = (name_), .kind = ES_FIELD_TEXT, .offset = offsetof(type_, member_), .min = 1, .max = 63,     \
        .fallback = (fallback_), .meaning = (meaning_)                                                       \
    }

#endif
