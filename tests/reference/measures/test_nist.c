/* NIST Statistical Reference Datasets (public domain): certified values of univariate and linear sets.
 * Norris, NoInt1, NoInt2 and NumAcc are typed in; the longer ones are read from beside the checkout. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/numeric/summary.h"
#include "tests/reference/measures/outside_data.h"

/* Correct digits: -log10 of the relative error (NIST's "LRE"). */
static double digits(double found, double certified)
{
    if (found == certified)
        return 16;
    return -log10(certified != 0 ? fabs(found / certified - 1) : fabs(found));
}

static void expect_univariate(const double *y, size_t n, double mean, double s, double r, double least)
{
    cr_assert_geq(digits(es_mean(y, n), mean), 14, "mean %.16g", es_mean(y, n));
    cr_assert_geq(digits(es_standard_deviation(y, n), s), least, "s %.16g", es_standard_deviation(y, n));
    cr_assert_geq(digits(es_lag1_autocorrelation(y, n), r), least, "r %.16g", es_lag1_autocorrelation(y, n));
}

Test(nist, numacc1)
{
    expect_univariate((double[]){10000001, 10000003, 10000002}, 3, 10000002, 1, -0.5, 15);
}

static void expect_numacc(double first, double low, double high, double mean, double least)
{
    double y[1001] = {first};
    for (int i = 1; i < 1001; i++)
        y[i] = i % 2 ? low : high;
    expect_univariate(y, 1001, mean, 0.1, -0.999, least);
}

/* Sets 3 and 4 cannot be held in doubles: 10000000.1 is off by 4e-10, a relative 4e-9 of the deviation 0.1.
 * Nine digits are not in the input; what is demanded is what a double can carry. */
Test(nist, numacc2)
{
    expect_numacc(1.2, 1.1, 1.3, 1.2, 13);
}

Test(nist, numacc3)
{
    expect_numacc(1000000.2, 1000000.1, 1000000.3, 1000000.2, 9);
}

Test(nist, numacc4)
{
    expect_numacc(10000000.2, 10000000.1, 10000000.3, 10000000.2, 8);
}

/* First column of the numbers in a .DAT file after its rule of dashes. */
static size_t read_dat(const char *name, double *y, size_t room)
{
    size_t length, n = 0;
    char *text = outside_data(name, &length);
    if (!text)
        return 0;
    char *rule = strstr(text, "-----------"), *line = rule ? strchr(rule, '\n') : strstr(text, "Y\r\n");
    if (!rule)
        rule = strstr(text, "----------"), line = rule ? strchr(rule, '\n') : NULL;
    while (line && n < room) {
        char *end;
        double v = strtod(line + 1, &end);
        if (end != line + 1)
            y[n++] = v;
        line = strchr(line + 1, '\n');
    }
    free(text);
    return n;
}

#define NEED(n_, expected_)                                                                                  \
    if ((n_) == 0)                                                                                           \
        cr_skip_test("data beside the checkout are not there");                                              \
    cr_assert_eq((n_), (expected_), "%zu values", (size_t)(n_))

Test(nist, michelso)
{
    double y[200];
    size_t n = read_dat("nist/MICHELSO.DAT", y, 200);
    NEED(n, 100);
    expect_univariate(y, n, 299.852400000000, 0.0790105478190518, 0.535199668621283, 13);
}

Test(nist, mavro)
{
    double y[200];
    size_t n = read_dat("nist/MAVRO.DAT", y, 200);
    NEED(n, 50);
    expect_univariate(y, n, 2.00185600000000, 0.000429123454003053, 0.937989183438248, 12);
}

Test(nist, lew)
{
    double y[300];
    size_t n = read_dat("nist/LEW.DAT", y, 300);
    NEED(n, 200);
    expect_univariate(y, n, -177.435000000000, 277.332168044316, -0.307304800605679, 14);
}

