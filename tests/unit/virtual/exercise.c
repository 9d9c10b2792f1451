#include "tests/unit/virtual/exercise.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "tests/unit/virtual/helpers.h"

#define INTERVAL 0.05

struct window {
    struct es_virtual *v;
    struct exercise *out;
};

/* Readings of all inputs over so many seconds, as one window of features. */
static void watch(const struct window *w, double seconds)
{
    cr_assert(w->out->windows < EXERCISE_WINDOWS);
    double(*f)[EXERCISE_KINDS] = w->out->of[w->out->windows++];
    double before[ES_ROLE_COUNT] = {0};
    const int count = (int)(seconds / INTERVAL + 0.5);
    for (int n = 0; n < count; n++) {
        es_virtual_advance(w->v, INTERVAL);
        for (int role = 0; role < ES_ROLE_COUNT; role++) {
            if (es_role_info((enum es_role)role)->direction == ES_OUT) {
                continue;
            }
            const double y = es_virtual_reading(w->v, (enum es_role)role).value;
            f[role][0] += y / count;
            f[role][1] = n ? fmin(f[role][1], y) : y;
            f[role][2] = n ? fmax(f[role][2], y) : y;
            f[role][3] += n ? (y - before[role]) * (y - before[role]) / count : 0;
            before[role] = y;
        }
    }
    for (int role = 0; role < ES_ROLE_COUNT; role++) {
        f[role][3] = sqrt(f[role][3]);
    }
}

/* The difference between two windows as one more: play shows between the directions. */
static void compare(const struct window *w, int first, int second)
{
    cr_assert(w->out->windows < EXERCISE_WINDOWS);
    double(*f)[EXERCISE_KINDS] = w->out->of[w->out->windows++];
    for (int role = 0; role < ES_ROLE_COUNT; role++) {
        f[role][0] = w->out->of[first][role][0] - w->out->of[second][role][0];
    }
}

static void put_and_watch(const struct window *w, enum es_role role, double value, double first, double then)
{
    set(w->v, role, value);
    watch(w, first);
    watch(w, then);
}

static void rest_under_supply(const struct window *w)
{
    watch(w, 2);
    close_volumes(w->v, 4 * BAR);
    watch(w, 6);
}

/* In pieces of 10 degrees: what is wrong at one angle is not lost in the whole. */
static void turn_the_shaft(const struct window *w)
{
    set(w->v, ES_ROLE_SHAFT_COUPLING, 1);
    for (int i = 0; i <= 20; i++) {
        const int step = i <= 10 ? i : 20 - i;
        set(w->v, ES_ROLE_SHAFT_DRIVE, (-50 + 10 * step) * DEG);
        if (i == 0) {
            es_virtual_advance(w->v, 2);
        }
        watch(w, 0.5);
    }
    for (int side = 0; side < 2; side++) {
        set(w->v, ES_ROLE_SHAFT_DRIVE, (side ? 20 : -20) * DEG);
        es_virtual_advance(w->v, 2);
        set(w->v, ES_ROLE_SHAFT_DRIVE, 0);
        es_virtual_advance(w->v, 1);
        watch(w, 1);
    }
    compare(w, w->out->windows - 2, w->out->windows - 1);
    set(w->v, ES_ROLE_SHAFT_COUPLING, 0);
}

static void move_the_actuator(const struct window *w)
{
    static const double small[] = {12.4, 12.8, 12.4, 12};
    connect_actuator(w->v, 4 * BAR);
    put_and_watch(w, ES_ROLE_LOOP_DEMAND, 4 * MA, 1, 6);
    put_and_watch(w, ES_ROLE_LOOP_DEMAND, 12 * MA, 1, 6);
    for (int i = 0; i < 4; i++) {
        put_and_watch(w, ES_ROLE_LOOP_DEMAND, small[i] * MA, 1, 4);
    }
    put_and_watch(w, ES_ROLE_LOOP_DEMAND, 20 * MA, 1, 5);
    put_and_watch(w, ES_ROLE_LOOP_DEMAND, 4 * MA, 1.5, 6);
}

static void hold_pressure(const struct window *w, enum es_role isolating, double current)
{
    set(w->v, isolating, 0);
    demand(w->v, current, 4);
    put_and_watch(w, ES_ROLE_LOOP_DEMAND, 0, 2, 8);
    set(w->v, isolating, 1);
}

static void low_current_and_high_supply(const struct window *w)
{
    put_and_watch(w, ES_ROLE_LOOP_DEMAND, 4.2 * MA, 1, 3);
    set(w->v, ES_ROLE_SUPPLY_DEMAND, 6 * BAR);
    put_and_watch(w, ES_ROLE_LOOP_DEMAND, 20 * MA, 2, 3);
    set(w->v, ES_ROLE_SUPPLY_DEMAND, 4 * BAR);
}

/* A good unit has finished long before the last window. */
static void self_adjust(const struct window *w)
{
    demand(w->v, 12 * MA, 5);
    set(w->v, ES_ROLE_SELF_ADJUSTMENT, 1);
    es_virtual_advance(w->v, 60);
    watch(w, 20);
    set(w->v, ES_ROLE_SELF_ADJUSTMENT, 0);
}

void exercise_run(enum es_virtual_type type, uint64_t seed, int fault, double severity, struct exercise *out)
{
    struct window w = {.out = out};
    memset(out, 0, sizeof *out);
    w.v = fault < 0 ? start(type, seed) : start_with(type, seed, es_virtual_fault_get(fault)->name, severity);
    rest_under_supply(&w);
    turn_the_shaft(&w);
    move_the_actuator(&w);
    hold_pressure(&w, ES_ROLE_OUTPUT_1_ISOLATING, 20 * MA);
    hold_pressure(&w, ES_ROLE_OUTPUT_2_ISOLATING, 4 * MA);
    low_current_and_high_supply(&w);
    self_adjust(&w);
    es_virtual_free(w.v);
}

void good_units_make(enum es_virtual_type type, int count, struct good_units *out)
{
    out->count = count;
    out->each = calloc((size_t)count, sizeof *out->each);
    cr_assert(out->each);
    for (int i = 0; i < count; i++) {
        exercise_run(type, (uint64_t)(1000 + i), -1, 0, &out->each[i]);
    }
}

void good_units_free(struct good_units *good)
{
    free(good->each);
}

static double floor_of(enum es_role role)
{
    struct es_virtual_config usual;
    es_virtual_config_init(&usual, ES_VIRTUAL_LINEAR_SINGLE_ACTING);
    const struct es_virtual_instrument *i = &usual.instruments[role];
    return i->noise + i->resolution + i->u_offset + 1e-12;
}

static double scatter(const struct good_units *good, enum es_role role, int window, int kind)
{
    double sum = 0, squares = 0;
    for (int i = 0; i < good->count; i++) {
        sum += good->each[i].of[window][role][kind];
    }
    for (int i = 0; i < good->count; i++) {
        squares += pow(good->each[i].of[window][role][kind] - sum / good->count, 2);
    }
    return hypot(sqrt(squares / (good->count - 1)), floor_of(role));
}

double exercise_distance(const struct good_units *good, const struct exercise *a, const struct exercise *b,
                         enum es_role role)
{
    double largest = 0;
    cr_assert_eq(a->windows, b->windows);
    for (int window = 0; window < a->windows; window++) {
        for (int kind = 0; kind < EXERCISE_KINDS; kind++) {
            const double apart = fabs(a->of[window][role][kind] - b->of[window][role][kind]);
            largest = fmax(largest, apart / scatter(good, role, window, kind));
        }
    }
    return largest;
}
