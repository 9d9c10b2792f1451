#include "drivers/virtual/virtual_bench.h"

#include <math.h>
#include <stdlib.h>

#include "drivers/virtual/common_supply.h"
#include "drivers/virtual/model.h"

/* Errors of usual workshop instruments; common practice, no published source. */
void es_virtual_config_init(struct es_virtual_config *config, enum es_virtual_type type)
{
    const double nl_h = 1.087440005e-3 / 3600;
    *config = (struct es_virtual_config){
        .type = type,
        .seed = 1,
        .spread = 1,
        .output_volume = {0.25e-3, 0.25e-3},
        .u_output_volume = {0.5e-6, 0.5e-6},
        .supply_volume = 0.5e-3,
        .source_pressure = 7.5 * ES_BAR,
        .ambient_pressure = 101325,
        .ambient_temperature = 293.15,
        .ambient_humidity = 0.45,
        .supply_dew_point = 253.15,
        .drive_speed = 60 * ES_RAD_PER_DEG,
        .feedback = true,
    };
    struct es_virtual_instrument *i = config->instruments;
    for (int role = 0; role < ES_ROLE_COUNT; role++) {
        i[role].present = true;
    }
    const struct es_virtual_instrument pressure = {.present = true,
                                                   .low = -0.2 * ES_BAR,
                                                   .high = 10.5 * ES_BAR,
                                                   .resolution = 5,
                                                   .noise = 15,
                                                   .lag = 0.002,
                                                   .u_offset = 200,
                                                   .u_gain = 2e-4,
                                                   .repeatability = 20};
    const struct es_virtual_instrument flow = {.present = true,
                                               .low = -700 * nl_h,
                                               .high = 1400 * nl_h,
                                               .resolution = 0.01 * nl_h,
                                               .noise = 0.05 * nl_h,
                                               .lag = 0.05,
                                               .refresh = 0.02,
                                               .u_offset = 0.1 * nl_h,
                                               .u_gain = 0.005,
                                               .repeatability = 0.05 * nl_h};
    const struct es_virtual_instrument current = {
        .present = true, .high = 25e-3, .resolution = 1e-7, .noise = 5e-7, .u_offset = 1e-6, .u_gain = 1e-4};
    i[ES_ROLE_SUPPLY_PRESSURE] = i[ES_ROLE_OUTPUT_1_PRESSURE] = i[ES_ROLE_OUTPUT_2_PRESSURE] = pressure;
    i[ES_ROLE_OUTPUT_1_FLOW] = i[ES_ROLE_OUTPUT_2_FLOW] = flow;
    i[ES_ROLE_SUPPLY_FLOW] = (struct es_virtual_instrument){.present = true,
                                                            .low = -500 * nl_h,
                                                            .high = 20000 * nl_h,
                                                            .resolution = 0.1 * nl_h,
                                                            .noise = 0.5 * nl_h,
                                                            .lag = 0.05,
                                                            .refresh = 0.02,
                                                            .u_offset = nl_h,
                                                            .u_gain = 0.0075,
                                                            .repeatability = 0.5 * nl_h};
    i[ES_ROLE_LOOP_DEMAND] = i[ES_ROLE_LOOP_CURRENT] = i[ES_ROLE_FEEDBACK_CURRENT] = current;
    i[ES_ROLE_LOOP_DEMAND].noise = 0;
    i[ES_ROLE_LOOP_VOLTAGE] = (struct es_virtual_instrument){
        .present = true, .high = 40, .resolution = 1e-3, .noise = 1e-3, .u_offset = 5e-3, .u_gain = 2e-4};
    i[ES_ROLE_SENSOR_RATIO] = (struct es_virtual_instrument){.present = true,
                                                             .low = 0,
                                                             .high = 1,
                                                             .resolution = 1.0 / 65536,
                                                             .noise = 2e-5,
                                                             .u_offset = 5e-5,
                                                             .u_gain = 5e-5};
    i[ES_ROLE_SHAFT_ANGLE] = (struct es_virtual_instrument){
        .present = true, .resolution = 0.005 * ES_RAD_PER_DEG, .u_offset = 0.02 * ES_RAD_PER_DEG};
    i[ES_ROLE_SUPPLY_DEMAND] = (struct es_virtual_instrument){
        .present = true, .high = 8 * ES_BAR, .resolution = 100, .u_offset = 500, .u_gain = 2e-3};
    i[ES_ROLE_TRAVEL] =
        es_virtual_type_about(type)->linear
            ? (struct es_virtual_instrument){.present = true,
                                             .resolution = 1e-6,
                                             .noise = 2e-6,
                                             .u_offset = 1e-5,
                                             .u_gain = 2e-4}
            : (struct es_virtual_instrument){
                  .present = true, .resolution = 2e-5, .noise = 2e-5, .u_offset = 3e-4, .u_gain = 1e-4};
}

