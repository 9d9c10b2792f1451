/* Time passes: the order of things within a step, and how long a step may be. */
#include <math.h>

#include "drivers/virtual/model.h"
#include "drivers/virtual/random.h"

#define TURN       6.283185307179586
#define WALL_WAVES 2

const es_time es_paces[3] = {1 * ES_MS, 5 * ES_MS, 10 * ES_MS};

void es_virtual_derive(struct es_virtual *v)
{
    v->p = v->base;
    es_parameters_apply(&v->p, v->type, v->grown);
    struct es_air *air = &v->air;
    air->wall = v->happening[ES_ROLE_AMBIENT_TEMPERATURE];
    air->T[ES_AIR_SOURCE] = air->T[ES_AIR_ATMOSPHERE] = air->wall;
    air->p[ES_AIR_ATMOSPHERE] = v->happening[ES_ROLE_AMBIENT_PRESSURE];
    air->p[ES_AIR_SOURCE] = air->p[ES_AIR_ATMOSPHERE] + v->p.supply.source;
    v->source_share = v->p.supply.source / v->base.supply.source;
    air->hA[ES_NODE_SUPPLY] = v->p.supply.hA_supply;
    air->hA[ES_NODE_1] = air->hA[ES_NODE_2] = v->p.supply.hA_node;
    air->hA[ES_CHAMBER_1] = air->hA[ES_CHAMBER_2] = v->p.actuator.hA;
    v->fine_until = v->t + 20 * ES_MS;
}

void es_virtual_source(struct es_virtual *v, double gauge)
{
    v->base.supply.source = gauge;
    v->p.supply.source = gauge * v->source_share;
    v->air.p[ES_AIR_SOURCE] = v->air.p[ES_AIR_ATMOSPHERE] + v->p.supply.source;
}

/* Faults that grow do so in steps of half a stroke. */
static void grow(struct es_virtual *v)
{
    const double strokes = v->actuator.travelled / (2 * v->base.actuator.length);
    if (!v->growing || strokes - v->grown_at < 0.5) {
        return;
    }
    const double more = strokes - v->grown_at;
    v->grown_at = strokes;
    for (int i = 0; i < ES_FAULT_COUNT; i++) {
        if (v->per_stroke[i] > 0) {
            v->grown[i] = fmin(1, v->grown[i] + v->per_stroke[i] * more);
        }
    }
    es_virtual_derive(v);
}

static bool supply_valve_open(const struct es_virtual *v)
{
    return v->written[ES_ROLE_SUPPLY_VALVE] != 0 && v->happening[ES_ROLE_EMERGENCY_STOP] != 0;
}

static void valves_step(struct es_virtual *v, double h)
{
    static const enum es_role roles[ES_VALVE_COUNT] = {
        [ES_VALVE_SUPPLY] = ES_ROLE_SUPPLY_VALVE,
        [ES_VALVE_ISOLATING_1] = ES_ROLE_OUTPUT_1_ISOLATING,
        [ES_VALVE_ISOLATING_2] = ES_ROLE_OUTPUT_2_ISOLATING,
        [ES_VALVE_VENT_1] = ES_ROLE_OUTPUT_1_VENT,
        [ES_VALVE_VENT_2] = ES_ROLE_OUTPUT_2_VENT,
    };
    bool moving = false;
    for (int i = 0; i < ES_VALVE_COUNT; i++) {
        const bool wanted = i == ES_VALVE_SUPPLY ? supply_valve_open(v) : v->written[roles[i]] != 0;
        double *open = &v->valves[i].open;
        const double target = wanted ? 1 : 0;
        if (*open == target) {
            continue;
        }
        *open += (target - *open) * -expm1(-h / v->p.bench.valve_lag);
        if (fabs(*open - target) < 0.002) {
            *open = target;
        }
        moving = true;
    }
    v->valves_moving = moving;
}

