/* Every fault of the table is seen where a practitioner would look for it: a probe on a good unit and on the
 * same unit with the fault. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "tests/unit/virtual/helpers.h"

#define LINEAR    ES_VIRTUAL_LINEAR_SINGLE_ACTING
#define PART_TURN ES_VIRTUAL_PART_TURN_DOUBLE_ACTING

/* ---- probes: one number each ---- */

static double flow_1_at_rest(struct es_virtual *v)
{
    close_volumes(v, 4 * BAR);
    return truth(v, ES_ROLE_OUTPUT_1_FLOW) / NL_H;
}

static double flow_2_at_rest(struct es_virtual *v)
{
    close_volumes(v, 4 * BAR);
    return truth(v, ES_ROLE_OUTPUT_2_FLOW) / NL_H;
}

/* Volumes filled by driving up, then no current: output 1 should keep its pressure, output 2 none. */
static void fill_and_rest(struct es_virtual *v)
{
    close_volumes(v, 4 * BAR);
    demand(v, 20 * MA, 4);
    demand(v, 0, 10);
}

static double pressure_1_kept(struct es_virtual *v)
{
    fill_and_rest(v);
    return truth(v, ES_ROLE_OUTPUT_1_PRESSURE) / BAR;
}

static double pressure_2_gained(struct es_virtual *v)
{
    fill_and_rest(v);
    return truth(v, ES_ROLE_OUTPUT_2_PRESSURE) / BAR;
}

/* Shut by hand behind a leak meter: what the volume loses where the flow sensor does not see it. */
static double pressure_2_kept(struct es_virtual *v)
{
    close_volumes(v, 4 * BAR);
    demand(v, 20 * MA, 1);
    demand(v, 4 * MA, 4);
    demand(v, 0, 10);
    return truth(v, ES_ROLE_OUTPUT_2_PRESSURE) / BAR;
}

static double share_of_travel(const struct es_virtual *v)
{
    return look(v).volume[ES_CHAMBER_1]; /* grows with travel, whatever the type */
}

static double seconds_to_half(struct es_virtual *v)
{
    connect_actuator(v, 4 * BAR);
    demand(v, 4 * MA, 3);
    const double start_volume = share_of_travel(v);
    set(v, ES_ROLE_LOOP_DEMAND, 20 * MA);
    for (int n = 0; n < 2000; n++) {
        es_virtual_advance(v, 0.01);
        if (share_of_travel(v) > start_volume + 0.24e-3) {
            return 0.01 * n;
        }
    }
    return 20;
}

static double travel_at_20(struct es_virtual *v)
{
    connect_actuator(v, 4 * BAR);
    demand(v, 20 * MA, 10);
    return truth(v, ES_ROLE_TRAVEL);
}

/* Small steps: how far from its demand the unit stays. */
static double small_steps_missed(struct es_virtual *v)
{
    static const double currents[] = {12, 12.4, 12.8, 12.4, 12};
    double worst = 0;
    connect_actuator(v, 4 * BAR);
    for (int i = 0; i < 5; i++) {
        demand(v, currents[i] * MA, 6);
        worst = fmax(worst, fabs(look(v).position - (currents[i] - 4) / 16));
    }
    return worst;
}

static double turn_to(struct es_virtual *v, double angle)
{
    set(v, ES_ROLE_SHAFT_COUPLING, 1);
    set(v, ES_ROLE_SHAFT_DRIVE, angle);
    es_virtual_advance(v, 3);
    return truth(v, ES_ROLE_SENSOR_RATIO);
}

static double ratio_in_the_middle(struct es_virtual *v)
{
    return turn_to(v, 0);
}

static double ratio_at_29_deg(struct es_virtual *v)
{
    return turn_to(v, 29 * DEG);
}

static double lowest_on_the_way(struct es_virtual *v)
{
    double lowest = 1;
    (void)turn_to(v, -45 * DEG);
    set(v, ES_ROLE_SHAFT_DRIVE, 45 * DEG);
    for (int n = 0; n < 400; n++) {
        es_virtual_advance(v, 0.005);
        const double expected = 0.5 + 0.48 * truth(v, ES_ROLE_SHAFT_ANGLE) / (58 * DEG);
        lowest = fmin(lowest, truth(v, ES_ROLE_SENSOR_RATIO) - expected);
    }
    return lowest;
}

static double sensor_difference_of_directions(struct es_virtual *v)
{
    (void)turn_to(v, -20 * DEG);
    const double up = turn_to(v, 0);
    (void)turn_to(v, 20 * DEG);
    return turn_to(v, 0) - up;
}