static void join(struct es_virtual *v, int edge, int from, int to)
{
    v->air.edges[edge] = (struct es_air_edge){.from = from, .to = to, .b = v->base.relay.b};
}

static void build_air(struct es_virtual *v, double supply_volume)
{
    struct es_air *air = &v->air;
    const struct es_actuator_parameters *a = &v->base.actuator;
    const double p = v->happening[ES_ROLE_AMBIENT_PRESSURE], T = v->happening[ES_ROLE_AMBIENT_TEMPERATURE];
    es_air_fill(air, ES_NODE_SUPPLY, supply_volume, p, T);
    es_air_fill(air, ES_NODE_1, v->base.volume[0], p, T);
    es_air_fill(air, ES_NODE_2, v->base.volume[1], p, T);
    es_air_fill(air, ES_CHAMBER_1, a->dead_volume[0], p, T);
    es_air_fill(air, ES_CHAMBER_2, a->dead_volume[1] + a->area * a->length, p, T);
    join(v, ES_EDGE_SOURCE, ES_AIR_SOURCE, ES_NODE_SUPPLY);
    join(v, ES_EDGE_SUPPLY_OUT, ES_NODE_SUPPLY, ES_AIR_ATMOSPHERE);
    join(v, ES_EDGE_SUPPLY_1, ES_NODE_SUPPLY, ES_NODE_1);
    join(v, ES_EDGE_EXHAUST_1, ES_NODE_1, ES_AIR_ATMOSPHERE);
    join(v, ES_EDGE_SUPPLY_2, ES_NODE_SUPPLY, ES_NODE_2);
    join(v, ES_EDGE_EXHAUST_2, ES_NODE_2, ES_AIR_ATMOSPHERE);
    join(v, ES_EDGE_BETWEEN, ES_NODE_1, ES_NODE_2);
    join(v, ES_EDGE_ISOLATING_1, ES_NODE_1, ES_CHAMBER_1);
    join(v, ES_EDGE_ISOLATING_2, ES_NODE_2, ES_CHAMBER_2);
    join(v, ES_EDGE_VENT_1, ES_NODE_1, ES_AIR_ATMOSPHERE);
    join(v, ES_EDGE_VENT_2, ES_NODE_2, ES_AIR_ATMOSPHERE);
    join(v, ES_EDGE_CHAMBER_1, ES_CHAMBER_1, ES_AIR_ATMOSPHERE);
    join(v, ES_EDGE_CHAMBERS, ES_CHAMBER_1, ES_CHAMBER_2);
    air->edge_count = ES_EDGE_COUNT;
}

static enum es_status check(const struct es_virtual_config *c, struct es_error *err)
{
    const double positive[] = {c->output_volume[0], c->output_volume[1], c->supply_volume,
                               c->source_pressure,  c->ambient_pressure, c->ambient_temperature,
                               c->drive_speed};
    for (size_t i = 0; i < sizeof positive / sizeof positive[0]; i++) {
        if (!isfinite(positive[i]) || positive[i] <= 0) {
            return es_fail(err, ES_RANGE,
                           "the virtual bench needs volumes, source pressure, ambient state and "
                           "drive speed above zero");
        }
    }
    if (c->type < 0 || c->type >= ES_VIRTUAL_TYPE_COUNT) {
        return es_fail(err, ES_USAGE, "unknown type of virtual unit");
    }
    return ES_OK;
}

