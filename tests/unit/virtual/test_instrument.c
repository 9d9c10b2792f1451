/* What an instrument says against what is so. */
#include <criterion/criterion.h>
#include <math.h>

#include "tests/unit/virtual/helpers.h"

static struct es_virtual *with(enum es_role role, struct es_virtual_instrument about, uint64_t seed)
{
    struct es_virtual_config config;
    struct es_virtual *v = NULL;
    es_virtual_config_init(&config, ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        config.instruments[i] = (struct es_virtual_instrument){.present = true};
    }
    about.present = true;
    config.instruments[role] = about;
    config.seed = seed;
    cr_assert(es_virtual_new(&config, &v, NULL) == ES_OK);
    return v;
}

static double says(const struct es_virtual *v, enum es_role role)
{
    return es_virtual_reading(v, role).value;
}

Test(instrument, perfect_one_says_what_is_so)
{
    struct es_virtual *v = with(ES_ROLE_TRAVEL, (struct es_virtual_instrument){0}, 1);
    connect_actuator(v, 4 * BAR);
    demand(v, 11 * MA, 4);
    const enum es_role roles[] = {ES_ROLE_TRAVEL,       ES_ROLE_SUPPLY_PRESSURE, ES_ROLE_OUTPUT_1_PRESSURE,
                                  ES_ROLE_LOOP_VOLTAGE, ES_ROLE_SENSOR_RATIO,    ES_ROLE_AMBIENT_PRESSURE};
    for (size_t i = 0; i < sizeof roles / sizeof roles[0]; i++) {
        cr_assert(says(v, roles[i]) == truth(v, roles[i]));
    }
    es_virtual_free(v);
}

Test(instrument, reading_changes_nothing_and_repeats)
{
    struct es_virtual *v = start(ES_VIRTUAL_LINEAR_SINGLE_ACTING, 4);
    connect_actuator(v, 4 * BAR);
    const double first = says(v, ES_ROLE_SUPPLY_PRESSURE);
    for (int i = 0; i < 10; i++) {
        cr_assert(says(v, ES_ROLE_SUPPLY_PRESSURE) == first);
    }
    es_virtual_free(v);
}

Test(instrument, resolution_and_range)
{
    struct es_virtual *v =
        with(ES_ROLE_SUPPLY_PRESSURE,
             (struct es_virtual_instrument){.high = 2.5 * BAR, .resolution = 0.1 * BAR}, 1);
    set(v, ES_ROLE_SUPPLY_VALVE, 1);
    set(v, ES_ROLE_SUPPLY_DEMAND, 2.04 * BAR);
    es_virtual_advance(v, 4);
    cr_assert_float_eq(says(v, ES_ROLE_SUPPLY_PRESSURE), 2.0 * BAR, 1e-6);
    set(v, ES_ROLE_SUPPLY_DEMAND, 4 * BAR);
    es_virtual_advance(v, 4);
    cr_assert_float_eq(says(v, ES_ROLE_SUPPLY_PRESSURE), 2.5 * BAR, 1e-6);
    es_virtual_free(v);
}

/* First order: after one time constant 63.2 % of a step (here the shaft drive's own read-back would do, but
 * the loop current is the fastest step there is). */
Test(instrument, lag_is_first_order)
{
    struct es_virtual *v = with(ES_ROLE_LOOP_CURRENT, (struct es_virtual_instrument){.lag = 0.5}, 1);
    demand(v, 10 * MA, 0.5);
    const double lag = -0.5 / log(1 - says(v, ES_ROLE_LOOP_CURRENT) / (10 * MA));
    cr_assert(lag > 0.8 * 0.5 && lag < 1.2 * 0.5, "stated 0.5 s, known to a fifth: %g s", lag);
    demand(v, 10 * MA, 0.5);
    cr_assert_float_eq(says(v, ES_ROLE_LOOP_CURRENT), 10 * MA * (1 - exp(-1 / lag)), 0.02 * MA);
    es_virtual_free(v);
}

/* What is stated of an instrument is drawn: over many benches the lag fills the fifth evenly, and readings of
 * one value scatter by the repeatability from act to act, and not within one. */
Test(instrument, stated_errors_are_drawn)
{
    double sum = 0, squares = 0;
    for (uint64_t seed = 1; seed <= 200; seed++) {
        struct es_virtual *v = with(ES_ROLE_LOOP_CURRENT, (struct es_virtual_instrument){.lag = 0.5}, seed);
        demand(v, 10 * MA, 0.5);
        const double off = -0.5 / log(1 - says(v, ES_ROLE_LOOP_CURRENT) / (10 * MA)) / 0.5 - 1;
        sum += off;
        squares += off * off;
        es_virtual_free(v);
    }
    /* a rectangle of half-width 0.2: mean 0 +- 0.0082, mean square 0.0133 +- 0.0008 */
    cr_expect(fabs(sum / 200) < 4 * 0.0082, "mean %g", sum / 200);
    cr_expect(fabs(squares / 200 - 0.04 / 3) < 4 * 0.0012, "mean square %g", squares / 200);

    struct es_virtual *v = with(ES_ROLE_TRAVEL, (struct es_virtual_instrument){.repeatability = 1e-3}, 3);
    sum = squares = 0;
    for (int i = 0; i < 200; i++) {
        es_virtual_new_act(v);
        const double one = says(v, ES_ROLE_TRAVEL);
        cr_assert(says(v, ES_ROLE_TRAVEL) == one);
        sum += one;
        squares += one * one;
    }
    const double mean = sum / 200, variance = squares / 200 - mean * mean;
    cr_expect(fabs(variance / 1e-6 - 1) < 0.4, "variance %g", variance);
    es_virtual_free(v);
}

