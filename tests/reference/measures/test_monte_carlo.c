/* JCGM 101:2008, worked examples of clause 9. Published figures from memory (9.2.2 and 9.2.3 second-hand),
 * each computed again in closed form or with 6 to 8 million trials; those are what is tested. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/numeric/monte_carlo.h"

#define N(a_, b_)                                                                                            \
    {                                                                                                        \
        ES_DISTRIBUTION_NORMAL, (a_), (b_), 0                                                                \
    }
#define R(a_, b_)                                                                                            \
    {                                                                                                        \
        ES_DISTRIBUTION_RECTANGULAR, (a_), (b_), 0                                                           \
    }

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
                                 .digits = 3,
                                 .most = 600000};
    struct es_monte_carlo_result r;
    struct es_error err = {0};
    cr_assert_eq(es_monte_carlo_run(&job, &r, &err), ES_OK, "%s", err.text);
    return r;
}

/* 9.2.2: u 2.00, 95 % +-3.92. */
Test(jcgm_101, sum_of_normals)
{
    const struct es_input in[] = {N(0, 1), N(0, 1), N(0, 1), N(0, 1)};
    struct es_monte_carlo_result r = run(in, 4, sum_of_four, 0.95, 1);
    cr_expect_float_eq(r.u, 2.00, 0.005);
    cr_expect_float_eq(r.high, 3.919928, 0.03);
    cr_expect_float_eq(r.low, -3.919928, 0.03);
    cr_expect(r.trials >= 30000);
}

/* 9.2.3: rectangular inputs of standard deviation 1: the ends are 2 sqrt(3) (2 - (3/5)^(1/4)) = 3.8794. */
Test(jcgm_101, sum_of_rectangles)
{
    double half = sqrt(3);
    const struct es_input in[] = {R(0, half), R(0, half), R(0, half), R(0, half)};
    struct es_monte_carlo_result r = run(in, 4, sum_of_four, 0.95, 2);
    cr_expect_float_eq(r.u, 2.00, 0.005);
    cr_expect_float_eq(r.high, 2 * sqrt(3) * (2 - pow(0.6, 0.25)), 0.02);
    cr_expect_float_eq(r.high, 3.88, 0.02);
    cr_expect_lt(r.high, 3.91, "the linear method's 3.92 is not it");
}

/* 9.2.4: one input dominates: u 10.1 (10.148892), 95 % +-17.0 (17.0158); the linear method has +-19.9. */
Test(jcgm_101, one_rectangle_dominates)
{
    double half = sqrt(3);
    const struct es_input in[] = {R(0, half), R(0, half), R(0, half), R(0, 10 * half)};
    struct es_monte_carlo_result r = run(in, 4, sum_of_four, 0.95, 3);
    cr_expect_float_eq(r.u, 10.148892, 0.05);
    cr_expect_float_eq(r.high, 17.0158, 0.1);
    cr_expect_float_eq(r.low, -17.0158, 0.1);
}

/* 9.3 mass calibration: 1.2341 mg, u 0.0754, [1.0834, 1.3825] (recomputed 0.0755, [1.0847, 1.3836]). */
static double mass(const void *context, const double *x)
{
    (void)context; /* m_Rc mg, dm mg, densities of air, weight, reference */
    return (x[0] + x[1]) * (1 + (x[2] - 1.2) * (1 / x[3] - 1 / x[4])) - 1e5;
}

Test(jcgm_101, mass_calibration)
{
    const struct es_input in[] = {N(100000, 0.050), N(1.234, 0.020), R(1.2, 0.1), R(8000, 1000), R(8000, 50)};
    struct es_monte_carlo_result r = run(in, 5, mass, 0.95, 4);
    cr_expect_float_eq(r.estimate, 1.2341, 0.0008);
    cr_expect_float_eq(r.u, 0.0755, 0.0006);
    cr_expect_float_eq(r.low, 1.0847, 0.003);
    cr_expect_float_eq(r.high, 1.3836, 0.003);
}

/* 9.4 comparison loss: Y = X1^2 + X2^2, u 0.005. In units of 1e-6 exactly: 50, 50, [0, 149.8] at 0; 150,
 * 111.803, [0, 366.0] at 0.010; 2550, 502.494, [1593.6, 3548.6] at 0.050 (shortest intervals). The linear
 * method gives u 0 at 0. */
static double loss(const void *context, const double *x)
{
    (void)context;
    return 1e6 * (x[0] * x[0] + x[1] * x[1]);
}

Test(jcgm_101, comparison_loss)
{
    static const double rows[][5] = {
        {0, 50, 50, 0, 149.8}, {0.010, 150, 111.803, 0, 366.0}, {0.050, 2550, 502.494, 1593.6, 3548.6}};
    for (size_t i = 0; i < 3; i++) {
        const struct es_input in[] = {N(rows[i][0], 0.005), N(0, 0.005)};
        struct es_monte_carlo_result r = run(in, 2, loss, 0.95, 5 + i);
        cr_expect_float_eq(r.estimate, rows[i][1], 0.01 * rows[i][2], "%g", r.estimate);
        cr_expect_float_eq(r.u, rows[i][2], 0.012 * rows[i][2], "%g", r.u);
        cr_expect_float_eq(r.shortest, rows[i][3], 0.06 * rows[i][2], "%g", r.shortest);
        cr_expect_float_eq(r.shortest_end, rows[i][4], 0.06 * rows[i][2], "%g", r.shortest_end);
    }
}

/* 9.5 end gauge (JCGM 100 H.1 with distributions): 838 nm, 36 nm, 99 % [745, 932] (recomputed 35.81,
 * [744.2, 931.8]). */
static double gauge(const void *context, const double *x)
{
    (void)context; /* l_s, d as mean, random, systematic; alpha_s, theta_0, cyclic, d_alpha, d_theta */
    double theta = x[5] + x[6], d = x[1] + x[2] + x[3];
    return x[0] + d - (x[0] * (x[7] * theta + x[4] * x[8])) - 50000000;
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
                                  R(0, 1e-6),
                                  R(0, 0.05)};
    struct es_monte_carlo job = {.inputs = in,
                                 .input_count = 9,
                                 .model = gauge,
                                 .seed = 9,
                                 .coverage = 0.99,
                                 .digits = 1,
                                 .most = 200000};
    struct es_monte_carlo_result r;
    cr_assert_eq(es_monte_carlo_run(&job, &r, NULL), ES_OK);
    cr_expect_float_eq(r.estimate, 838, 1);
    cr_expect_float_eq(r.u, 35.8, 1.0, "%g", r.u);
    cr_expect_float_eq(r.low, 744.2, 4, "%g", r.low);
    cr_expect_float_eq(r.high, 931.8, 4, "%g", r.high);
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
