/* What one would do at a bench to see whether anything is wrong: rest under supply, a turn of the shaft,
 * strokes and small steps, held pressures, low current, self-adjustment. Its readings become features; a
 * fault shows in a role when a feature lies far outside those of good units. */
#ifndef ES_TESTS_VIRTUAL_EXERCISE_H
#define ES_TESTS_VIRTUAL_EXERCISE_H

#include "drivers/virtual/virtual_bench.h"

#define EXERCISE_WINDOWS 64
#define EXERCISE_KINDS                                                                                       \
    4 /* mean, least, largest, root mean square of the differences of successive readings */

struct exercise {
    int windows;
    double of[EXERCISE_WINDOWS][ES_ROLE_COUNT][EXERCISE_KINDS];
};

/* Runs a unit through it. fault -1: a good one. */
void exercise_run(enum es_virtual_type type, uint64_t seed, int fault, double severity, struct exercise *out);

struct good_units {
    struct exercise *each;
    int count;
};

void good_units_make(enum es_virtual_type type, int count, struct good_units *out);
void good_units_free(struct good_units *good);

/* The largest distance between a feature of that role in a and in b, in units of the good units' scatter
 * (never less than the instrument's own noise, resolution and error make). */
double exercise_distance(const struct good_units *good, const struct exercise *a, const struct exercise *b,
                         enum es_role role);

#endif