/* Typed from memory; that it is the set is shown by its certified values, all three to 14 digits. */
Test(nist, lottery)
{
    static const double y[] = {
        162, 671, 933, 414, 788, 730, 817, 33,  536, 875, 670, 236, 473, 167, 877, 980, 316, 950, 456, 92,
        517, 557, 956, 954, 104, 178, 794, 278, 147, 773, 437, 435, 502, 610, 582, 780, 689, 562, 964, 791,
        28,  97,  848, 281, 858, 538, 660, 972, 671, 613, 867, 448, 738, 966, 139, 636, 847, 659, 754, 243,
        122, 455, 195, 968, 793, 59,  730, 361, 574, 522, 97,  762, 431, 158, 429, 414, 22,  629, 788, 999,
        187, 215, 810, 782, 47,  34,  108, 986, 25,  644, 829, 630, 315, 567, 919, 331, 207, 412, 242, 607,
        668, 944, 749, 168, 864, 442, 533, 805, 372, 63,  458, 777, 416, 340, 436, 140, 919, 350, 510, 572,
        905, 900, 85,  389, 473, 758, 444, 169, 625, 692, 140, 897, 672, 288, 312, 860, 724, 226, 884, 508,
        976, 741, 476, 417, 831, 15,  318, 432, 241, 114, 799, 955, 833, 358, 935, 146, 630, 830, 440, 642,
        356, 373, 271, 715, 367, 393, 190, 669, 8,   861, 108, 795, 269, 590, 326, 866, 64,  523, 862, 840,
        219, 382, 998, 4,   628, 305, 747, 247, 34,  747, 729, 645, 856, 974, 24,  568, 24,  694, 608, 480,
        410, 729, 947, 293, 53,  930, 223, 203, 677, 227, 62,  455, 387, 318, 562, 242, 428, 968};
    cr_assert_eq(sizeof y / sizeof y[0], 218);
    expect_univariate(y, 218, 518.958715596330, 291.699727470969, -0.120948622967393, 14);
}