static double encoder_difference_of_directions(struct es_virtual *v)
{
    (void)turn_to(v, -20 * DEG);
    (void)turn_to(v, 0);
    const double up = es_virtual_reading(v, ES_ROLE_SHAFT_ANGLE).value;
    (void)turn_to(v, 20 * DEG);
    (void)turn_to(v, 0);
    return es_virtual_reading(v, ES_ROLE_SHAFT_ANGLE).value - up;
}

static double feedback_at_12(struct es_virtual *v)
{
    connect_actuator(v, 4 * BAR);
    demand(v, 12 * MA, 6);
    double sum = 0;
    for (int n = 0; n < 100; n++) {
        es_virtual_advance(v, 0.1);
        sum += truth(v, ES_ROLE_FEEDBACK_CURRENT) / MA / 100;
    }
    return sum;
}

static double alive_at_5(struct es_virtual *v)
{
    demand(v, 5 * MA, 2);
    return look(v).alive;
}

static double angle_at_upper_end(struct es_virtual *v)
{
    (void)travel_at_20(v);
    return truth(v, ES_ROLE_SHAFT_ANGLE) / DEG;
}

static double pressure_at_first_movement(struct es_virtual *v, double current)
{
    set(v, ES_ROLE_LOOP_DEMAND, current);
    const double at = truth(v, ES_ROLE_TRAVEL);
    for (int n = 0; n < 20000 && truth(v, ES_ROLE_TRAVEL) == at; n++) {
        es_virtual_advance(v, 0.001);
    }
    return (look(v).pressure[ES_CHAMBER_1] - look(v).pressure[ES_CHAMBER_2]) / BAR;
}

/* Pressure that it takes to start upwards above that to start downwards, from the same place. */
static double pressure_between_directions(struct es_virtual *v)
{
    connect_actuator(v, 4 * BAR);
    demand(v, 12 * MA, 10);
    demand(v, 0, 2);
    const double up = pressure_at_first_movement(v, 16 * MA);
    demand(v, 12 * MA, 10);
    demand(v, 0, 2);
    return up - pressure_at_first_movement(v, 8 * MA);
}

static double mean_flow_while_holding(struct es_virtual *v)
{
    connect_actuator(v, 4 * BAR);
    demand(v, 12 * MA, 8);
    double sum = 0;
    for (int n = 0; n < 1000; n++) {
        es_virtual_advance(v, 0.01);
        sum += truth(v, ES_ROLE_OUTPUT_1_FLOW) / NL_H / 1000;
    }
    return sum;
}

static double supply_reached(struct es_virtual *v)
{
    close_volumes(v, 4 * BAR);
    return truth(v, ES_ROLE_SUPPLY_PRESSURE) / BAR;
}

static double lowest_supply_in_a_stroke(struct es_virtual *v)
{
    connect_actuator(v, 4 * BAR);
    set(v, ES_ROLE_LOOP_DEMAND, 20 * MA);
    double lowest = 10;
    for (int n = 0; n < 300; n++) {
        es_virtual_advance(v, 0.01);
        lowest = fmin(lowest, truth(v, ES_ROLE_SUPPLY_PRESSURE) / BAR);
    }
    return lowest;
}

static double flow_reading_error(struct es_virtual *v)
{
    close_volumes(v, 4 * BAR);
    return (es_virtual_reading(v, ES_ROLE_OUTPUT_1_FLOW).value - truth(v, ES_ROLE_OUTPUT_1_FLOW)) / NL_H;
}

static double current_at_12(struct es_virtual *v)
{
    demand(v, 12 * MA, 1);
    return truth(v, ES_ROLE_LOOP_CURRENT) / MA;
}

static double adjusts_for(struct es_virtual *v)
{
    double t = 0;
    connect_actuator(v, 4 * BAR);
    demand(v, 12 * MA, 4);
    set(v, ES_ROLE_SELF_ADJUSTMENT, 1);
    do {
        es_virtual_advance(v, 1);
        t += 1;
    } while (t < 400 && look(v).adjusting);
    return t;
}

static double bus_delay(struct es_virtual *v)
{
    return es_virtual_bus_delay(v);
}

static double scatter_of_pressure(struct es_virtual *v)
{
    double squares = 0, before = 0;
    for (int n = 0; n < 200; n++) {
        es_virtual_advance(v, 0.01);
        const double x = es_virtual_reading(v, ES_ROLE_SUPPLY_PRESSURE).value / BAR;
        squares += n ? (x - before) * (x - before) : 0;
        before = x;
    }
    return sqrt(squares / 398);
}

