/* JCGM 100:2008 (GUM): worked examples H.1, H.2 and H.3, G.4.1, table G.2. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/budget.h"
#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/numeric/student.h"
#include "procedures/measures/numeric/summary.h"

/* H.1, end gauge: contributions 25, 9.7, 2.9, 16.6 nm; u_c 32 nm, nu_eff 16.7, k99 2.92, U99 93 nm. */
Test(gum, h1_end_gauge)
{
    double ls = 50000623; /* nm */
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_COMMON, 25, 18);
    es_budget_add(&b, ES_TERM_COMMON, 9.7, 25.6);
    es_budget_add(&b, ES_TERM_COMMON, 2.9, 50); /* -l_s theta u(d_alpha), as printed */
    es_budget_add(&b, ES_TERM_COMMON, ls * 11.5e-6 * 0.029,
                  2); /* -l_s alpha_s u(d_theta), 0.029 as printed */
    struct es_measured m;
    es_measured_start(&m, "l", ES_DIM_LENGTH);
    es_measured_set(&m, ls + 215, &b);
    cr_assert_float_eq(m.value, 50000838, 0.5);
    cr_assert_float_eq(ls * 0.1 * 0.58e-6, 2.9, 0.05);
    cr_assert_float_eq(ls * 11.5e-6 * es_rectangular(0.05), 16.6, 0.05);
    cr_assert_float_eq(m.u, 32, 0.5);
    cr_assert_float_eq(m.u, 31.71, 0.06);
    cr_assert_float_eq(m.dof, 16.7, 0.06, "nu %.3f", m.dof);
    double k99 = es_t_quantile(0.995, floor(m.dof));
    cr_assert_float_eq(k99, 2.92, 0.005);
    cr_assert_float_eq(k99 * 32, 93, 0.5);
}

/* H.1.7: terms of second order, 11.7 and 1.7 nm as printed (the first is 11.9 from the unrounded inputs),
 * raise u_c from 32 to 34 nm. */
Test(gum, h1_7_second_order)
{
    double ls = 50000623, alpha_theta = ls * 0.58e-6 * 0.41, alpha_d_theta = ls * 1.2e-6 * 0.029;
    cr_expect_float_eq(alpha_theta, 11.7, 0.25, "%g", alpha_theta);
    cr_expect_float_eq(alpha_d_theta, 1.7, 0.05, "%g", alpha_d_theta);
    struct es_budget b = {0};
    const double u[] = {25, 9.7, 2.9, 16.6, alpha_theta, alpha_d_theta};
    for (int i = 0; i < 6; i++)
        es_budget_add(&b, ES_TERM_COMMON, u[i], INFINITY);
    struct es_measured m;
    es_measured_start(&m, "l", ES_DIM_LENGTH);
    es_measured_set(&m, ls + 215, &b);
    cr_expect_float_eq(m.u, 34, 0.5, "%g", m.u);
}

/* H.2, resistance, reactance and impedance from five simultaneous sets (second-hand): V, A, rad. */
static const double h2[3][5] = {{5.007, 4.994, 5.005, 4.990, 4.999},
                                {19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3},
                                {1.0456, 1.0438, 1.0468, 1.0428, 1.0433}};

static double correlation(const double *a, const double *b)
{
    double ma = es_mean(a, 5), mb = es_mean(b, 5), sum = 0;
    for (int i = 0; i < 5; i++)
        sum += (a[i] - ma) * (b[i] - mb);
    return sum / (4 * es_standard_deviation(a, 5) * es_standard_deviation(b, 5));
}

static void impedance(const double *x, double *out)
{
    out[0] = x[0] / x[1] * cos(x[2]);
    out[1] = x[0] / x[1] * sin(x[2]);
    out[2] = x[0] / x[1];
}

/* Table H.2: means 4.9990, 19.6610, 1.04446; s of the means 0.0032, 0.0095, 0.00075; correlations -0.36,
 * 0.86, -0.65. Table H.3: R 127.732, 0.071; X 219.847, 0.295; Z 254.260, 0.236; correlations -0.588, -0.485,
 * 0.993.
 * From unrounded inputs u(X) is 0.2956, which would print as 0.296: a unit of the last digit is left for it.
 */
