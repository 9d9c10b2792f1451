/* JCGM 101:2008, worked examples of clause 9. Published figures from memory (9.2.2 and 9.2.3 second-hand),
 * each computed again in closed form or with 6 to 8 million trials; those are what is tested, to a unit of
 * the last digit that is printed. Beside each stands what JCGM 100 gives. EA-4/02 M:2022, S9 and S10, from
 * memory. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/numeric/monte_carlo.h"
#include "procedures/measures/propagate.h"

#define N(a_, b_)                                                                                            \
    {                                                                                                        \
        ES_DISTRIBUTION_NORMAL, (a_), (b_), 0                                                                \
    }
#define R(a_, b_)                                                                                            \
    {                                                                                                        \
        ES_DISTRIBUTION_RECTANGULAR, (a_), (b_), 0                                                           \
    }

/* So many that an end of an interval is within a hundredth of u: more than the documents' own tolerance
 * (7.9.2) of half the last digit that they state. `digits` is not reached before. */
#define TRIALS 2000000

static double sum_of_four(const void *context, const double *x)
{
    (void)context;
    return x[0] + x[1] + x[2] + x[3];
}

static struct es_monte_carlo_result run(const struct es_input *inputs, size_t count, es_model *model,
                                        double coverage, uint64_t seed)
{
    struct es_monte_carlo job = {.inputs = inputs,
                                 .input_count = count,
                                 .model = model,
                                 .seed = seed,
                                 .coverage = coverage,
                                 .digits = 4,
                                 .most = TRIALS};
    struct es_monte_carlo_result r;
    struct es_error err = {0};
    cr_assert_eq(es_monte_carlo_run(&job, &r, &err), ES_OK, "%s", err.text);
    return r;
}

/* What JCGM 100 makes of independent terms. */
static struct es_measured by_jcgm_100(double value, const double *u, size_t n)
{
    struct es_budget b = {0};
    struct es_measured m;
    for (size_t i = 0; i < n; i++)
        es_budget_add(&b, ES_TERM_COMMON, u[i], INFINITY);
    es_measured_start(&m, "y", ES_DIM_NUMBER);
    es_measured_set(&m, value, &b);
    return m;
}

/* 9.2.2: u 2.00, 95 % +-3.92 by both. */
Test(jcgm_101, sum_of_normals)
{
    struct es_measured linear = by_jcgm_100(0, (double[]){1, 1, 1, 1}, 4);
    cr_expect_float_eq(linear.u, 2.00, 0.005);
    cr_expect_float_eq(linear.U, 3.92, 0.005);
    const struct es_input in[] = {N(0, 1), N(0, 1), N(0, 1), N(0, 1)};
    struct es_monte_carlo_result r = run(in, 4, sum_of_four, 0.95, 1);
    cr_expect_float_eq(r.u, 2.00, 0.005);
    cr_expect_float_eq(r.high, 3.919928, 0.01, "%g", r.high);
    cr_expect_float_eq(r.low, -3.919928, 0.01, "%g", r.low);
    cr_expect(r.trials >= 30000);
}

/* 9.2.3: rectangular inputs of standard deviation 1: the ends are 2 sqrt(3) (2 - (3/5)^(1/4)) = 3.8794. */
Test(jcgm_101, sum_of_rectangles)
{
    double half = sqrt(3);
    const struct es_input in[] = {R(0, half), R(0, half), R(0, half), R(0, half)};
    struct es_monte_carlo_result r = run(in, 4, sum_of_four, 0.95, 2);
    cr_expect_float_eq(r.u, 2.00, 0.005);
    double end = 2 * sqrt(3) * (2 - pow(0.6, 0.25));
    cr_expect_float_eq(end, 3.88, 0.005);
    cr_expect_float_eq(r.high, end, 0.01, "%g", r.high);
    cr_expect_float_eq(r.low, -end, 0.01, "%g", r.low);
    cr_expect_lt(r.high, 3.91, "the linear method's 3.92 is not it");
}

