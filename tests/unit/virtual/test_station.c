/* A whole station: what a good unit does, sticking, repeatability of the numbers, the bench's hardware. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "tests/unit/virtual/helpers.h"

static const enum es_virtual_type types[] = {ES_VIRTUAL_LINEAR_SINGLE_ACTING,
                                             ES_VIRTUAL_PART_TURN_DOUBLE_ACTING};
static const double spans[] = {0.030, 90 * DEG};

Test(station, nothing_moves_without_air_and_current)
{
    for (int i = 0; i < 2; i++) {
        struct es_virtual *v = start(types[i], 3);
        const double angle = truth(v, ES_ROLE_SHAFT_ANGLE);
        es_virtual_advance(v, 60);
        cr_assert(truth(v, ES_ROLE_TRAVEL) == 0.0);
        cr_assert(truth(v, ES_ROLE_SHAFT_ANGLE) == angle);
        cr_assert(fabs(truth(v, ES_ROLE_OUTPUT_1_PRESSURE)) < 1.0);
        cr_assert(truth(v, ES_ROLE_FEEDBACK_CURRENT) == 0.0);
        es_virtual_free(v);
    }
}

/* Twenty good units of each type: no air without input beyond 2 Nl/h, full travel, positions within 1 %. */
Test(station, good_units_do_their_work)
{
    for (int i = 0; i < 40; i++) {
        const enum es_virtual_type type = types[i % 2];
        struct es_virtual *v = start(type, (uint64_t)i);
        const double span = spans[i % 2];
        close_volumes(v, 4 * BAR);
        cr_assert(fabs(truth(v, ES_ROLE_OUTPUT_1_FLOW)) < 2 * 1.0874e-3 / 3600);
        cr_assert(fabs(truth(v, ES_ROLE_OUTPUT_2_FLOW)) < 2 * 1.0874e-3 / 3600);
        connect_actuator(v, 4 * BAR);
        const double demands[] = {20, 4, 12, 8, 16, 13, 12.5};
        for (size_t n = 0; n < sizeof demands / sizeof demands[0]; n++) {
            demand(v, demands[n] * MA, 6);
            const double share = (demands[n] - 4) / 16;
            cr_assert_float_eq(truth(v, ES_ROLE_TRAVEL) / span, share, 0.012, "seed %d, %g mA", i,
                               demands[n]);
            cr_assert_float_eq(truth(v, ES_ROLE_FEEDBACK_CURRENT), demands[n] * MA, 0.16 * MA);
        }
        es_virtual_free(v);
    }
}

Test(station, air_comes_only_where_it_should)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_PART_TURN_DOUBLE_ACTING);
    connect_actuator(v, 4 * BAR);
    set(v, ES_ROLE_LOOP_DEMAND, 20 * MA);
    es_virtual_advance(v, 1);
    cr_assert(truth(v, ES_ROLE_OUTPUT_1_FLOW) > 1e-4);
    cr_assert(truth(v, ES_ROLE_OUTPUT_2_FLOW) <= 0.0);
    demand(v, 20 * MA, 5);
    set(v, ES_ROLE_LOOP_DEMAND, 4 * MA);
    es_virtual_advance(v, 0.3);
    cr_assert(truth(v, ES_ROLE_OUTPUT_1_FLOW) < -1e-4);
    cr_assert(truth(v, ES_ROLE_OUTPUT_2_FLOW) > 1e-4);
    es_virtual_free(v);
}

Test(station, friction_sticks)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    connect_actuator(v, 4 * BAR);
    demand(v, 12 * MA, 5);
    demand(v, 0, 1); /* the relay rests: what is in stays in */
    const double at = truth(v, ES_ROLE_TRAVEL);
    cr_assert(look(v).sticking);
    /* Adhesion is 53 N on 160 cm2: let out less than twice 0.035 bar, and nothing moves. */
    const double before = look(v).pressure[ES_CHAMBER_1];
    set(v, ES_ROLE_OUTPUT_1_VENT, 1);
    while (look(v).pressure[ES_CHAMBER_1] > before - 0.02 * BAR) {
        es_virtual_advance(v, 0.001);
        cr_assert(truth(v, ES_ROLE_TRAVEL) == at);
    }
    es_virtual_advance(v, 2);
    cr_assert(truth(v, ES_ROLE_TRAVEL) < at - 0.001);
    es_virtual_free(v);
}