struct look_for {
    const char *fault;
    enum es_virtual_type type;
    double severity;
    double (*probe)(struct es_virtual *v);
    double change; /* at least; the sign counts */
};

static const struct look_for table[] = {
    {"relay seat leaks to output 1", LINEAR, 0.2, flow_1_at_rest, 15},
    {"relay seat leaks to output 1", PART_TURN, 0.1, flow_1_at_rest, 5},
    {"relay seat leaks to output 2", PART_TURN, 0.2, flow_2_at_rest, 15},
    {"seal between outputs missing", PART_TURN, 0.3, pressure_2_gained, 0.3},
    {"seal to atmosphere cut", LINEAR, 0.3, pressure_1_kept, -0.3},
    {"nozzle partly blocked", LINEAR, 0.6, seconds_to_half, 0.3},
    {"nozzle partly blocked", PART_TURN, 0.6, seconds_to_half, 0.3},
    {"coil open", LINEAR, 1, travel_at_20, -0.025},
    {"coil open", PART_TURN, 0.5, seconds_to_half, 0.2},
    {"coil weak", LINEAR, 0.6, seconds_to_half, 0.2},
    {"coil weak", PART_TURN, 0.6, seconds_to_half, 0.5},
    {"spool sticking", LINEAR, 0.6, small_steps_missed, 0.01},
    {"spool worn", LINEAR, 0.6, flow_1_at_rest, 50},
    {"outputs crossed", LINEAR, 1, travel_at_20, -0.025},
    {"outputs crossed", PART_TURN, 1, travel_at_20, -1.5},
    {"sensor track worn", LINEAR, 0.3, lowest_on_the_way, -0.05},
    {"sensor disturbed", LINEAR, 0.2, ratio_in_the_middle, 0.08},
    {"sensor non-linear", PART_TURN, 0.3, ratio_at_29_deg, 0.01},
    {"coupling slack", LINEAR, 0.3, sensor_difference_of_directions, 0.01},
    {"connector off", LINEAR, 1, ratio_in_the_middle, -0.45},
    {"electronics dead", LINEAR, 1, feedback_at_12, -10},
    {"electronics dead", PART_TURN, 0.3, feedback_at_12, -1},
    {"minimum current high", LINEAR, 0.6, alive_at_5, -1},
    {"feedback drifted", LINEAR, 0.3, feedback_at_12, 0.3},
    {"auxiliary circuit open", PART_TURN, 1, travel_at_20, -1.5},
    {"lever too short", LINEAR, 0.5, angle_at_upper_end, 5},
    {"lever too long", LINEAR, 0.5, angle_at_upper_end, -12},
    {"lever not parallel", LINEAR, 0.5, angle_at_upper_end, 9},
    {"lever not parallel", PART_TURN, 0.3, angle_at_upper_end, 5},
    {"actuator friction high", LINEAR, 0.4, pressure_between_directions, 0.05},
    {"actuator friction high", PART_TURN, 0.4, pressure_between_directions, 0.3},
    {"diaphragm leaking", LINEAR, 0.4, mean_flow_while_holding, 100},
    {"supply low", LINEAR, 0.6, supply_reached, -0.5},
    {"filter clogged", LINEAR, 0.7, lowest_supply_in_a_stroke, -0.3},
    {"fitting leaks on output 1", LINEAR, 0.5, pressure_1_kept, -0.2},
    {"fitting leaks on output 2", PART_TURN, 0.5, pressure_2_kept, -0.2},
    {"flow sensor drifted", LINEAR, 0.3, flow_reading_error, 5},
    {"loop source off calibration", LINEAR, 0.3, current_at_12, 0.1},
    {"encoder slack", LINEAR, 0.3, encoder_difference_of_directions, 0.015},
    {"electrical noise", LINEAR, 0.3, scatter_of_pressure, 0.01},
    {"self-adjustment never ends", LINEAR, 0.6, adjusts_for, 60},
    {"slow bus", LINEAR, 0.5, bus_delay, 0.05},
};

static double probe(const struct look_for *l, double severity)
{
    struct es_virtual *v = start_with(l->type, 77, l->fault, severity);
    const double seen = l->probe(v);
    es_virtual_free(v);
    return seen;
}