/* Filter, regulator and supply valve in series: 1/C^2 adds, near enough for sizing (common practice). */
static void supply_edges(struct es_virtual *v, double h)
{
    const struct es_air_supply_parameters *s = &v->p.supply;
    struct es_air_edge *in = &v->air.edges[ES_EDGE_SOURCE], *out = &v->air.edges[ES_EDGE_SUPPLY_OUT];
    const double told = fmax(0, es_gauge_effect(v, ES_ROLE_SUPPLY_DEMAND, v->written[ES_ROLE_SUPPLY_DEMAND]));
    v->regulator += (told - v->regulator) * -expm1(-h / s->lag);
    const double open = v->valves[ES_VALVE_SUPPLY].open;
    const double above =
        v->air.p[ES_NODE_SUPPLY] - v->air.p[ES_AIR_ATMOSPHERE] - v->regulator; /* of the set point */
    const double x = fmax(0, fmin(1, -above / s->band));
    in->C = in->dC_to = 0;
    if (open > 0 && x > 0) {
        const double valve = open * s->C_valve;
        const double rest = 1 / (s->C_filter * s->C_filter) + 1 / (valve * valve);
        const double part = x * s->C_regulator;
        const double root = sqrt(1 + part * part * rest);
        in->C = part / root;
        in->dC_to = x < 1 ? -s->C_regulator / (root * root * root) / s->band : 0;
    }
    const double relief = fmax(0, fmin(1, (above - 0.1 * ES_BAR) / s->band));
    out->C = v->p.relay.bleed + (1 - open) * s->C_valve + open * relief * s->C_relief;
    out->dC_from = relief > 0 && relief < 1 ? open * s->C_relief / s->band : 0;
}

static void bench_edges(struct es_virtual *v)
{
    const struct es_bench_parameters *b = &v->p.bench;
    const bool two = v->kind->double_acting;
    struct es_air_edge *e = v->air.edges;
    e[ES_EDGE_ISOLATING_1].C = b->C_isolating * v->valves[ES_VALVE_ISOLATING_1].open;
    e[ES_EDGE_VENT_1].C = b->C_vent * v->valves[ES_VALVE_VENT_1].open + b->C_fitting[0];
    e[ES_EDGE_ISOLATING_2].C = two ? b->C_isolating * v->valves[ES_VALVE_ISOLATING_2].open : 0;
    e[ES_EDGE_VENT_2].C = two ? b->C_vent * v->valves[ES_VALVE_VENT_2].open + b->C_fitting[1] : 0;
    e[ES_EDGE_CHAMBER_1].C = two ? 0 : v->p.actuator.leak;
    e[ES_EDGE_CHAMBERS].C = two ? v->p.actuator.leak : 0;
}

static void watchdog(struct es_virtual *v)
{
    if (!v->watchdog_armed || v->watchdog_period <= 0 ||
        es_seconds(v->t - v->watchdog_last) <= v->watchdog_period) {
        return;
    }
    v->watchdog_armed = false;
    v->written[ES_ROLE_LOOP_DEMAND] = v->written[ES_ROLE_SUPPLY_DEMAND] = 0;
    v->written[ES_ROLE_SUPPLY_VALVE] = v->written[ES_ROLE_AUXILIARY_SUPPLY] = 0;
    v->written[ES_ROLE_OUTPUT_1_VENT] = v->written[ES_ROLE_OUTPUT_2_VENT] = 1;
    v->written[ES_ROLE_SHAFT_DRIVE] = v->shaft.target = v->shaft.angle;
    v->fine_until = v->t + 20 * ES_MS;
}

static double feedback_current(const struct es_virtual *v)
{
    const struct es_electronics_parameters *e = &v->p.electronics;
    if (!v->electronics.alive || !e->feedback) {
        return 0;
    }
    const double share = fmax(-0.0125, fmin(1.03, v->electronics.position));
    return (4e-3 + 16e-3 * share) * (1 + e->feedback_gain) + e->feedback_offset;
}