static enum es_status connect_gauges(struct es_virtual *v, const struct es_virtual_config *config,
                                     struct es_error *err)
{
    for (int role = 0; role < ES_ROLE_COUNT; role++) {
        const enum es_status s = es_gauge_init(v, (enum es_role)role, &config->instruments[role], err);
        if (s != ES_OK) {
            return s;
        }
        if (es_role_info((enum es_role)role)->direction == ES_IN && !v->gauges[role].direct) {
            v->lagging[v->lagging_count++] = (enum es_role)role;
        }
    }
    return ES_OK;
}

static void start_values(struct es_virtual *v, const struct es_virtual_config *config)
{
    v->happening[ES_ROLE_EMERGENCY_STOP] = v->happening[ES_ROLE_GUARD] = 1;
    v->happening[ES_ROLE_AMBIENT_PRESSURE] = config->ambient_pressure;
    v->happening[ES_ROLE_AMBIENT_TEMPERATURE] = config->ambient_temperature;
    v->happening[ES_ROLE_AMBIENT_HUMIDITY] = config->ambient_humidity;
    v->happening[ES_ROLE_SUPPLY_DEW_POINT] = config->supply_dew_point;
    v->written[ES_ROLE_OUTPUT_1_VENT] = v->written[ES_ROLE_OUTPUT_2_VENT] = 1;
    v->valves[ES_VALVE_VENT_1].open = v->valves[ES_VALVE_VENT_2].open = 1;
    v->watchdog_period = config->watchdog_period;
    v->drive_speed = config->drive_speed;
    v->wall_drift = config->wall_drift;
}

static void rest(struct es_virtual *v)
{
    const double angle = es_linkage_angle(&v->p.linkage, v->p.actuator.length, 0);
    v->shaft =
        (struct es_shaft){.angle = angle, .lever = angle, .wiper = angle, .encoder = angle, .target = angle};
    v->written[ES_ROLE_SHAFT_DRIVE] = angle;
    v->actuator.sticking = true;
    es_sensor_step(v);
    es_virtual_truths(v);
    es_virtual_outside(v);
    for (int i = 0; i < v->lagging_count; i++) {
        struct es_gauge *g = &v->gauges[v->lagging[i]];
        g->before = g->seen = g->held = v->truth[v->lagging[i]];
    }
}

enum es_status es_virtual_new(const struct es_virtual_config *config, struct es_virtual **out,
                              struct es_error *err)
{
    enum es_status s = check(config, err);
    if (s != ES_OK) {
        return s;
    }
    struct es_virtual *v = calloc(1, sizeof *v);
    if (!v) {
        return es_fail(err, ES_NO_MEMORY, "no memory for a virtual bench");
    }
    v->type = config->type;
    v->kind = es_virtual_type_about(config->type);
    v->seed = config->seed;
    start_values(v, config);
    s = connect_gauges(v, config, err);
    if (s != ES_OK) {
        goto free_bench;
    }
    es_parameters_draw(config, &v->base);
    build_air(v, config->supply_volume);
    es_virtual_derive(v);
    for (size_t i = 0; i < config->fault_count; i++) {
        s = es_virtual_fault_set(v, &config->faults[i], err);
        if (s != ES_OK) {
            goto free_bench;
        }
    }
    rest(v);
    *out = v;
    return ES_OK;
free_bench:
    es_virtual_free(v);
    return s;
}

void es_virtual_free(struct es_virtual *v)
{
    if (!v) {
        return;
    }
    es_virtual_supply_leave(v);
    for (int role = 0; role < ES_ROLE_COUNT; role++) {
        es_gauge_free(&v->gauges[role]);
    }
    free(v);
}

es_time es_virtual_now(const struct es_virtual *v)
{
    return v->now;
}

void es_virtual_advance_to(struct es_virtual *v, es_time when)
{
    if (when <= v->now) {
        return;
    }
    if (v->common) {
        es_virtual_supply_advance(v->common, v, when);
        return;
    }
    v->now = when;
    es_virtual_run(v, when);
}

void es_virtual_advance(struct es_virtual *v, double seconds)
{
    if (seconds > 0) {
        es_virtual_advance_to(v, v->now + es_from_seconds(seconds));
    }
}

