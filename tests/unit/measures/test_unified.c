/* Intervals by inversion of the test, ordered by likelihood ratio. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/numeric/student.h"
#include "procedures/measures/unified.h"
#include "tests/unit/measures/synthetic.h"

/* A normal x about theta >= 0, as in Feldman and Cousins's own example. */
static void gauss(void *context, const double *edge, size_t count, double theta, double *below)
{
    (void)context;
    for (size_t i = 0; i < count; i++)
        below[i] = es_normal_cumulative(edge[i] - theta);
}

/* Feldman and Cousins 1998, table X, 90 and 95 % (from memory). */
Test(unified, table_of_a_normal_observation)
{
    static const struct {
        double x, coverage, low, high;
    } rows[] = {{-2, 0.90, 0, 0.40},   {-1, 0.90, 0, 0.81},   {0, 0.90, 0, 1.64}, {1, 0.90, 0, 2.64},
                {2, 0.90, 0.58, 3.64}, {3, 0.90, 1.37, 4.64}, {0, 0.95, 0, 1.96}, {1, 0.95, 0, 2.96}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct es_unified u = {gauss, NULL, -6, 14, rows[i].x, 8, 1, rows[i].coverage};
        struct es_unified_interval out;
        struct es_error err = {0};
        cr_assert_eq(es_unified_of(&u, &out, &err), ES_OK);
        cr_expect_float_eq(out.low, rows[i].low, 0.03, "x %g: from %.3f, not %.2f", rows[i].x, out.low,
                           rows[i].low);
        cr_expect_float_eq(out.high, rows[i].high, 0.03, "x %g: to %.3f, not %.2f", rows[i].x, out.high,
                           rows[i].high);
        cr_expect_float_eq(out.best, fmax(rows[i].x, 0), 0.01);
    }
}

/* Share of intervals that hold the truth, and the estimate's bias in u. */
static double covered(double truth, const double *u, size_t n, size_t trials, double *bias)
{
    uint64_t seed = 20;
    size_t held = 0;
    double sum = 0;
    for (size_t k = 0; k < trials; k++) {
        double largest = 0, u_of_it = u[0], value, doubt;
        for (size_t i = 0; i < n; i++) {
            double d = fabs(u[i] * syn_normal(&seed) + (i == 0 ? truth : 0));
            if (d > largest) {
                largest = d;
                u_of_it = u[i];
            }
        }
        struct es_error err = {0};
        cr_assert_eq(es_unified_largest(largest, u_of_it, u, n, &value, &doubt, &err), ES_OK);
        double U = 1.959963984540054 * doubt;
        held += truth >= value - U - 1e-9 && truth <= value + U;
        sum += value - truth;
    }
    *bias = sum / (double)trials / u[0];
    return (double)held / (double)trials;
}

Test(unified, largest_of_many_covers)
{
    static const double truths[] = {0, 1, 2, 4, 6, 9};
    double u[90];
    for (size_t i = 0; i < 90; i++)
        u[i] = i % 3 ? 1 : 0.6;
    u[0] = 1;
    static const size_t counts[] = {1, 90};
    for (size_t c = 0; c < sizeof counts / sizeof counts[0]; c++)
        for (size_t i = 0; i < sizeof truths / sizeof truths[0]; i++) {
            size_t n = counts[c];
            double bias, share = covered(truths[i], u, n, 200, &bias);
            cr_expect(share >= 0.90, "%zu, truth %g: covered %.3f", n, truths[i], share);
            cr_expect(truths[i] > 0 || share <= 0.98, "%zu, truth 0: covered %.3f", n, share);
            cr_expect(truths[i] < 6 || fabs(bias) < 0.25, "%zu, truth %g: bias %.2f u", n, truths[i], bias);
        }
}