/* 9.2.4: one input dominates: u 10.1 (10.148892), 95 % +-17.0 (17.0158); the linear method has +-19.9. */
Test(jcgm_101, one_rectangle_dominates)
{
    double half = sqrt(3);
    const struct es_input in[] = {R(0, half), R(0, half), R(0, half), R(0, 10 * half)};
    struct es_monte_carlo_result r = run(in, 4, sum_of_four, 0.95, 3);
    struct es_measured linear = by_jcgm_100(0, (double[]){1, 1, 1, 10}, 4);
    cr_expect_float_eq(linear.u, 10.1, 0.05);
    cr_expect_float_eq(linear.U, 19.9, 0.05);
    cr_expect_float_eq(r.u, 10.148892, 0.01, "%g", r.u);
    cr_expect_float_eq(r.high, 17.0158, 0.03, "%g", r.high);
    cr_expect_float_eq(r.low, -17.0158, 0.03, "%g", r.low);
}

/* 9.3 mass calibration: 1.2341 mg, u 0.0754, [1.0834, 1.3825] (recomputed 0.0755, [1.0847, 1.3836]); JCGM 100
 * to first order, in which the densities drop out: 1.2340, 0.0539, [1.1285, 1.3395]; with the terms of higher
 * order 0.0750, [1.0870, 1.3810]. */
static double mass(const void *context, const double *x)
{
    (void)context; /* m_Rc mg, dm mg, densities of air, weight, reference */
    return (x[0] + x[1]) * (1 + (x[2] - 1.2) * (1 / x[3] - 1 / x[4])) - 1e5;
}

Test(jcgm_101, mass_calibration)
{
    const struct es_input in[] = {N(100000, 0.050), N(1.234, 0.020), R(1.2, 0.1), R(8000, 1000), R(8000, 50)};
    struct es_monte_carlo_result r = run(in, 5, mass, 0.95, 4);
    cr_expect_float_eq(r.estimate, 1.2341, 0.0001, "%g", r.estimate);
    cr_expect_float_eq(r.u, 0.0755, 0.0001, "%g", r.u);
    cr_expect_float_eq(r.low, 1.0847, 0.001, "%g", r.low);
    cr_expect_float_eq(r.high, 1.3836, 0.001, "%g", r.high);
    struct es_measured first = by_jcgm_100(1.234, (double[]){0.050, 0.020}, 2);
    cr_expect_float_eq(first.u, 0.0539, 0.00005);
    cr_expect_float_eq(first.value - first.U, 1.1285, 0.00005);
    cr_expect_float_eq(first.value + first.U, 1.3395, 0.00005);
    double buoyancy =
        1e5 * es_rectangular(0.1) / (8000. * 8000.); /* mixed second derivatives, JCGM 100 5.1.2 */
    struct es_measured second = by_jcgm_100(
        1.234, (double[]){0.050, 0.020, buoyancy * es_rectangular(1000), buoyancy * es_rectangular(50)}, 4);
    cr_expect_float_eq(second.u, 0.0750, 0.00005, "%g", second.u);
    cr_expect_float_eq(second.value - second.U, 1.0870, 0.0001, "%g", second.value - second.U);
    cr_expect_float_eq(second.value + second.U, 1.3810, 0.0001, "%g", second.value + second.U);
}

/* 9.4 comparison loss: Y = X1^2 + X2^2, u 0.005. In units of 1e-6 exactly: 50, 50, [0, 149.8] at 0; 150,
 * 111.803, [0, 366.0] at 0.010; 2550, 502.494, [1593.6, 3548.6] at 0.050 (shortest intervals). The linear
 * method gives u 0, 100 and 500. */
static double loss(const void *context, const double *x)
{
    (void)context;
    return 1e6 * (x[0] * x[0] + x[1] * x[1]);
}

Test(jcgm_101, comparison_loss)
{
    static const double rows[][6] = {{0, 50, 50, 0, 149.8, 0},
                                     {0.010, 150, 111.803, 0, 366.0, 100},
                                     {0.050, 2550, 502.494, 1593.6, 3548.6, 500}};
    for (size_t i = 0; i < 3; i++) {
        const struct es_input in[] = {N(rows[i][0], 0.005), N(0, 0.005)};
        struct es_monte_carlo_result r = run(in, 2, loss, 0.95, 5 + i);
        cr_expect_float_eq(r.estimate, rows[i][1], 0.003 * rows[i][2], "%g", r.estimate);
        cr_expect_float_eq(r.u, rows[i][2], 0.003 * rows[i][2], "%g", r.u);
        /* where the density is flat the place of the shortest interval wanders, its width does not */
        cr_expect_float_eq(r.shortest_end - r.shortest, rows[i][4] - rows[i][3], 0.01 * rows[i][2], "%g %g",
                           r.shortest, r.shortest_end);
        cr_expect_float_eq(r.shortest, rows[i][3], 0.03 * rows[i][2], "%g", r.shortest);
        struct es_measured linear = by_jcgm_100(rows[i][1], (double[]){2e6 * rows[i][0] * 0.005}, 1);
        cr_expect_float_eq(linear.u, rows[i][5], 1e-9, "first order");
    }
}