Test(station, end_stops_hold)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    connect_actuator(v, 6 * BAR);
    for (int i = 0; i < 4; i++) {
        set(v, ES_ROLE_LOOP_DEMAND, i % 2 ? 4 * MA : 20 * MA);
        for (int n = 0; n < 4000; n++) {
            es_virtual_advance(v, 0.001);
            cr_assert(truth(v, ES_ROLE_TRAVEL) >= 0 && truth(v, ES_ROLE_TRAVEL) <= 0.030);
        }
        cr_assert(truth(v, ES_ROLE_TRAVEL) == i % 2 ? 0.0 : 0.030);
    }
    es_virtual_free(v);
}

/* The lever of section 10: s = L tan(angle), L = 30 mm, 30 mm of travel. */
Test(station, lever_turns_travel_into_angle)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    connect_actuator(v, 4 * BAR);
    for (double i = 5; i < 20; i += 2.5) {
        demand(v, i * MA, 5);
        const double angle = atan((truth(v, ES_ROLE_TRAVEL) - 0.015) / 0.030);
        cr_assert_float_eq(truth(v, ES_ROLE_SHAFT_ANGLE), angle, 0.03 * DEG);
    }
    es_virtual_free(v);
}

Test(station, shaft_motor_keeps_its_speed_and_stops_at_the_sensor_s_stop)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    set(v, ES_ROLE_SHAFT_DRIVE, 0);
    set(v, ES_ROLE_SHAFT_COUPLING, 1);
    es_virtual_advance(v, 2);
    cr_assert_float_eq(truth(v, ES_ROLE_SHAFT_ANGLE), 0.0, 1e-12);
    set(v, ES_ROLE_SHAFT_DRIVE, 90 * DEG);
    es_virtual_advance(v, 0.5);
    cr_assert_float_eq(truth(v, ES_ROLE_SHAFT_ANGLE), 30 * DEG, 0.1 * DEG);
    cr_assert_float_eq(truth(v, ES_ROLE_SENSOR_RATIO), 0.5 + 0.48 * 30 / 58, 0.001);
    es_virtual_advance(v, 2);
    cr_assert_float_eq(truth(v, ES_ROLE_SHAFT_ANGLE), 62 * DEG, 1e-9);
    cr_assert(truth(v, ES_ROLE_SENSOR_RATIO) == 0.98);
    set(v, ES_ROLE_SHAFT_COUPLING, 0);
    es_virtual_advance(v, 1);
    cr_assert_float_eq(truth(v, ES_ROLE_SHAFT_ANGLE), atan(-0.5), 0.05 * DEG);
    es_virtual_free(v);
}

struct numbers {
    double values[ES_ROLE_COUNT];
};

/* One and the same life, cut into calls of `cut` seconds. */
static struct numbers live(uint64_t seed, double cut)
{
    struct es_virtual *v = start(ES_VIRTUAL_PART_TURN_DOUBLE_ACTING, seed);
    const double events[][2] = {{0.5, 12}, {3.137, 16}, {4.9021, 5}, {7.77, 20}, {9, 12.3}};
    connect_actuator(v, 4 * BAR);
    double at = 3;
    for (size_t i = 0; i < sizeof events / sizeof events[0]; i++) {
        const double until = 3 + events[i][0];
        while (at + cut < until) {
            at += cut;
            es_virtual_advance_to(v, es_from_seconds(at));
        }
        at = until;
        es_virtual_advance_to(v, es_from_seconds(at));
        set(v, ES_ROLE_LOOP_DEMAND, events[i][1] * MA);
    }
    es_virtual_advance_to(v, es_from_seconds(14.2));
    struct numbers n;
    for (int role = 0; role < ES_ROLE_COUNT; role++) {
        n.values[role] = es_virtual_reading(v, (enum es_role)role).value;
    }
    es_virtual_free(v);
    return n;
}

Test(station, same_seed_same_numbers_however_time_is_cut)
{
    const struct numbers whole = live(11, 100), fine = live(11, 0.0007), coarse = live(11, 0.13),
                         other = live(12, 100);
    cr_assert(memcmp(&whole, &fine, sizeof whole) == 0);
    cr_assert(memcmp(&whole, &coarse, sizeof whole) == 0);
    cr_assert(memcmp(&whole, &other, sizeof whole) != 0);
}