void es_virtual_truths(struct es_virtual *v)
{
    double *y = v->truth;
    const struct es_air_edge *e = v->air.edges;
    const double atmosphere = v->air.p[ES_AIR_ATMOSPHERE];
    const double between = e[ES_EDGE_BETWEEN].flow;
    y[ES_ROLE_LOOP_CURRENT] = v->loop;
    y[ES_ROLE_LOOP_VOLTAGE] = v->loop_voltage;
    y[ES_ROLE_FEEDBACK_CURRENT] = feedback_current(v);
    y[ES_ROLE_SENSOR_RATIO] = v->ratio;
    y[ES_ROLE_SHAFT_ANGLE] = v->shaft.angle;
    y[ES_ROLE_SUPPLY_PRESSURE] = v->air.p[ES_NODE_SUPPLY] - atmosphere;
    y[ES_ROLE_OUTPUT_1_PRESSURE] = v->air.p[ES_NODE_1] - atmosphere;
    y[ES_ROLE_OUTPUT_2_PRESSURE] = v->air.p[ES_NODE_2] - atmosphere;
    y[ES_ROLE_OUTPUT_1_FLOW] = (e[ES_EDGE_SUPPLY_1].flow - e[ES_EDGE_EXHAUST_1].flow - between) / ES_AIR_RHO0;
    y[ES_ROLE_OUTPUT_2_FLOW] = (e[ES_EDGE_SUPPLY_2].flow - e[ES_EDGE_EXHAUST_2].flow + between) / ES_AIR_RHO0;
    y[ES_ROLE_SUPPLY_FLOW] = e[ES_EDGE_SOURCE].flow / ES_AIR_RHO0;
    y[ES_ROLE_TRAVEL] = v->actuator.position;
}

/* The walls follow the room, which is heated in minutes and whose doors and people move its air within one:
 * waves of any frequency between those of ES_WALL_SLOWEST and ES_WALL_QUICKEST, the quicker the rarer. Within
 * a recording of seconds the drift is nearly steady; half a minute later nothing of it is left on the average
 * of benches. What is shut in follows the walls. */
static void warm_walls(struct es_virtual *v)
{
    const double slowest = 1 / ES_WALL_SLOWEST, quickest = 1 / ES_WALL_QUICKEST; /* Hz */
    double off = 0;
    for (uint64_t i = 0; i < WALL_WAVES; i++) {
        const double begin = es_random_uniform(v->seed, ES_STREAM_WALL, 2 * i);
        const double rare = 1 - sqrt(es_random_uniform(v->seed, ES_STREAM_WALL, 2 * i + 1));
        const double f = slowest + (quickest - slowest) * rare;
        off += sin(TURN * (es_seconds(v->t) * f + begin)) / (TURN * f);
    }
    v->air.wall = v->happening[ES_ROLE_AMBIENT_TEMPERATURE] + v->wall_drift * sqrt(2.0 / WALL_WAVES) * off;
}

static void step(struct es_virtual *v, es_time ns)
{
    const double h = es_seconds(ns);
    double dV[ES_AIR_INNER] = {0};
    watchdog(v);
    valves_step(v, h);
    es_loop_step(v, h);
    es_relay_step(v, h);
    es_relay_ports(v);
    supply_edges(v, h);
    bench_edges(v);
    es_actuator_step(v, h, dV);
    v->pressure_rate = es_air_step(&v->air, h, dV) / h;
    v->t += ns;
    es_shaft_step(v, h);
    es_sensor_step(v);
    if (v->t % ES_ELECTRONICS_TICK == 0) {
        es_electronics_tick(v);
        if (v->wall_drift > 0) {
            warm_walls(v);
        }
    }
    es_virtual_truths(v);
    es_gauges_step(v, h);
    grow(v);
    v->steps++;
}

/* Would the actuator break away within the longest step? */
static bool about_to_move(const struct es_virtual *v)
{
    if (!v->actuator.sticking) {
        return true;
    }
    const double soon = v->actuator.force + v->actuator.force_rate * 0.02;
    return fabs(soon) > v->p.actuator.adhesion && !es_actuator_at_stop(v);
}

static int choose_pace(const struct es_virtual *v)
{
    if (v->t < v->fine_until || v->valves_moving || v->pressure_rate > 1 || es_relay_will_move(v) ||
        about_to_move(v)) {
        return 0;
    }
    return v->shaft.moving || v->pressure_rate > 0.2 ? 1 : 2;
}

/* Steps end on multiples of their length, whatever the calls: the result does not depend on them. */
void es_virtual_run(struct es_virtual *v, es_time target)
{
    for (;;) {
        v->pace = choose_pace(v);
        const es_time pace = es_paces[v->pace];
        const es_time end = (v->t / pace + 1) * pace;
        if (end > target) {
            return;
        }
        const es_time ns = end - v->t;
        if (ns != pace) {
            v->pace = -1;
        }
        step(v, ns);
    }
}

void es_virtual_settle(struct es_virtual *v)
{
    if (v->now == v->t) {
        return;
    }
    v->pace = -1;
    step(v, v->now - v->t);
}