/* 9.5 end gauge (JCGM 100 H.1 with distributions): 838 nm, 36 nm, 99 % [745, 932] (recomputed 35.81,
 * [744.2, 931.8]). JCGM 100: 32 nm, [745, 931] (test_gum.c). The last two inputs are rectangles whose limits
 * are inexact (6.4.3), by 0.1e-6 and 0.025: their half-widths are inputs of their own. */
static double gauge(const void *context, const double *x)
{
    (void)context; /* l_s, d as mean, random, systematic; alpha_s, theta_0, cyclic, d_alpha, d_theta */
    double theta = x[5] + x[6], d = x[1] + x[2] + x[3], d_alpha = x[7] * x[9], d_theta = x[8] * x[10];
    return x[0] + d - (x[0] * (d_alpha * theta + x[4] * d_theta)) - 50000000;
}

Test(jcgm_101, end_gauge)
{
    const struct es_input in[] = {{ES_DISTRIBUTION_STUDENT, 50000623, 25, 18},
                                  {ES_DISTRIBUTION_STUDENT, 215, 6, 24},
                                  {ES_DISTRIBUTION_STUDENT, 0, 4, 5},
                                  {ES_DISTRIBUTION_STUDENT, 0, 7, 8},
                                  R(11.5e-6, 2e-6),
                                  N(-0.1, 0.2),
                                  {ES_DISTRIBUTION_ARCSINE, 0, 0.5, 0},
                                  R(1e-6, 0.1e-6),
                                  R(0.05, 0.025),
                                  R(0, 1),
                                  R(0, 1)};
    struct es_monte_carlo job = {.inputs = in,
                                 .input_count = 11,
                                 .model = gauge,
                                 .seed = 9,
                                 .coverage = 0.99,
                                 .digits = 4,
                                 .most = TRIALS};
    struct es_monte_carlo_result r;
    cr_assert_eq(es_monte_carlo_run(&job, &r, NULL), ES_OK);
    cr_expect_float_eq(r.estimate, 838, 0.5);
    cr_expect_float_eq(r.u, 36, 0.5, "%g", r.u);
    cr_expect_float_eq(r.u, 35.8, 0.1, "%g", r.u);
    cr_expect_float_eq(r.low, 744.2, 1, "%g", r.low);
    cr_expect_float_eq(r.high, 931.8, 1, "%g", r.high);
}

/* A budget of rectangles, with one that is stated as such, through the validation of JCGM 101. */
static struct es_measured with_rectangle(double value, double half_width, const double *others, size_t n)
{
    struct es_budget b = {0};
    struct es_measured m;
    struct es_error err = {0};
    const struct es_draws draws = {11, 0};
    es_budget_add_rectangle(&b, ES_TERM_REPEAT, half_width);
    for (size_t i = 0; i < n; i++)
        es_budget_add(&b, ES_TERM_COMMON, others[i], INFINITY);
    es_measured_start(&m, "y", ES_DIM_NUMBER);
    es_measured_set(&m, value, &b);
    cr_assert_eq(es_measured_propagate(&m, &draws, &err), ES_OK, "%s", err.text);
    return m;
}

/* EA-4/02 S9 (from memory), a hand-held multimeter at 100 V: its resolution, rectangular +-0.05 V, outweighs
 * the calibrator's certificate (0.001 V) and drift (rectangular +-0.011 V). Printed: u 0.030 V, k 1.65, U
 * 0.05 V. That k is a rectangle's alone; with the others as a normal distribution it is 1.695 (closed form of
 * test_propagate.c, solved with scipy). */