Test(fault, each_is_seen_where_one_looks_for_it)
{
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        const struct look_for *l = &table[i];
        const double change = probe(l, l->severity) - probe(l, 0);
        cr_expect(l->change > 0 ? change >= l->change : change <= l->change,
                  "%s (%s, %g): changed by %g, not by %g", l->fault, es_virtual_type_name(l->type),
                  l->severity, change, l->change);
    }
}

Test(fault, the_table_above_knows_them_all)
{
    for (int f = 0; f < (int)es_virtual_fault_count(); f++) {
        bool known = false;
        for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
            known |= es_virtual_fault_find(table[i].fault) == f;
        }
        cr_expect(known, "%s is looked for by nobody", es_virtual_fault_get(f)->name);
    }
}

Test(fault, names_are_unique_and_found_with_hyphens_too)
{
    for (int f = 0; f < (int)es_virtual_fault_count(); f++) {
        char name[80];
        const struct es_virtual_fault *about = es_virtual_fault_get(f);
        cr_expect(es_virtual_fault_possible(f, LINEAR) || es_virtual_fault_possible(f, PART_TURN));
        cr_expect(strlen(about->meaning) > 10);
        snprintf(name, sizeof name, "%s", about->name);
        cr_expect(es_virtual_fault_find(name) == f, "%s", name);
        for (char *p = name; *p; p++) {
            *p = *p == ' ' ? '-' : *p;
        }
        cr_expect(es_virtual_fault_find(name) == f, "%s", name);
    }
    cr_expect(es_virtual_fault_find("nothing of the kind") == -1);
    cr_expect(es_virtual_fault_get(-1) == NULL);
}

Test(fault, severity_zero_is_no_fault)
{
    struct es_virtual *good = start(LINEAR, 21), *none = start(LINEAR, 21);
    for (int f = 0; f < (int)es_virtual_fault_count(); f++) {
        const struct es_virtual_fault_setting setting = {f, 0, 0};
        if (es_virtual_fault_possible(f, LINEAR)) {
            cr_assert(es_virtual_fault_set(none, &setting, NULL) == ES_OK);
        }
    }
    cr_assert(travel_at_20(good) == travel_at_20(none));
    es_virtual_free(good);
    es_virtual_free(none);
}

Test(fault, several_at_once)
{
    struct es_virtual *v = start_with(PART_TURN, 3, "relay seat leaks to output 1", 0.3);
    const struct es_virtual_fault_setting second = {es_virtual_fault_find("relay seat leaks to output 2"),
                                                    0.5, 0};
    cr_assert(es_virtual_fault_set(v, &second, NULL) == ES_OK);
    cr_expect(flow_1_at_rest(v) > 40);
    cr_expect(truth(v, ES_ROLE_OUTPUT_2_FLOW) / NL_H > 130);
    es_virtual_free(v);
}

Test(fault, grows_with_strokes)
{
    struct es_virtual *v = start(LINEAR, 3);
    const int fault = es_virtual_fault_find("spool worn");
    const struct es_virtual_fault_setting setting = {fault, 0.1, 0.05};
    cr_assert(es_virtual_fault_set(v, &setting, NULL) == ES_OK);
    connect_actuator(v, 4 * BAR);
    for (int i = 0; i < 10; i++) {
        demand(v, 20 * MA, 4);
        demand(v, 4 * MA, 5);
    }
    cr_expect_float_eq(look(v).strokes, 10, 0.1);
    cr_expect_float_eq(es_virtual_fault_severity(v, fault), 0.1 + 0.05 * look(v).strokes, 0.03);
    es_virtual_free(v);
}

/* Full strokes against a supply that sags: filling is slower, emptying is not. */
Test(fault, clogged_filter_slows_only_the_filling)
{
    struct es_virtual *v = start_with(LINEAR, 5, "filter clogged", 1), *good = start(LINEAR, 5);
    struct es_virtual *both[] = {v, good};
    double up[2], down[2];
    for (int i = 0; i < 2; i++) {
        up[i] = seconds_to_half(both[i]);
        demand(both[i], 12 * MA, 10);
        const double begin = share_of_travel(both[i]);
        set(both[i], ES_ROLE_LOOP_DEMAND, 4 * MA);
        for (down[i] = 0; share_of_travel(both[i]) > begin - 0.12e-3 && down[i] < 20; down[i] += 0.01) {
            es_virtual_advance(both[i], 0.01);
        }
        es_virtual_free(both[i]);
    }
    cr_expect(up[0] > 1.3 * up[1], "%g %g", up[0], up[1]);
    cr_expect_float_eq(down[0], down[1], 0.1 * down[1]);
}
