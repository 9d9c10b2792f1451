/* Static figures: the synthetic case of the reference values (recomputed, not published), backlash, lever
 * geometry (elementary; no published table found). */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/numeric/minimax_line.h"

#define DEG (acos(-1) / 180)

/* Mean curve of three cycles: ideal + mean errors (0.175 0.025 -0.025 -0.05 -0.10). */
static const double x5[5] = {0, 25, 50, 75, 100};
static const double y5[5] = {0.175, 25.025, 49.975, 74.95, 99.9};

static double terminal(const double *x, const double *y, size_t n)
{
    double slope = (y[n - 1] - y[0]) / (x[n - 1] - x[0]), most = 0;
    for (size_t i = 0; i < n; i++)
        most = fmax(most, fabs(y[i] - y[0] - slope * (x[i] - x[0])));
    return most;
}

Test(static_case, linearities)
{
    struct es_minimax_line l;
    cr_assert(es_minimax_line(x5, y5, 5, &l));
    cr_assert_float_eq(l.deviation, 0.040625, 1e-12);
    cr_assert_float_eq(l.intercept, 0.134375, 1e-12);
    cr_assert_float_eq(l.slope, 0.99725, 1e-12);
    cr_assert_float_eq(terminal(x5, y5, 5), 0.08125, 1e-12);
    cr_assert(es_minimax_line_through(x5, y5, 5, x5[0], y5[0], &l));
    cr_assert_float_eq(l.deviation, 0.065, 1e-9);
    cr_assert_float_eq(l.slope, 0.9966, 1e-9);
}

/* The pin follows the stem at a fixed arm: x = tan(theta) / tan(theta_m), p = theta / theta_m. */
Test(static_case, lever_geometry)
{
    static const double rows[][3] = {{20, 0.8012446041, 0.5236950025},
                                     {25, 1.269958596, 0.8331118301},
                                     {30, 1.861643864, 1.22698546},
                                     {40, 3.470235027, 2.316681519},
                                     {45, 4.52729844, 3.048180083}};
    enum { N = 20001 };
    static double x[N], p[N];
    for (size_t r = 0; r < 5; r++) {
        double most = rows[r][0] * DEG;
        for (int i = 0; i < N; i++) {
            double theta = most * (2.0 * i / (N - 1) - 1);
            x[i] = 50 * (tan(theta) / tan(most) + 1);
            p[i] = 50 * (theta / most + 1);
        }
        struct es_minimax_line l;
        cr_assert(es_minimax_line(x, p, N, &l));
        cr_assert_float_eq(l.deviation, rows[r][2], 1e-6, "%g deg %.9f", rows[r][0], l.deviation);
        cr_assert_float_eq(terminal(x, p, N), rows[r][1], 1e-6);
    }
}

Test(static_case, minimax_by_brute_force)
{
    unsigned state = 12345;
    for (int k = 0; k < 50; k++) {
        double x[7], y[7];
        for (int i = 0; i < 7; i++) {
            state = state * 1103515245u + 12345u;
            x[i] = i + 0.3 * ((state >> 16) % 3);
            state = state * 1103515245u + 12345u;
            y[i] = (double)((state >> 16) % 1000) / 100;
        }
        struct es_minimax_line l;
        cr_assert(es_minimax_line(x, y, 7, &l));
        /* Chebyshev: the best deviation equals the largest over all triples of their own best deviations */
        double most = 0;
        for (int a = 0; a < 7; a++)
            for (int b = a + 1; b < 7; b++)
                for (int c = b + 1; c < 7; c++) {
                    double on = y[a] + (y[c] - y[a]) * (x[b] - x[a]) / (x[c] - x[a]);
                    most = fmax(most, fabs(y[b] - on) / 2);
                }
        cr_assert_float_eq(l.deviation, most, 1e-12);
    }
}