static void note_write(struct es_virtual *v, enum es_role role, double value)
{
    const double before = v->written[role];
    v->written[role] = value;
    if (role == ES_ROLE_SHAFT_DRIVE) {
        v->shaft.target = value;
    }
    if (es_role_info(role)->is_state && before != value) {
        v->act++;
    }
    v->fine_until = v->t + 20 * ES_MS;
}

enum es_status es_virtual_write(struct es_virtual *v, enum es_role role, double value, struct es_error *err)
{
    if (role < 0 || role >= ES_ROLE_COUNT || es_role_info(role)->direction != ES_OUT) {
        return es_fail(err, ES_USAGE, "the virtual bench cannot be written there: no output");
    }
    if (!isfinite(value)) {
        return es_fail(err, ES_RANGE, "%s cannot be set to a value that is not a number",
                       es_role_info(role)->name);
    }
    if (role == ES_ROLE_WATCHDOG) {
        v->written[role] = value;
        v->watchdog_armed = true;
        v->watchdog_last = v->now;
        return ES_OK;
    }
    es_virtual_settle(v);
    note_write(v, role, value);
    return ES_OK;
}

struct es_virtual_reading es_virtual_reading(const struct es_virtual *v, enum es_role role)
{
    struct es_virtual_reading r = {.taken = v->t};
    if (es_role_info(role)->direction == ES_OUT) {
        r.value = v->written[role];
    } else {
        r.value = es_gauge_reading(v, role, &r.taken);
    }
    return r;
}

uint64_t es_virtual_seed(const struct es_virtual *v)
{
    return v->seed;
}

void es_virtual_new_act(struct es_virtual *v)
{
    v->act++;
}

double es_virtual_bus_delay(const struct es_virtual *v)
{
    return v->p.bench.bus_delay;
}

double es_virtual_truth(const struct es_virtual *v, enum es_role role)
{
    switch (role) {
    case ES_ROLE_LOOP_DEMAND:
        return es_gauge_effect(v, role, v->written[role]);
    case ES_ROLE_SUPPLY_DEMAND:
        return v->regulator;
    case ES_ROLE_SUPPLY_VALVE:
        return v->valves[ES_VALVE_SUPPLY].open;
    case ES_ROLE_OUTPUT_1_ISOLATING:
        return v->valves[ES_VALVE_ISOLATING_1].open;
    case ES_ROLE_OUTPUT_2_ISOLATING:
        return v->valves[ES_VALVE_ISOLATING_2].open;
    case ES_ROLE_OUTPUT_1_VENT:
        return v->valves[ES_VALVE_VENT_1].open;
    case ES_ROLE_OUTPUT_2_VENT:
        return v->valves[ES_VALVE_VENT_2].open;
    case ES_ROLE_SHAFT_DRIVE:
        return v->shaft.angle;
    default:
        return es_role_info(role)->direction == ES_OUT ? v->written[role] : v->truth[role];
    }
}

void es_virtual_outside(struct es_virtual *v)
{
    static const enum es_role outside[] = {ES_ROLE_EMERGENCY_STOP,   ES_ROLE_GUARD,
                                           ES_ROLE_AMBIENT_PRESSURE, ES_ROLE_AMBIENT_TEMPERATURE,
                                           ES_ROLE_AMBIENT_HUMIDITY, ES_ROLE_SUPPLY_DEW_POINT};
    for (size_t i = 0; i < sizeof outside / sizeof outside[0]; i++) {
        v->truth[outside[i]] = v->happening[outside[i]];
    }
}

/* What can happen to a bench that people work at. */
static const struct {
    enum es_role role;
    double low, high;
    bool state;
} happenings[] = {
    {ES_ROLE_EMERGENCY_STOP, 0, 1, true},          {ES_ROLE_GUARD, 0, 1, true},
    {ES_ROLE_AMBIENT_PRESSURE, 5e4, 1.2e5, false}, {ES_ROLE_AMBIENT_TEMPERATURE, 230, 340, false},
    {ES_ROLE_AMBIENT_HUMIDITY, 0, 1, false},       {ES_ROLE_SUPPLY_DEW_POINT, 170, 330, false},
};