Test(instrument, refresh_holds_the_value_between)
{
    struct es_virtual *v = with(ES_ROLE_TRAVEL, (struct es_virtual_instrument){.refresh = 0.025}, 9);
    connect_actuator(v, 4 * BAR);
    set(v, ES_ROLE_LOOP_DEMAND, 20 * MA);
    es_virtual_advance(v, 0.6); /* powered up, and moving */
    int changes = 0;
    double before = says(v, ES_ROLE_TRAVEL);
    for (int i = 0; i < 200; i++) {
        es_virtual_advance(v, 0.001);
        const struct es_virtual_reading r = es_virtual_reading(v, ES_ROLE_TRAVEL);
        cr_assert(es_seconds(es_virtual_now(v) - r.taken) <= 0.0261);
        changes += r.value != before;
        before = r.value;
    }
    cr_assert(changes == 8, "%d", changes);
    es_virtual_free(v);
}

Test(instrument, noise_has_its_standard_deviation)
{
    struct es_virtual *v = with(ES_ROLE_AMBIENT_TEMPERATURE, (struct es_virtual_instrument){.noise = 0.5}, 3);
    double sum = 0, squares = 0;
    const int n = 20000;
    for (int i = 0; i < n; i++) {
        es_virtual_advance(v, 0.01);
        const double x = says(v, ES_ROLE_AMBIENT_TEMPERATURE) - 293.15;
        sum += x;
        squares += x * x;
    }
    const double sd = sqrt(squares / n - sum / n * (sum / n));
    cr_assert_float_eq(sum / n, 0.0, 4 * 0.5 / sqrt(n));
    cr_assert_float_eq(sd, 0.5, 4 * 0.5 / sqrt(2.0 * n));
    es_virtual_free(v);
}

/* Calibration errors over many benches have the standard uncertainties that were stated. */
Test(instrument, errors_are_drawn_from_their_uncertainty)
{
    double offsets = 0, gains = 0;
    const int n = 2000;
    for (int i = 0; i < n; i++) {
        struct es_virtual *v = with(ES_ROLE_AMBIENT_PRESSURE,
                                    (struct es_virtual_instrument){.u_offset = 30, .u_gain = 0}, (uint64_t)i);
        const double d = says(v, ES_ROLE_AMBIENT_PRESSURE) - 101325;
        offsets += d * d;
        es_virtual_free(v);
        v = with(ES_ROLE_AMBIENT_PRESSURE, (struct es_virtual_instrument){.u_gain = 1e-3}, (uint64_t)i);
        const double g = says(v, ES_ROLE_AMBIENT_PRESSURE) / 101325 - 1;
        gains += g * g;
        es_virtual_free(v);
    }
    cr_assert_float_eq(sqrt(offsets / n), 30.0, 4 * 30 / sqrt(2.0 * n));
    cr_assert_float_eq(sqrt(gains / n), 1e-3, 4 * 1e-3 / sqrt(2.0 * n));
}

static const double readings[] = {0, 2e5, 5e5}, corrections[] = {1000, -500, 2000};

Test(instrument, correction_gives_the_truth_back)
{
    const struct es_virtual_instrument about = {
        .point_count = 3, .readings = readings, .corrections = corrections};
    struct es_virtual *v = with(ES_ROLE_SUPPLY_PRESSURE, about, 1);
    set(v, ES_ROLE_SUPPLY_VALVE, 1);
    const double demands[] = {0, 1, 2, 3.3, 5, 6};
    for (int i = 0; i < 6; i++) {
        set(v, ES_ROLE_SUPPLY_DEMAND, demands[i] * BAR);
        es_virtual_advance(v, 3);
        const double r = says(v, ES_ROLE_SUPPLY_PRESSURE);
        double c = r < 2e5 ? 1000 - 1500 * r / 2e5 : -500 + 2500 * (r - 2e5) / 3e5;
        c = r <= 0 ? 1000 : r >= 5e5 ? 2000 : c;
        cr_assert_float_eq(r + c, truth(v, ES_ROLE_SUPPLY_PRESSURE), 0.1);
    }
    es_virtual_free(v);
}

Test(instrument, output_s_error_lies_between_what_is_written_and_what_happens)
{
    const struct es_virtual_instrument about = {.u_offset = 50e-6};
    struct es_virtual *v = with(ES_ROLE_LOOP_DEMAND, about, 8);
    demand(v, 12 * MA, 1);
    cr_assert(says(v, ES_ROLE_LOOP_DEMAND) == 12 * MA);
    const double off = truth(v, ES_ROLE_LOOP_CURRENT) - 12 * MA;
    cr_assert(off != 0 && fabs(off) < 0.25 * MA);
    demand(v, 8 * MA, 1);
    cr_assert_float_eq(truth(v, ES_ROLE_LOOP_CURRENT) - 8 * MA, off, 1e-9);
    es_virtual_free(v);
}

Test(instrument, repeatability_is_drawn_anew_when_a_valve_is_switched)
{
    struct es_virtual *v =
        with(ES_ROLE_AMBIENT_PRESSURE, (struct es_virtual_instrument){.repeatability = 10}, 2);
    const double first = says(v, ES_ROLE_AMBIENT_PRESSURE);
    es_virtual_advance(v, 10);
    cr_assert(says(v, ES_ROLE_AMBIENT_PRESSURE) == first);
    set(v, ES_ROLE_OUTPUT_1_VENT, 0);
    cr_assert(says(v, ES_ROLE_AMBIENT_PRESSURE) != first);
    es_virtual_free(v);
}
