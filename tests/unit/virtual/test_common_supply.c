/* Several stations on one source: what one draws, the other feels. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "drivers/virtual/air.h"
#include "drivers/virtual/common_supply.h"
#include "tests/unit/virtual/helpers.h"

#define LINEAR    ES_VIRTUAL_LINEAR_SINGLE_ACTING
#define PART_TURN ES_VIRTUAL_PART_TURN_DOUBLE_ACTING

struct two {
    struct es_virtual_supply *supply;
    struct es_virtual *v[2];
};

static struct two make(double conductance, double volume)
{
    struct es_virtual_supply_config config;
    struct two t = {NULL, {start(LINEAR, 1), start(PART_TURN, 2)}};
    es_virtual_supply_config_init(&config);
    config.conductance = conductance * ES_AIR_DM3_S_BAR;
    config.volume = volume;
    cr_assert(es_virtual_supply_new(&config, &t.supply, NULL) == ES_OK);
    for (int i = 0; i < 2; i++) {
        cr_assert(es_virtual_supply_join(t.supply, t.v[i], NULL) == ES_OK);
    }
    return t;
}

static void end(struct two *t)
{
    es_virtual_free(t->v[0]);
    es_virtual_supply_free(t->supply);
    es_virtual_free(t->v[1]);
}

static struct es_virtual_supply_inner inside(const struct two *t)
{
    struct es_virtual_supply_inner in;
    es_virtual_supply_look(t->supply, &in);
    return in;
}

/* Both connected at 6 bar; then the second strokes, and the first one's supply is watched. */
static double droop_at_the_first(double conductance, double volume)
{
    struct two t = make(conductance, volume);
    connect_actuator(t.v[0], 6 * BAR);
    connect_actuator(t.v[1], 6 * BAR);
    es_virtual_advance(t.v[0], 20);
    const double before = truth(t.v[0], ES_ROLE_SUPPLY_PRESSURE);
    double lowest = before;
    for (int i = 0; i < 6; i++) {
        set(t.v[1], ES_ROLE_LOOP_DEMAND, (i % 2 ? 4 : 20) * MA);
        for (int n = 0; n < 250; n++) {
            es_virtual_advance(t.v[0], 0.01);
            lowest = fmin(lowest, truth(t.v[0], ES_ROLE_SUPPLY_PRESSURE));
        }
    }
    end(&t);
    return before - lowest;
}

Test(common_supply, a_neighbour_s_strokes_are_felt_through_a_narrow_line)
{
    const double wide = droop_at_the_first(20, 50e-3), narrow = droop_at_the_first(0.05, 1e-3);
    cr_expect(wide < 0.02 * BAR, "%g bar", wide / BAR);
    cr_expect(narrow > 0.5 * BAR, "%g bar", narrow / BAR);
}

Test(common_supply, stations_share_their_time)
{
    struct two t = make(2, 5e-3);
    es_virtual_advance(t.v[0], 1.2345);
    cr_expect_eq(es_virtual_now(t.v[1]), es_virtual_now(t.v[0]));
    es_virtual_advance(t.v[1], 0.5);
    cr_expect_float_eq(es_seconds(es_virtual_now(t.v[0])), 1.7345, 1e-9);
    end(&t);
}

Test(common_supply, mass_is_kept)
{
    struct two t = make(0.3, 2e-3);
    const struct es_virtual_supply_inner first = inside(&t);
    connect_actuator(t.v[0], 5 * BAR);
    connect_actuator(t.v[1], 5 * BAR);
    for (int i = 0; i < 10; i++) {
        demand(t.v[0], (4 + (i * 7) % 17) * MA, 1.5);
        demand(t.v[1], (4 + (i * 5) % 17) * MA, 1.5);
    }
    es_virtual_advance_to(t.v[0], es_from_seconds(60)); /* whole slices: everything is booked */
    const struct es_virtual_supply_inner last = inside(&t);
    cr_expect_float_eq(last.mass - first.mass, last.mass_in - last.mass_out, 1e-12);
    cr_expect_float_eq(last.mass_out, look(t.v[0]).mass_in + look(t.v[1]).mass_in, 1e-12);
    cr_expect(last.mass_out > 1e-3);
    end(&t);
}