Test(ea_4_02, s9_one_rectangle_dominates)
{
    struct es_measured m = with_rectangle(0.1, 0.05, (double[]){0.001, es_rectangular(0.011)}, 2);
    cr_expect_float_eq(m.u, 0.030, 0.0005, "%g", m.u);
    cr_expect_float_eq(m.k, 1.695, 0.01, "%g", m.k);
    cr_expect_float_eq(m.U, 0.05, 0.005, "%g", m.U);
    cr_expect_float_eq(m.U, 1.65 * 0.030, 0.001, "%g", m.U);
}

/* EA-4/02 S10 (from memory), a vernier caliper at 150 mm, micrometres: resolution +-25 and mechanics +-50,
 * both rectangular, gauge block 0.46, temperature 2.0. Printed: u 33, a trapezoid's k 1.83, U 60. That u is
 * of rounded contributions 15, 29 and 2.0; unrounded it is 32.3. */
Test(ea_4_02, s10_two_rectangles_dominate)
{
    const double others[] = {es_rectangular(25), 0.46, 2.0};
    struct es_measured m = with_rectangle(100, 50, others, 3);
    cr_expect_float_eq(by_jcgm_100(100, (double[]){15, 29, 0.46, 2.0}, 4).u, 33, 0.5);
    cr_expect_float_eq(m.u, 32.3, 0.2, "%g", m.u);
    cr_expect_float_eq(m.U, 60, 5, "%g", m.U);
    const struct es_input in[] = {R(0, 25), R(0, 50), N(0, 0.46), N(0, 2.0)};
    struct es_monte_carlo_result r = run(in, 4, sum_of_four, 0.95, 12);
    double beta = 25. / 75, k = (1 - sqrt(0.05 * (1 - beta * beta))) / sqrt((1 + beta * beta) / 6);
    cr_expect_float_eq(k, 1.83, 0.005, "%g", k);
    cr_expect_float_eq(r.high / r.u, 1.83, 0.01, "%g", r.high / r.u);
    cr_expect_float_eq(r.u, 32.3, 0.1, "%g", r.u);
    cr_expect_float_eq(r.high, 60, 5, "%g", r.high);
}

/* The seed decides, and nothing else; too few trials allowed is told. */
Test(monte_carlo, seeded_and_honest)
{
    const struct es_input in[] = {N(0, 1), N(0, 1), N(0, 1), N(0, 1)};
    struct es_monte_carlo first = {.inputs = in,
                                   .input_count = 4,
                                   .model = sum_of_four,
                                   .seed = 7,
                                   .coverage = 0.95,
                                   .digits = 1},
                          other = first;
    struct es_monte_carlo_result a, b, c;
    other.seed = 8;
    cr_assert_eq(es_monte_carlo_run(&first, &a, NULL), ES_OK);
    cr_assert_eq(es_monte_carlo_run(&first, &b, NULL), ES_OK);
    cr_assert_eq(es_monte_carlo_run(&other, &c, NULL), ES_OK);
    cr_expect(a.stable && a.trials >= 30000 && a.trials < 1000000);
    cr_expect_eq(a.trials, b.trials);
    cr_expect(a.u == b.u && a.low == b.low && a.high == b.high);
    cr_expect(a.u != c.u);
    struct es_monte_carlo job = {.inputs = in,
                                 .input_count = 4,
                                 .model = sum_of_four,
                                 .seed = 7,
                                 .coverage = 0.95,
                                 .digits = 2,
                                 .most = 20000};
    cr_assert_eq(es_monte_carlo_run(&job, &a, NULL), ES_OK);
    cr_expect(!a.stable);
    cr_expect_eq(a.trials, 20000);
}

static double nothing(const void *context, const double *x)
{
    (void)context;
    return sqrt(x[0]);
}

Test(monte_carlo, refuses_nonsense)
{
    const struct es_input bad[] = {N(0, -1)}, in[] = {N(0, 1)};
    struct es_monte_carlo job = {
        .inputs = bad, .input_count = 1, .model = nothing, .seed = 1, .coverage = 0.95, .digits = 2};
    struct es_monte_carlo_result r;
    struct es_error err = {0};
    cr_expect_eq(es_monte_carlo_run(&job, &r, &err), ES_BAD_INPUT);
    job.inputs = in;
    cr_expect_eq(es_monte_carlo_run(&job, &r, &err), ES_RANGE, "the root of less than 0");
    job.coverage = 1;
    cr_expect_eq(es_monte_carlo_run(&job, &r, &err), ES_BAD_INPUT);
}