Test(gum, h2_resistance_and_reactance)
{
    double mean[3], u[3], r[3][3], at[3], slope[3][3], cov[3][3] = {{0}};
    for (int i = 0; i < 3; i++) {
        mean[i] = es_mean(h2[i], 5);
        u[i] = es_standard_deviation(h2[i], 5) / sqrt(5);
        for (int k = 0; k < 3; k++)
            r[i][k] = correlation(h2[i], h2[k]);
    }
    cr_expect_float_eq(mean[0], 4.9990, 0.00005);
    cr_expect_float_eq(mean[1], 19.6610e-3, 0.00005e-3);
    cr_expect_float_eq(mean[2], 1.04446, 0.000005);
    cr_expect_float_eq(u[0], 0.0032, 0.00005);
    cr_expect_float_eq(u[1], 0.0095e-3, 0.00005e-3);
    cr_expect_float_eq(u[2], 0.00075, 0.000005);
    cr_expect_float_eq(r[0][1], -0.36, 0.005);
    cr_expect_float_eq(r[0][2], 0.86, 0.005);
    cr_expect_float_eq(r[1][2], -0.65, 0.005);
    impedance(mean, at);
    for (int k = 0; k < 3; k++) { /* sensitivities as in 5.1.3, note 2 */
        double x[3] = {mean[0], mean[1], mean[2]}, up[3], down[3];
        x[k] = mean[k] + u[k] / 10;
        impedance(x, up);
        x[k] = mean[k] - u[k] / 10;
        impedance(x, down);
        for (int o = 0; o < 3; o++)
            slope[o][k] = (up[o] - down[o]) / (u[k] / 5);
    }
    for (int o = 0; o < 3; o++) /* 5.2.2, and H.2's covariance of two results */
        for (int q = 0; q < 3; q++)
            for (int i = 0; i < 3; i++)
                for (int k = 0; k < 3; k++)
                    cov[o][q] += slope[o][i] * u[i] * r[i][k] * slope[q][k] * u[k];
    static const double printed[3][2] = {{127.732, 0.071}, {219.847, 0.295}, {254.260, 0.236}};
    for (int o = 0; o < 3; o++) {
        cr_expect_float_eq(at[o], printed[o][0], 0.0005, "%.6f", at[o]);
        cr_expect_float_eq(sqrt(cov[o][o]), printed[o][1], o == 1 ? 0.001 : 0.0005, "%.6f", sqrt(cov[o][o]));
    }
    cr_expect_float_eq(cov[0][1] / sqrt(cov[0][0] * cov[1][1]), -0.588, 0.0005);
    cr_expect_float_eq(cov[0][2] / sqrt(cov[0][0] * cov[2][2]), -0.485, 0.0005);
    cr_expect_float_eq(cov[1][2] / sqrt(cov[1][1] * cov[2][2]), 0.993, 0.0005);
}

/* H.2.4, approach 2: R, X and Z of each set, and their means: 127.732 0.071, 219.847 0.295, 254.260 0.236. */
Test(gum, h2_set_by_set)
{
    static const double recomputed[3][2] = {{127.7316, 0.07127}, {219.8469, 0.29549}, {254.2600, 0.23625}};
    double out[3][5];
    for (int i = 0; i < 5; i++) {
        double x[3] = {h2[0][i], h2[1][i], h2[2][i]}, y[3];
        impedance(x, y);
        for (int o = 0; o < 3; o++)
            out[o][i] = y[o];
    }
    for (int o = 0; o < 3; o++) {
        cr_expect_float_eq(es_mean(out[o], 5), recomputed[o][0], 0.00005);
        cr_expect_float_eq(es_standard_deviation(out[o], 5) / sqrt(5), recomputed[o][1], 0.000005);
    }
}

/* H.3, calibration of a thermometer by a straight line. */
Test(gum, h3_line)
{
    double t[11] = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511};
    double b[11] = {-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160};
    struct es_fit f;
    cr_assert(es_polynomial_fit(t, b, 11, 1, 20, 1, &f));
    double s1 = f.s * sqrt(f.cov[0][0]), s2 = f.s * sqrt(f.cov[1][1]);
    cr_assert_float_eq(f.b[0], -0.1712, 0.00005);
    cr_assert_float_eq(s1, 0.0029, 0.00005);
    cr_assert_float_eq(f.b[1], 0.00218, 0.000005);
    cr_assert_float_eq(s2, 0.00067, 0.000005);
    cr_assert_float_eq(f.cov[0][1] / sqrt(f.cov[0][0] * f.cov[1][1]), -0.930, 0.0005);
    cr_assert_float_eq(f.s, 0.0035, 0.00005);
    cr_assert_float_eq(es_polynomial_at(&f, 20, 1, 30), -0.1494, 0.00005);
    cr_assert_float_eq(es_polynomial_u(&f, 20, 1, 30, f.s), 0.0041, 0.00005);
}