/* With all faults and both types at once, energy and mass are kept to rounding over minutes. */
Test(station, balances_hold_over_a_long_run)
{
    struct es_virtual *v = start_with(ES_VIRTUAL_PART_TURN_DOUBLE_ACTING, 5, "diaphragm leaking", 0.3);
    const struct es_virtual_inner first = look(v);
    connect_actuator(v, 5 * BAR);
    for (int i = 0; i < 40; i++) {
        demand(v, (4 + (i * 7) % 17) * MA, 3);
    }
    const struct es_virtual_inner last = look(v);
    double mass = 0, energy = 0;
    for (int i = 0; i < ES_VIRTUAL_NODE_COUNT; i++) {
        mass += last.mass[i] - first.mass[i];
        energy += (last.pressure[i] * last.volume[i] - first.pressure[i] * first.volume[i]) / 0.4;
    }
    cr_assert_float_eq(mass, last.mass_in - last.mass_out, 1e-9 * last.mass_in);
    cr_assert_float_eq(energy, last.enthalpy_in - last.enthalpy_out + last.heat - last.work,
                       1e-9 * last.enthalpy_in);
    es_virtual_free(v);
}

Test(station, shut_supply_valve_vents_the_supply)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    connect_actuator(v, 4 * BAR);
    cr_assert_float_eq(truth(v, ES_ROLE_SUPPLY_PRESSURE), 4 * BAR, 0.02 * BAR);
    set(v, ES_ROLE_SUPPLY_VALVE, 0);
    es_virtual_advance(v, 2);
    cr_assert(truth(v, ES_ROLE_SUPPLY_PRESSURE) < 0.01 * BAR);
    es_virtual_free(v);
}

Test(station, regulator_follows_both_ways_and_ends_at_its_source)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    const double demands[] = {2, 6, 3, 9};
    set(v, ES_ROLE_SUPPLY_VALVE, 1);
    for (int i = 0; i < 4; i++) {
        set(v, ES_ROLE_SUPPLY_DEMAND, demands[i] * BAR);
        es_virtual_advance(v, 4);
        /* Relieving begins 0.1 bar above the set point. */
        const double expected = fmin(demands[i], 7.5);
        cr_assert_float_eq(truth(v, ES_ROLE_SUPPLY_PRESSURE), expected * BAR, 0.12 * BAR, "%g bar",
                           demands[i]);
    }
    es_virtual_free(v);
}

Test(station, emergency_stop_cuts_supply_and_motor)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    connect_actuator(v, 4 * BAR);
    set(v, ES_ROLE_SHAFT_COUPLING, 1);
    set(v, ES_ROLE_SHAFT_DRIVE, 60 * DEG);
    es_virtual_advance(v, 0.2);
    cr_assert(es_virtual_happen(v, ES_ROLE_EMERGENCY_STOP, 0, NULL) == ES_OK);
    const double angle = truth(v, ES_ROLE_SHAFT_ANGLE);
    es_virtual_advance(v, 2);
    cr_assert(truth(v, ES_ROLE_SHAFT_ANGLE) == angle);
    cr_assert(truth(v, ES_ROLE_SUPPLY_PRESSURE) < 0.01 * BAR);
    cr_assert(es_virtual_reading(v, ES_ROLE_EMERGENCY_STOP).value == 0.0);
    cr_assert(es_virtual_reading(v, ES_ROLE_SUPPLY_VALVE).value == 1.0, "what was written stays written");
    es_virtual_free(v);
}