enum es_status es_virtual_happen(struct es_virtual *v, enum es_role role, double value, struct es_error *err)
{
    const size_t count = sizeof happenings / sizeof happenings[0];
    size_t i = 0;
    if (role >= 0 && role < ES_ROLE_COUNT && es_role_info(role)->direction == ES_OUT &&
        role != ES_ROLE_WATCHDOG) {
        if (es_role_info(role)->is_state && value != 0 && value != 1) {
            return es_fail(err, ES_RANGE, "%s: 0 or 1, not %g", es_role_info(role)->name, value);
        }
        return es_virtual_write(v, role, value, err);
    }
    while (i < count && happenings[i].role != role) {
        i++;
    }
    if (i == count) {
        return es_fail(err, ES_USAGE,
                       "this does not happen to a bench: only emergency stop, guard, ambient "
                       "values, dew point and outputs are given from outside");
    }
    const double low = happenings[i].low, high = happenings[i].high;
    if (!(value >= low && value <= high) || (happenings[i].state && value != low && value != high)) {
        const struct es_unit *unit = es_dimension_unit(es_role_info(role)->dimension);
        return es_fail(err, ES_RANGE, "%s: %g %s is not in %g to %g", es_role_info(role)->name,
                       es_to_unit(value, unit), unit->name, es_to_unit(low, unit), es_to_unit(high, unit));
    }
    es_virtual_settle(v);
    v->happening[role] = value;
    es_virtual_outside(v);
    es_virtual_derive(v);
    return ES_OK;
}

double es_virtual_fault_severity(const struct es_virtual *v, int fault)
{
    return fault >= 0 && fault < ES_FAULT_COUNT ? v->grown[fault] : 0;
}

enum es_status es_virtual_fault_set(struct es_virtual *v, const struct es_virtual_fault_setting *setting,
                                    struct es_error *err)
{
    const struct es_virtual_fault *f = es_virtual_fault_get(setting->fault);
    if (!f) {
        return es_fail(err, ES_NOT_FOUND, "there is no such fault");
    }
    if (!es_virtual_fault_possible(setting->fault, v->type)) {
        return es_fail(err, ES_USAGE, "a %s unit cannot have the fault \"%s\"", es_virtual_type_name(v->type),
                       f->name);
    }
    if (!(setting->severity >= 0 && setting->severity <= 1) ||
        !(setting->per_stroke >= 0 && setting->per_stroke <= 1)) {
        return es_fail(err, ES_RANGE, "fault \"%s\": severity and growth lie between 0 and 1", f->name);
    }
    es_virtual_settle(v);
    const int i = setting->fault;
    v->grown[i] = setting->severity;
    v->per_stroke[i] = setting->per_stroke;
    v->growing = false;
    for (int n = 0; n < ES_FAULT_COUNT; n++) {
        v->growing |= v->per_stroke[n] > 0;
    }
    es_virtual_derive(v);
    return ES_OK;
}

void es_virtual_look(const struct es_virtual *v, struct es_virtual_inner *out)
{
    const struct es_air *a = &v->air;
    *out = (struct es_virtual_inner){
        .mass_in = a->mass_in,
        .mass_out = a->mass_out,
        .enthalpy_in = a->enthalpy_in,
        .enthalpy_out = a->enthalpy_out,
        .heat = a->heat,
        .work = a->work,
        .spool = v->relay.position,
        .drive = v->electronics.drive,
        .position = v->electronics.position,
        .lever_angle = v->shaft.lever,
        .sensor_angle = v->shaft.wiper,
        .velocity = v->actuator.velocity,
        .sticking = v->actuator.sticking,
        .alive = v->electronics.alive,
        .shut_down = v->electronics.shut_down,
        .adjusting = v->adjustment.phase != ES_ADJUST_IDLE,
        .strokes = v->actuator.travelled / (2 * v->base.actuator.length),
        .steps = v->steps,
    };
    for (int i = 0; i < ES_VIRTUAL_NODE_COUNT; i++) {
        out->pressure[i] = a->p[i];
        out->temperature[i] = a->T[i];
        out->mass[i] = a->m[i];
        out->volume[i] = a->V[i];
    }
}