/* G.4.1 (figures from memory, recomputed): 0.25, 0.57, 0.82 % with 9, 4, 14 degrees of freedom. */
Test(gum, g41_welch_satterthwaite)
{
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_REPEAT, 0.25, 9);
    es_budget_add(&b, ES_TERM_REPEAT, 0.57, 4);
    es_budget_add(&b, ES_TERM_REPEAT, 0.82, 14);
    struct es_measured m;
    es_measured_start(&m, "y", ES_DIM_RATIO);
    es_measured_set(&m, 1, &b);
    cr_assert_float_eq(m.u, 1.03, 0.005);
    cr_assert_float_eq(m.dof, 19.0, 0.05);
    cr_assert_float_eq(m.k, 2.09, 0.005);
    cr_assert_float_eq(m.U, 2.2, 0.05);
}

/* Split over the two kinds of terms the result is the same; four equal terms of 10 give 40 (second-hand). */
Test(gum, terms_combine_alike)
{
    struct es_budget one = {0}, two = {0};
    for (int i = 0; i < 4; i++) {
        es_budget_add(&one, ES_TERM_REPEAT, 0.5, 10);
        es_budget_add(&two, i % 2 ? ES_TERM_REPEAT : ES_TERM_COMMON, 0.5, 10);
    }
    struct es_measured a, b;
    es_measured_start(&a, "a", ES_DIM_NUMBER);
    es_measured_start(&b, "b", ES_DIM_NUMBER);
    es_measured_set(&a, 0, &one);
    es_measured_set(&b, 0, &two);
    cr_assert_float_eq(a.dof, 40, 1e-9);
    cr_assert_float_eq(b.dof, 40, 1e-9);
    cr_assert_float_eq(a.U, b.U, 1e-12);
}

/* Table G.2 as recomputed to five figures in the reference values. */
Test(gum, table_of_k)
{
    static const double nu[] = {1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 15, 16, 20, 30, 50, INFINITY};
    static const double k[3][16] = {{12.7062, 4.3027, 3.1824, 2.7764, 2.5706, 2.4469, 2.3646, 2.3060, 2.2622,
                                     2.2281, 2.1314, 2.1199, 2.0860, 2.0423, 2.0086, 1.9600},
                                    {13.9678, 4.5266, 3.3068, 2.8693, 2.6487, 2.5165, 2.4288, 2.3664, 2.3198,
                                     2.2837, 2.1812, 2.1689, 2.1330, 2.0868, 2.0513, 2.0000},
                                    {63.6567, 9.9248, 5.8409, 4.6041, 4.0321, 3.7074, 3.4995, 3.3554, 3.2498,
                                     3.1693, 2.9467, 2.9208, 2.8453, 2.7500, 2.6778, 2.5758}};
    static const double p[] = {0.975, 0.97725, 0.995};
    for (int r = 0; r < 3; r++)
        for (int i = 0; i < 16; i++) {
            double found = es_t_quantile(p[r], nu[i]);
            cr_assert_float_eq(found, k[r][i], 6e-5, "p %g nu %g: %.6f", p[r], nu[i], found);
        }
}

/* Closed forms: nu = 1 (Cauchy) and nu = 2. */
Test(gum, closed_forms)
{
    for (double p = 0.501; p < 0.9999; p += 0.01) {
        cr_assert_float_eq(es_t_quantile(p, 1) / tan(acos(-1) * (p - 0.5)), 1, 1e-12);
        double a = 2 * p - 1;
        cr_assert_float_eq(es_t_quantile(p, 2) / (a * sqrt(2 / (1 - a * a))), 1, 1e-12);
        cr_assert_float_eq(es_t_quantile(1 - p, 7.5), -es_t_quantile(p, 7.5), 1e-12);
    }
    cr_assert(isnan(es_t_quantile(0, 5)));
    cr_assert(isnan(es_t_quantile(1, 5)));
    cr_assert(isnan(es_t_quantile(0.5, 0)));
}
