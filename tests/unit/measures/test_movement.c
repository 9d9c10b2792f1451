/* Movement at rest: what noise alone shows of the largest of a set, and what a slip does. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/largest.h"
#include "procedures/measures/movement.h"
#include "tests/unit/measures/synthetic.h"

#define N      300
#define HOLDS  8
#define SETS   600
#define BLOCKS 40 /* of movement.c */

static void noise(double *y, uint64_t *seed)
{
    for (int i = 0; i < N; i++)
        y[i] = 1e-6 * syn_normal(seed);
}

/* 5 of 100 sets: 30 of 600, standard deviation 5.3; Bonferroni's bound leaves a little less. */
Test(movement, noise_alone_stands_out_in_five_sets_of_a_hundred)
{
    uint64_t seed = 31;
    double y[N];
    int seen = 0;
    for (int set = 0; set < SETS; set++) {
        double largest = 0;
        for (int hold = 0; hold < HOLDS; hold++) {
            struct es_movement m;
            noise(y, &seed);
            es_movement_of(y, N, 0, HOLDS, &m);
            largest = fmax(largest, m.range);
            cr_assert(m.range > 0 || m.u > 0);
        }
        seen += largest > 0;
    }
    cr_expect(seen >= 12 && seen <= 44, "%d of %d", seen, SETS);
}

/* Slips within a hold are found, and the interval holds them. */
Test(movement, a_slip_is_found)
{
    uint64_t seed = 32;
    double y[N], slip = 12 * 1e-6 / sqrt((double)N / BLOCKS);
    int found = 0, covered = 0;
    for (int k = 0; k < 200; k++) {
        struct es_movement m;
        noise(y, &seed);
        for (int i = N / 3; i < N; i++)
            y[i] += slip;
        es_movement_of(y, N, 0, HOLDS, &m);
        found += m.range > 0;
        covered += fabs(m.range - slip) <= 1.96 * m.u;
    }
    cr_expect_eq(found, 200);
    cr_expect_geq(covered, 180, "%d", covered);
}

/* z of 1 - 0.05 / n, standard normal table. */
Test(movement, seldom_exceeded)
{
    cr_expect_float_eq(es_seldom_exceeded(1), 1.645, 5e-4);
    cr_expect_float_eq(es_seldom_exceeded(5), 2.326, 5e-4);
    cr_expect_float_eq(es_seldom_exceeded(50), 3.090, 5e-4);
}