Test(station, watchdog_makes_the_bench_safe_when_it_is_forgotten)
{
    struct es_virtual_config config;
    struct es_virtual *v = NULL;
    es_virtual_config_init(&config, ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    config.watchdog_period = 1;
    cr_assert(es_virtual_new(&config, &v, NULL) == ES_OK);
    connect_actuator(v, 4 * BAR); /* not armed yet: nothing happens in 3 s */
    demand(v, 20 * MA, 3);
    for (int i = 0; i < 5; i++) {
        set(v, ES_ROLE_WATCHDOG, i);
        es_virtual_advance(v, 0.9);
    }
    cr_assert(truth(v, ES_ROLE_SUPPLY_PRESSURE) > 3 * BAR);
    es_virtual_advance(v, 3);
    cr_assert(truth(v, ES_ROLE_SUPPLY_PRESSURE) < 0.05 * BAR);
    cr_assert(truth(v, ES_ROLE_OUTPUT_1_PRESSURE) < 0.05 * BAR);
    cr_assert(es_virtual_reading(v, ES_ROLE_SUPPLY_VALVE).value == 0.0);
    es_virtual_free(v);
}

Test(station, loop_source_has_its_limits)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    demand(v, 3.3 * MA, 2);
    cr_assert(!look(v).alive);
    demand(v, 3.7 * MA, 2);
    cr_assert(look(v).alive);
    cr_assert_float_eq(truth(v, ES_ROLE_LOOP_VOLTAGE), 8 + 60 * 3.7 * MA, 1e-6);
    demand(v, 20 * MA, 2);
    cr_assert_float_eq(truth(v, ES_ROLE_LOOP_VOLTAGE), 9.2, 1e-6);
    demand(v, 0, 2);
    cr_assert(!look(v).alive);
    es_virtual_free(v);
}

Test(station, wrong_use_is_refused)
{
    struct es_virtual *v = start_nominal(ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    struct es_error err;
    struct es_virtual_fault_setting setting = {0, 1.5, 0};
    cr_assert(es_virtual_write(v, ES_ROLE_TRAVEL, 1, &err) == ES_USAGE);
    cr_assert(es_virtual_write(v, ES_ROLE_NONE, 1, &err) == ES_USAGE);
    cr_assert(es_virtual_write(v, ES_ROLE_LOOP_DEMAND, NAN, &err) == ES_RANGE);
    cr_assert(es_virtual_happen(v, ES_ROLE_TRAVEL, 1, &err) == ES_USAGE);
    cr_assert(es_virtual_happen(v, ES_ROLE_GUARD, 0.5, &err) == ES_RANGE);
    cr_assert(es_virtual_happen(v, ES_ROLE_AMBIENT_PRESSURE, -1, &err) == ES_RANGE);
    cr_assert(es_virtual_fault_set(v, &setting, &err) == ES_RANGE);
    setting = (struct es_virtual_fault_setting){es_virtual_fault_find("fitting leaks on output 2"), 1, 0};
    cr_assert(es_virtual_fault_set(v, &setting, &err) == ES_USAGE);
    setting.fault = 1000;
    cr_assert(es_virtual_fault_set(v, &setting, &err) == ES_NOT_FOUND);
    es_virtual_free(v);
    struct es_virtual_config config;
    es_virtual_config_init(&config, ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    config.supply_volume = 0;
    v = NULL;
    cr_assert(es_virtual_new(&config, &v, &err) == ES_RANGE);
    cr_assert(v == NULL);
}

/* Whatever is written, the air stays air. */
Test(station, survives_what_nobody_should_write)
{
    static const double values[] = {1e30, -1e30, 1, -1, 0, 1e300, 4e5, -4e5, 1e-300};
    struct es_virtual *v = start(ES_VIRTUAL_PART_TURN_DOUBLE_ACTING, 8);
    for (int round = 0; round < 200; round++) {
        for (int role = 0; role < ES_ROLE_COUNT; role++) {
            if (es_role_info((enum es_role)role)->direction == ES_OUT) {
                set(v, (enum es_role)role, values[(round * 7 + role * 5) % 9]);
            }
        }
        es_virtual_advance(v, 0.137);
        const struct es_virtual_inner in = look(v);
        for (int i = 0; i < ES_VIRTUAL_NODE_COUNT; i++) {
            cr_assert(in.pressure[i] > 1e4 && in.pressure[i] < 2e6, "node %d: %g Pa", i, in.pressure[i]);
            cr_assert(in.temperature[i] > 100 && in.temperature[i] < 800, "node %d: %g K", i,
                      in.temperature[i]);
        }
        for (int role = 0; role < ES_ROLE_COUNT; role++) {
            cr_assert(isfinite(truth(v, (enum es_role)role)), "%s", es_role_info((enum es_role)role)->name);
            cr_assert(isfinite(es_virtual_reading(v, (enum es_role)role).value));
        }
    }
    es_virtual_free(v);
}
