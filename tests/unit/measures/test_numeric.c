/* Least squares row by row at the ends of the range of double, and the break that it finds. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/onset.h"

/* y = 3 + 2 x whatever the rows are scaled by: squares of the entries leave the range of double. */
Test(numeric, rows_of_any_size)
{
    static const double scales[] = {1e-200, 1e-140, 1, 1e140, 1e160};
    for (int k = 0; k < 5; k++) {
        struct es_least_squares ls;
        struct es_fit f;
        es_ls_start(&ls, 2);
        for (int i = 0; i < 20; i++) {
            double row[2] = {scales[k], 0.1 * i * scales[k]};
            es_ls_add(&ls, row, 3 + 0.2 * i);
        }
        cr_assert(es_ls_solve(&ls, &f), "%g", scales[k]);
        cr_assert_float_eq(f.b[0] * scales[k], 3, 1e-12, "%g", scales[k]);
        cr_assert_float_eq(f.b[1] * scales[k], 2, 1e-12, "%g", scales[k]);
    }
}

#define MOST 4000

/* The rest before the break is taken in once: how long it is does not move the break. */
Test(numeric, break_does_not_depend_on_the_rest)
{
    static double t[MOST], y[MOST];
    for (int rest = 60; rest <= 2500; rest += 1220) {
        size_t n = (size_t)rest + 300;
        for (size_t i = 0; i < n; i++) {
            t[i] = 0.01 * (double)i;
            double moved = t[i] - 0.01 * rest - 0.2;
            y[i] = moved > 0 ? 1 - exp(-moved / 0.8) : 0;
            y[i] += 1e-4 * sin(1.7 * (double)((size_t)rest + 300 - i)); /* the same after every rest */
        }
        struct es_curve_view c = {t, y, n, 1e-4, 1};
        struct es_onset onset;
        cr_assert(es_onset_find(&c, 0.01 * rest, 0, 1, 0.01 * rest + 1, &onset));
        cr_assert_float_eq(onset.at - 0.01 * rest, 0.2, 0.003, "after %d samples: %.5f", rest,
                           onset.at - 0.01 * rest);
    }
}
