/* NIST Statistical Reference Datasets (StRD; public domain): all nine univariate and all eleven linear sets.
 * At least 9 digits of every certified value are demanded (NumAcc4: see there). The certified values were
 * recomputed from the data with 60 digits (mpmath), and those of Filip and Longley compared with the tests of
 * Debian's source package gsl 2.7.1, which also has the tables of nist_sets.h. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "procedures/measures/numeric/columns.h"
#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/numeric/summary.h"
#include "tests/reference/measures/nist_sets.h"

#define COUNT(a_) (sizeof(a_) / sizeof(a_)[0])
#define ROOM      2000

/* Correct digits: -log10 of the relative error (NIST's "LRE"); at most 15, which is what is certified. */
static double digits(double found, double certified)
{
    double error = certified != 0 ? fabs(found / certified - 1) : fabs(found);
    return error > 1e-15 ? -log10(error) : 15;
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

static void expect_numacc(double first, double low, double high, double mean, double s, double r,
                          double least)
{
    double y[1001] = {first};
    for (int i = 1; i < 1001; i++)
        y[i] = i % 2 ? low : high;
    expect_univariate(y, 1001, mean, s, r, least);
}

Test(nist, numacc2)
{
    expect_numacc(1.2, 1.1, 1.3, 1.2, 0.1, -0.999, 13);
}

Test(nist, numacc3)
{
    expect_numacc(1000000.2, 1000000.1, 1000000.3, 1000000.2, 0.1, -0.999, 9);
}

/* Doubles do not hold this set: 10000000.1 is off by 4e-10, a relative 4e-9 of the deviation 0.1. Of what
 * they hold, s and r were computed in exact fractions. */
Test(nist, numacc4)
{
    expect_numacc(10000000.2, 10000000.1, 10000000.3, 10000000.2, 0.1, -0.999, 8);
    expect_numacc(10000000.2, 10000000.1, 10000000.3, 10000000.2, 0.10000000055879354, -0.9989999999906961,
                  14);
}

/* In tenths doubles do hold it. */
Test(nist, numacc4_in_tenths)
{
    expect_numacc(100000002, 100000001, 100000003, 100000002, 1, -0.999, 14);
}

Test(nist, michelso)
{
    expect_univariate(nist_michelso, COUNT(nist_michelso), 299.852400000000, 0.0790105478190518,
                      0.535199668621283, 13);
}

Test(nist, mavro)
{
    expect_univariate(nist_mavro, COUNT(nist_mavro), 2.00185600000000, 0.000429123454003053,
                      0.937989183438248, 12);
}

Test(nist, lew)
{
    expect_univariate(nist_lew, COUNT(nist_lew), -177.435000000000, 277.332168044316, -0.307304800605679, 14);
}

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

#define PI_DIGITS 5000
#define WORK      (PI_DIGITS + 50)

/* number /= by, decimal digit by digit. */
static void divide(unsigned char *number, unsigned by)
{
    unsigned left = 0;
    for (int i = 0; i < WORK; i++) {
        left = left * 10 + number[i];
        number[i] = (unsigned char)(left / by);
        left %= by;
    }
}

static bool is_zero(const unsigned char *number)
{
    for (int i = 0; i < WORK; i++)
        if (number[i])
            return false;
    return true;
}

/* sum += factor * arctan(1 / x), by its power series. */
static void add_arctan(int *sum, int factor, unsigned x)
{
    unsigned char power[WORK] = {1}, term[WORK];
    divide(power, x);
    for (unsigned k = 1; !is_zero(power); k += 2) {
        memcpy(term, power, WORK);
        divide(term, k);
        for (int i = 0; i < WORK; i++)
            sum[i] += k % 4 == 1 ? factor * term[i] : -factor * term[i];
        divide(power, x * x);
    }
}

/* The first 5000 digits of pi, by Machin's formula. The 957th is 8; the set has a 3 there, and its certified
 * values are those with the 3. */
Test(nist, pidigits)
{
    static int sum[WORK];
    static double y[PI_DIGITS];
    add_arctan(sum, 16, 5);
    add_arctan(sum, -4, 239);
    for (int i = WORK - 1; i > 0; i--) {
        int carry = (sum[i] - (sum[i] % 10 + 10) % 10) / 10;
        sum[i] -= 10 * carry;
        sum[i - 1] += carry;
    }
    for (int i = 0; i < PI_DIGITS; i++)
        y[i] = sum[i];
    cr_assert_eq(y[956], 8);
    y[956] = 3;
    expect_univariate(y, PI_DIGITS, 4.53480000000000, 2.86733906028871, -0.00355099287237972, 13);
}

struct certified {
    size_t p;
    double b[ES_LS_MAX], sd[ES_LS_MAX], s;
};

/* A coefficient belongs to the power j of x / scale. */
static void expect_fit(const struct es_fit *f, const struct certified *c, double scale, double least)
{
    for (size_t j = 0; j < c->p; j++) {
        double unit = pow(scale, (double)j), b = f->b[j] / unit, sd = f->s * sqrt(f->cov[j][j]) / unit;
        cr_expect_geq(digits(b, c->b[j]), least, "b%zu %.16g: %.1f digits", j, b, digits(b, c->b[j]));
        if (c->s > 0)
            cr_expect_geq(digits(sd, c->sd[j]), least, "sd%zu %.16g: %.1f digits", j, sd,
                          digits(sd, c->sd[j]));
    }
    if (c->s > 0)
        cr_expect_geq(digits(f->s, c->s), least, "s %.16g: %.1f digits", f->s, digits(f->s, c->s));
}

/* The set as it is, and taken so many times over that it goes by columns: the coefficients stay, what is
 * certified of s and of the standard deviations follows from the number of rows. */
static void expect_polynomial(const double (*set)[2], size_t n, struct certified c, double scale,
                              double least)
{
    double x[ROOM], y[ROOM];
    size_t many = n * (1000 / n);
    for (size_t i = 0; i < many; i++) {
        y[i] = set[i % n][0];
        x[i] = set[i % n][1];
    }
    struct es_fit f;
    cr_assert(es_polynomial_fit(x, y, n, c.p - 1, 0, scale, &f));
    expect_fit(&f, &c, scale, least);
    cr_assert(es_polynomial_fit(x, y, many, c.p - 1, 0, scale, &f));
    double shrink = sqrt((double)(n - c.p) / (double)(many - c.p));
    c.s *= shrink * sqrt((double)many / (double)n);
    for (size_t j = 0; j < c.p; j++)
        c.sd[j] *= shrink;
    expect_fit(&f, &c, scale, least);
}

static const struct certified norris = {
    2, {-0.262323073774029, 1.00211681802045}, {0.232818234301152, 0.429796848199937e-3}, 0.884796396144373};

Test(nist, norris)
{
    expect_polynomial(nist_norris, COUNT(nist_norris), norris, 1, 12);
}

static const struct certified pontius = {3,
                                         {0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14},
                                         {0.107938612033077e-3, 0.157817399981659e-9, 0.486652849992036e-16},
                                         0.205177424076185e-3};

/* Loads up to 3,000,000: in their own unit and in millions. */
Test(nist, pontius)
{
    expect_polynomial(nist_pontius, COUNT(nist_pontius), pontius, 1, 11);
    expect_polynomial(nist_pontius, COUNT(nist_pontius), pontius, 3e6, 11);
}

static const struct certified filip = {
    11,
    {-1467.48961422980, -2772.17959193342, -2316.37108160893, -1127.97394098372, -354.478233703349,
     -75.1242017393757, -10.8753180355343, -1.06221498588947, -0.670191154593408e-1, -0.246781078275479e-2,
     -0.402962525080404e-4},
    {298.084530995537, 559.779865474950, 466.477572127796, 227.204274477751, 71.6478660875927,
     15.2897178747400, 2.23691159816033, 0.221624321934227, 0.142363763154724e-1, 0.535617408889821e-3,
     0.896632837373868e-5},
    0.334801051324544e-2};

/* Degree 10, columns alike to nine digits. */
Test(nist, filip)
{
    expect_polynomial(nist_filip, COUNT(nist_filip), filip, 1, 13);
}

/* Wampler1: y = 1 + x + ... + x^5, x = 0 .. 20. Wampler2: the same of x / 10. Wampler3 to 5: Wampler1 and
 * residuals of one pattern, 1, 100 and 10,000 times as large. Certified: the coefficients of the curves. */
static void expect_wampler(int per_x, double noise, double s)
{
    static const double pattern[21] = {759,   -2048, 2048,  -2048, 2523,  -2048, 2048,
                                       -2048, 1838,  -2048, 2048,  -2048, 1838,  -2048,
                                       2048,  -2048, 2523,  -2048, 2048,  -2048, 759};
    static const double sd[6] = {2152.32624678170, 2363.55173469681, 779.343524331583,
                                 101.475507550350, 5.64566512170752, 0.112324854679312};
    struct certified c = {.p = 6, .s = s};
    double set[21][2];
    for (int j = 0; j < 6; j++) {
        c.b[j] = 1 / pow(per_x, j);
        c.sd[j] = noise * sd[j];
    }
    for (int i = 0; i <= 20; i++) {
        double sum = 0;
        for (int j = 0; j < 6; j++)
            sum += pow(i, j) * pow(per_x, 5 - j);
        set[i][0] = sum / pow(per_x, 5) + noise * pattern[i];
        set[i][1] = i;
    }
    expect_polynomial(set, 21, c, 1, 12);
    expect_polynomial(set, 21, c, 20, 12);
}

Test(nist, wampler1)
{
    expect_wampler(1, 0, 0);
}

Test(nist, wampler2)
{
    expect_wampler(10, 0, 0);
}

Test(nist, wampler3)
{
    expect_wampler(1, 1, 2360.14502379268);
}

Test(nist, wampler4)
{
    expect_wampler(1, 100, 236014.502379268);
}

Test(nist, wampler5)
{
    expect_wampler(1, 10000, 0.236014502379268e8);
}

static const struct certified longley = {
    7,
    {-3482258.63459582, 15.0618722713733, -0.358191792925910e-1, -2.02022980381683, -1.03322686717359,
     -0.511041056535807e-1, 1829.15146461355},
    {890420.383607373, 84.9149257747669, 0.334910077722432e-1, 0.488399681651699, 0.214274163161675,
     0.226073200069370, 455.478499142212},
    304.854073561965};

/* Row by row, the rows not kept. */
Test(nist, longley)
{
    struct es_least_squares ls;
    struct es_fit f;
    es_ls_start(&ls, 7);
    for (size_t i = 0; i < COUNT(nist_longley); i++) {
        double row[7] = {1};
        memcpy(row + 1, nist_longley[i] + 1, 6 * sizeof row[0]);
        es_ls_add(&ls, row, nist_longley[i][0]);
    }
    cr_assert(es_ls_solve(&ls, &f));
    expect_fit(&f, &longley, 1, 11);
}

static void fill_longley(const void *what, size_t first, size_t count, double *const column[])
{
    const double(*set)[7] = what;
    for (size_t j = 1; j < 7; j++)
        for (size_t i = 0; i < count; i++)
            column[j][i] = set[first + i][j];
}

/* By columns, which notices that they are much alike. */
Test(nist, longley_by_columns)
{
    double y[COUNT(nist_longley)];
    for (size_t i = 0; i < COUNT(nist_longley); i++)
        y[i] = nist_longley[i][0];
    struct es_columns c = {
        .n = COUNT(nist_longley), .p = 7, .y = y, .fill = fill_longley, .what = nist_longley};
    struct es_fit f;
    cr_assert(es_columns_fit(&c, &f));
    expect_fit(&f, &longley, 1, 13);
}

static void expect_through_the_origin(const double (*set)[2], size_t n, double b, double sd, double s)
{
    struct es_least_squares ls;
    struct es_fit f;
    es_ls_start(&ls, 1);
    for (size_t i = 0; i < n; i++)
        es_ls_add(&ls, &set[i][1], set[i][0]);
    cr_assert(es_ls_solve(&ls, &f));
    expect_fit(&f, &(struct certified){1, {b}, {sd}, s}, 1, 13);
}

Test(nist, noint1)
{
    double set[11][2];
    for (int i = 0; i < 11; i++) {
        set[i][0] = 130 + i;
        set[i][1] = 60 + i;
    }
    expect_through_the_origin(set, 11, 2.07438016528926, 0.0165289256198347, 3.56753034006338);
}

Test(nist, noint2)
{
    static const double set[3][2] = {{3, 4}, {4, 5}, {4, 6}};
    expect_through_the_origin(set, 3, 0.727272727272727, 0.0420827318078432, 0.369274472937998);
}

/* The index of the powers 0 to 5 of 0 .. 20, by its definition with 60 digits (mpmath). */
Test(nist, collinearity)
{
    double x[21], y[21];
    for (int i = 0; i < 21; i++)
        y[i] = x[i] = i;
    struct es_fit f;
    cr_assert(es_polynomial_fit(x, y, 21, 1, 10, 10, &f));
    cr_assert_float_eq(f.collinearity, 1, 1e-12, "columns square to each other: %g", f.collinearity);
    cr_assert(es_polynomial_fit(x, y, 21, 5, 0, 1, &f));
    cr_assert_float_eq(f.collinearity, 635.3, 0.05, "%g", f.collinearity);
    cr_assert(es_polynomial_fit(x, y, 21, 5, 0, 20, &f));
    cr_assert_float_eq(f.collinearity, 635.3, 0.05, "in another unit: %g", f.collinearity);
    cr_assert_not(es_polynomial_fit((double[21]){0}, y, 21, 1, 0, 1, &f), "one abscissa determines no slope");
}