static const double norris[36][2] = {
    {0.1, 0.2},     {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1},    {228.1, 226.5},
    {668.5, 666.3}, {998.5, 996.3}, {449.1, 448.6}, {778.9, 777.0}, {559.2, 558.2}, {0.3, 0.4},
    {0.1, 0.6},     {778.1, 775.5}, {668.8, 666.9}, {339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6},
    {557.7, 556.0}, {228.3, 228.1}, {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {0.3, 0.3},
    {0.6, 0.3},     {557.6, 556.8}, {339.3, 339.1}, {888.0, 887.2}, {998.5, 999.0}, {778.9, 779.0},
    {10.2, 11.1},   {117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {0.2, 0.5}};

Test(nist, norris)
{
    double x[36], y[36];
    for (int i = 0; i < 36; i++) {
        y[i] = norris[i][0];
        x[i] = norris[i][1];
    }
    struct es_fit f;
    cr_assert(es_polynomial_fit(x, y, 36, 1, 0, 1, &f));
    cr_assert_geq(digits(f.b[0], -0.262323073774029), 12, "%.16g", f.b[0]);
    cr_assert_geq(digits(f.b[1], 1.00211681802045), 14);
    cr_assert_geq(digits(f.s * sqrt(f.cov[0][0]), 0.232818234301152), 12);
    cr_assert_geq(digits(f.s * sqrt(f.cov[1][1]), 0.429796848199937e-3), 12);
    cr_assert_geq(digits(f.rss, 26.6173985294224), 12, "%.16g", f.rss);
    cr_assert_geq(digits(f.s, 0.884796396144373), 12);
}

/* The set taken k times over has the certified coefficients, k times the residual sum of squares, and is long
 * enough to go by columns. */
Test(nist, norris_many_times_over)
{
    enum { K = 50, N = 36 * K };
    double x[N], y[N];
    for (int i = 0; i < N; i++) {
        y[i] = norris[i % 36][0];
        x[i] = norris[i % 36][1];
    }
    struct es_fit f;
    cr_assert(es_polynomial_fit(x, y, N, 1, 0, 1, &f));
    cr_assert_geq(digits(f.b[0], -0.262323073774029), 12, "%.16g", f.b[0]);
    cr_assert_geq(digits(f.b[1], 1.00211681802045), 14, "%.16g", f.b[1]);
    cr_assert_geq(digits(f.rss, K * 26.6173985294224), 12, "%.16g", f.rss);
    double s = 0.884796396144373;
    cr_assert_geq(digits(s * sqrt(K * f.cov[0][0]), 0.232818234301152), 12);
    cr_assert_geq(digits(s * sqrt(K * f.cov[1][1]), 0.429796848199937e-3), 12);
}

Test(nist, lines_through_the_origin)
{
    struct es_least_squares ls;
    struct es_fit f;
    es_ls_start(&ls, 1);
    for (int x = 60; x <= 70; x++)
        es_ls_add(&ls, (double[]){x}, x + 70);
    cr_assert(es_ls_solve(&ls, &f));
    cr_assert_geq(digits(f.b[0], 2.07438016528926), 14);
    cr_assert_geq(digits(f.s * sqrt(f.cov[0][0]), 0.0165289256198347), 13);
    es_ls_start(&ls, 1);
    for (int i = 0; i < 3; i++)
        es_ls_add(&ls, (double[]){4 + i}, (double[]){3, 4, 4}[i]);
    cr_assert(es_ls_solve(&ls, &f));
    cr_assert_geq(digits(f.b[0], 0.727272727272727), 14);
    cr_assert_geq(digits(f.s * sqrt(f.cov[0][0]), 0.0420827318078432), 13);
}

/* Rows "y,x1,..." of a csv file. */
static size_t read_csv(const char *name, double (*rows)[8], size_t columns, size_t room)
{
    size_t length, n = 0;
    char *text = outside_data(name, &length);
    if (!text)
        return 0;
    for (char *line = strchr(text, '\n'); line && n < room; line = strchr(line, '\n')) {
        char *at = ++line;
        size_t k = 0;
        for (; k < columns; k++) {
            char *end;
            rows[n][k] = strtod(at, &end);
            if (end == at)
                break;
            at = end + (*end == ',');
        }
        n += k == columns;
    }
    free(text);
    return n;
}

Test(nist, pontius)
{
    double rows[64][8], x[64], y[64];
    size_t n = read_csv("nist/pontius.csv", rows, 2, 64);
    NEED(n, 40);
    for (size_t i = 0; i < n; i++) {
        y[i] = rows[i][0];
        x[i] = rows[i][1];
    }
    struct es_fit f;
    double scale = 3e6;
    cr_assert(es_polynomial_fit(x, y, n, 2, 0, scale, &f));
    cr_assert_geq(digits(f.b[0], 0.673565789473684e-3), 11, "%.16g", f.b[0]);
    cr_assert_geq(digits(f.b[1] / scale, 0.732059160401003e-6), 12);
    cr_assert_geq(digits(f.b[2] / scale / scale, -0.316081871345029e-14), 11);
    cr_assert_geq(digits(f.s * sqrt(f.cov[0][0]), 0.107938612033077e-3), 11);
    cr_assert_geq(digits(f.s * sqrt(f.cov[1][1]) / scale, 0.157817399981659e-9), 11);
    cr_assert_geq(digits(f.rss, 0.155761768796992e-5), 11, "%.16g", f.rss);
    double many_x[640], many_y[640];
    for (size_t i = 0; i < 640; i++) {
        many_x[i] = x[i % n];
        many_y[i] = y[i % n];
    }
    cr_assert(es_polynomial_fit(many_x, many_y, 640, 2, 0, scale, &f));
    cr_assert_geq(digits(f.b[0], 0.673565789473684e-3), 10, "%.16g", f.b[0]);
    cr_assert_geq(digits(f.b[1] / scale, 0.732059160401003e-6), 12, "%.16g", f.b[1] / scale);
    cr_assert_geq(digits(f.b[2] / scale / scale, -0.316081871345029e-14), 11);
    cr_assert_geq(digits(f.rss, 16 * 0.155761768796992e-5), 11, "%.16g", f.rss);
}

/* Wampler1: y = 1 + x + ... + x^5 exactly; Wampler2: powers of 0.1. Certified: exact coefficients. */
static void expect_wampler(const char *name, double factor)
{
    double rows[32][8], x[32], y[32];
    size_t n = read_csv(name, rows, 2, 32);
    NEED(n, 21);
    for (size_t i = 0; i < n; i++) {
        y[i] = rows[i][0];
        x[i] = rows[i][1];
    }
    struct es_fit f;
    cr_assert(es_polynomial_fit(x, y, n, 5, 0, 20, &f));
    for (int j = 0; j < 6; j++)
        cr_assert_geq(digits(f.b[j] / pow(20, j), pow(factor, j)), 9, "coefficient %d: %.16g", j,
                      f.b[j] / pow(20, j));
}

Test(nist, wampler1)
{
    expect_wampler("nist/wampler1.csv", 1);
}

Test(nist, wampler2)
{
    expect_wampler("nist/wampler2.csv", 0.1);
}

/* Wampler3 to 5: the curve of Wampler1 with residuals of one pattern, 1, 100 and 10,000 times as large.
 * Certified: all six coefficients 1; residual standard deviation from memory of the sets' pages. Nine digits
 * of the coefficients for Wampler3; of the other two the standard errors are some 1e5 and 1e7 times a
 * coefficient of 1, and rounding beside residuals of that size leaves 7.9 and 5.9 digits:
 * demanded are 7.5 and 5.5. */
static void expect_noisy_wampler(const char *name, double s, double least)
{
    double rows[32][8], x[32], y[32];
    size_t n = read_csv(name, rows, 2, 32);
    NEED(n, 21);
    for (size_t i = 0; i < n; i++) {
        y[i] = rows[i][0];
        x[i] = rows[i][1];
    }
    struct es_fit f;
    cr_assert(es_polynomial_fit(x, y, n, 5, 0, 20, &f));
    for (int j = 0; j < 6; j++)
        cr_assert_geq(digits(f.b[j] / pow(20, j), 1), least, "coefficient %d: %.16g, %.1f digits", j,
                      f.b[j] / pow(20, j), digits(f.b[j] / pow(20, j), 1));
    cr_assert_geq(digits(f.s, s), 12, "%.16g", f.s);
}

Test(nist, wampler3)
{
    expect_noisy_wampler("nist/wampler3.csv", 2360.14502379268, 9);
}

Test(nist, wampler4)
{
    expect_noisy_wampler("nist/wampler4.csv", 236014.502379268, 7.5);
}

Test(nist, wampler5)
{
    expect_noisy_wampler("nist/wampler5.csv", 0.236014502379268e8, 5.5);
}

Test(nist, longley)
{
    double rows[32][8];
    size_t n = read_csv("nist/longley.csv", rows, 7, 32);
    NEED(n, 16);
    struct es_least_squares ls;
    struct es_fit f;
    es_ls_start(&ls, 7);
    for (size_t i = 0; i < n; i++) {
        double row[7] = {1};
        for (int k = 1; k < 7; k++)
            row[k] = rows[i][k];
        es_ls_add(&ls, row, rows[i][0]);
    }
    cr_assert(es_ls_solve(&ls, &f));
    /* certified values of Longley from memory of the set's page */
    static const double b[] = {-3482258.63459582, 15.0618722713733,  -0.358191792925910e-1,
                               -2.02022980381683, -1.03322686717359, -0.511041056535807e-1,
                               1829.15146461355};
    for (int k = 0; k < 7; k++)
        cr_assert_geq(digits(f.b[k], b[k]), 9, "b%d %.16g", k, f.b[k]);
    cr_assert_geq(digits(f.s, 304.854073561965), 9);
}

/* Filip asks for a polynomial of degree 10: more coefficients than any measure has, and than es_fit holds
 * (ES_LS_MAX). It is refused, not computed badly. */
Test(nist, filip_is_refused)
{
    struct es_fit f;
    double x[11] = {0}, y[11] = {0};
    for (int i = 0; i < 11; i++)
        x[i] = y[i] = i;
    cr_assert_not(es_polynomial_fit(x, y, 11, 10, 0, 10, &f));
}
