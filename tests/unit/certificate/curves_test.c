#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "results/certificate/curves.h"

#define N 4000

static double t[N], y[N];
static struct es_curve curve = {.count = N, .t = t, .y = y};

/* Largest distance between the curve and the drawing through the picked points. */
static double worst_off(const size_t *picked, size_t count)
{
    double worst = 0;
    for (size_t s = 0; s + 1 < count; s++) {
        size_t a = picked[s];
        size_t b = picked[s + 1];
        cr_assert_lt(a, b, "indices rise");
        for (size_t i = a; i <= b; i++) {
            worst = fmax(worst, fabs(y[i] - y[a] - (y[b] - y[a]) * (t[i] - t[a]) / (t[b] - t[a])));
        }
    }
    return worst;
}

static void fill(double (*f)(double))
{
    for (size_t i = 0; i < N; i++) {
        t[i] = 0.01 * (double)i;
        y[i] = f(t[i]);
    }
}

static double steps(double at)
{
    return floor(at / 10) * (fmod(floor(at / 10), 2) == 0 ? 1 : -1);
}

static double first_order(double at)
{
    return at < 5 ? 0 : 1 - exp(-(at - 5) / 0.8);
}

static double straight(double at)
{
    return 3 + 0.5 * at;
}

static size_t thin(const struct es_curve *c, size_t most, size_t *picked)
{
    size_t count = 0;
    cr_assert(es_curve_thin(c, most, picked, &count));
    return count;
}

Test(curves, edges_and_plateaus_need_few_points)
{
    size_t picked[24];
    fill(steps);
    size_t count = thin(&curve, 24, picked);
    cr_expect_leq(count, 8, "three edges: two points each, and the ends");
    cr_expect_lt(worst_off(picked, count), 1e-9);
}

Test(curves, smooth_curves_are_drawn_within_half_a_percent)
{
    size_t picked[24];
    fill(first_order);
    size_t count = thin(&curve, 24, picked);
    cr_expect_leq(count, 24);
    cr_expect_lt(worst_off(picked, count), 0.005);
}

Test(curves, straight_line_needs_its_ends_only)
{
    size_t picked[24];
    fill(straight);
    cr_expect_eq(thin(&curve, 24, picked), 2);
    cr_expect_eq(picked[0], 0);
    cr_expect_eq(picked[1], N - 1);
}

Test(curves, single_peak_is_kept)
{
    size_t picked[5];
    fill(straight);
    y[1234] = 100;
    size_t count = thin(&curve, 5, picked);
    bool kept = false;
    for (size_t i = 0; i < count; i++) {
        kept = kept || picked[i] == 1234;
    }
    cr_expect(kept);
}

Test(curves, gaps_are_no_points)
{
    size_t picked[24];
    fill(first_order);
    y[0] = y[N - 1] = y[600] = NAN;
    size_t count = thin(&curve, 24, picked);
    cr_expect_gt(count, 4);
    for (size_t i = 0; i < count; i++) {
        cr_expect(isfinite(y[picked[i]]));
    }
    struct es_curve none = {.count = 1, .t = t, .y = y};
    cr_expect_eq(thin(&none, 24, picked), 0);
}
