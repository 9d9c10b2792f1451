#include "tests/unit/virtual/helpers.h"

#include <criterion/criterion.h>

static struct es_virtual *make(const struct es_virtual_config *config)
{
    struct es_virtual *v = NULL;
    struct es_error err;
    cr_assert(es_virtual_new(config, &v, &err) == ES_OK, "%s", err.text);
    return v;
}

struct es_virtual *start(enum es_virtual_type type, uint64_t seed)
{
    struct es_virtual_config config;
    es_virtual_config_init(&config, type);
    config.seed = seed;
    return make(&config);
}

struct es_virtual *start_nominal(enum es_virtual_type type)
{
    struct es_virtual_config config;
    es_virtual_config_init(&config, type);
    config.spread = 0;
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        config.instruments[i] = (struct es_virtual_instrument){.present = true};
    }
    return make(&config);
}

struct es_virtual *start_with(enum es_virtual_type type, uint64_t seed, const char *fault, double severity)
{
    struct es_virtual_config config;
    const struct es_virtual_fault_setting setting = {es_virtual_fault_find(fault), severity, 0};
    es_virtual_config_init(&config, type);
    config.seed = seed;
    config.faults = &setting;
    config.fault_count = 1;
    return make(&config);
}

void set(struct es_virtual *v, enum es_role role, double value)
{
    struct es_error err;
    cr_assert(es_virtual_write(v, role, value, &err) == ES_OK, "%s", err.text);
}

void connect_actuator(struct es_virtual *v, double supply)
{
    set(v, ES_ROLE_OUTPUT_1_VENT, 0);
    set(v, ES_ROLE_OUTPUT_2_VENT, 0);
    set(v, ES_ROLE_OUTPUT_1_ISOLATING, 1);
    set(v, ES_ROLE_OUTPUT_2_ISOLATING, 1);
    set(v, ES_ROLE_SUPPLY_DEMAND, supply);
    set(v, ES_ROLE_SUPPLY_VALVE, 1);
    es_virtual_advance(v, 3);
}

void demand(struct es_virtual *v, double current, double seconds)
{
    set(v, ES_ROLE_LOOP_DEMAND, current);
    es_virtual_advance(v, seconds);
}

void close_volumes(struct es_virtual *v, double supply)
{
    set(v, ES_ROLE_OUTPUT_1_ISOLATING, 0);
    set(v, ES_ROLE_OUTPUT_2_ISOLATING, 0);
    set(v, ES_ROLE_OUTPUT_1_VENT, 0);
    set(v, ES_ROLE_OUTPUT_2_VENT, 0);
    set(v, ES_ROLE_SUPPLY_DEMAND, supply);
    set(v, ES_ROLE_SUPPLY_VALVE, 1);
    es_virtual_advance(v, 3);
}

double truth(const struct es_virtual *v, enum es_role role)
{
    return es_virtual_truth(v, role);
}

struct es_virtual_inner look(const struct es_virtual *v)
{
    struct es_virtual_inner in;
    es_virtual_look(v, &in);
    return in;
}
