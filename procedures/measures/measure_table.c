#include <string.h>

#include "procedures/measures/measures.h"

static const struct es_measure *const measures[] = {
    &es_measure_sensor_sweep,    &es_measure_relay_leak, &es_measure_held_pressure,
    &es_measure_relay_direction, &es_measure_stroke,     &es_measure_step_response,
    &es_measure_filling,         &es_measure_level,      &es_measure_extreme,
    &es_measure_difference,      &es_measure_loss,       &es_measure_supply_influence,
    &es_measure_staircase,       &es_measure_dead_band,  &es_measure_capacity,
    &es_measure_burden,          &es_measure_drift,      &es_measure_self_adjustment,
    &es_measure_lever_geometry,
};

const struct es_measure *const *es_measure_list(size_t *count)
{
    *count = sizeof measures / sizeof measures[0];
    return measures;
}

const struct es_measure *es_measure_find(const char *name)
{
    for (size_t i = 0; name && i < sizeof measures / sizeof measures[0]; i++)
        if (strcmp(measures[i]->name, name) == 0)
            return measures[i];
    return NULL;
}

const struct es_fact *es_fact_find(const struct es_facts *facts, const char *name)
{
    for (size_t i = 0; facts && name && i < facts->count; i++)
        if (strcmp(facts->items[i].name, name) == 0)
            return &facts->items[i];
    return NULL;
}

bool es_setting_is_fact(const struct es_field *row)
{
    return row->kind == ES_FIELD_TEXT && row->meaning != NULL && strncmp(row->meaning, "fact: ", 6) == 0;
}