/* Drawn off with a constant flow, the header settles where the line's ISO 6358 flow equals it. */
Test(common_supply, settles_where_the_line_gives_what_is_drawn)
{
    struct two t = make(0.4, 1e-3);
    set(t.v[0], ES_ROLE_SUPPLY_VALVE, 1); /* the open vents of a unit driven up draw all the time */
    set(t.v[0], ES_ROLE_SUPPLY_DEMAND, 6 * BAR);
    demand(t.v[0], 20 * MA, 60);
    const struct es_virtual_supply_inner in = inside(&t);
    double a, b;
    const double line = es_air_flow(0.4 * ES_AIR_DM3_S_BAR, 0.3, 7.5 * BAR + 101325, 293.15,
                                    in.pressure + 101325, 293.15, &a, &b);
    const double before = in.mass_out;
    es_virtual_advance(t.v[0], 10);
    cr_expect_float_eq((inside(&t).mass_out - before) / 10, line, 0.002 * line);
    cr_expect(in.pressure < 7.3 * BAR && in.pressure > 2 * BAR, "%g bar", in.pressure / BAR);
    end(&t);
}

static void live(double cut, double out[2])
{
    struct two t = make(0.1, 1e-3);
    connect_actuator(t.v[0], 5 * BAR);
    connect_actuator(t.v[1], 5 * BAR);
    set(t.v[0], ES_ROLE_LOOP_DEMAND, 18 * MA);
    set(t.v[1], ES_ROLE_LOOP_DEMAND, 15 * MA);
    for (double at = 6 + cut; at < 12; at += cut) {
        es_virtual_advance_to(t.v[0], es_from_seconds(at));
    }
    es_virtual_advance_to(t.v[0], es_from_seconds(12));
    out[0] = truth(t.v[0], ES_ROLE_SUPPLY_PRESSURE);
    out[1] = truth(t.v[1], ES_ROLE_TRAVEL);
    end(&t);
}

Test(common_supply, same_numbers_however_time_is_cut)
{
    double whole[2], fine[2];
    live(10, whole);
    live(0.00171, fine);
    cr_expect(memcmp(whole, fine, sizeof whole) == 0, "%.17g %.17g", whole[0], fine[0]);
}

Test(common_supply, mains_that_fail_and_the_fault_supply_low_both_count)
{
    struct two t = make(2, 5e-3);
    const struct es_virtual_fault_setting low = {es_virtual_fault_find("supply low"), 0.5, 0};
    cr_assert(es_virtual_fault_set(t.v[0], &low, NULL) == ES_OK);
    for (int i = 0; i < 2; i++) {
        set(t.v[i], ES_ROLE_SUPPLY_VALVE, 1);
        set(t.v[i], ES_ROLE_SUPPLY_DEMAND, 7 * BAR);
    }
    es_virtual_advance(t.v[0], 20);
    cr_expect_float_eq(truth(t.v[0], ES_ROLE_SUPPLY_PRESSURE), 0.55 * 7.5 * BAR, 0.1 * BAR);
    cr_expect(truth(t.v[1], ES_ROLE_SUPPLY_PRESSURE) > 6.5 * BAR);
    cr_assert(es_virtual_supply_set(t.supply, 3 * BAR, 2 * ES_AIR_DM3_S_BAR, NULL) == ES_OK);
    set(t.v[1], ES_ROLE_SUPPLY_VALVE, 0);
    es_virtual_advance(t.v[0], 5);
    set(t.v[1], ES_ROLE_SUPPLY_VALVE, 1);
    es_virtual_advance(t.v[0], 60);
    cr_expect_float_eq(truth(t.v[1], ES_ROLE_SUPPLY_PRESSURE), 3 * BAR, 0.2 * BAR);
    end(&t);
}

Test(common_supply, refuses_what_cannot_be)
{
    struct es_virtual_supply_config config;
    struct es_virtual_supply *s = NULL;
    es_virtual_supply_config_init(&config);
    config.volume = 0;
    cr_expect_eq(es_virtual_supply_new(&config, &s, NULL), ES_RANGE);
    struct two t = make(2, 5e-3);
    cr_expect_eq(es_virtual_supply_join(t.supply, t.v[0], NULL), ES_USAGE);
    cr_expect_eq(es_virtual_supply_set(t.supply, -1, 1e-8, NULL), ES_RANGE);
    end(&t);
}
