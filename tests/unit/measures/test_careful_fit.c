/* Twice the digits of a double, and least squares in them where columns are much alike. */
#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/numeric/columns.h"
#include "procedures/measures/numeric/double_double.h"

static double off(struct es_dd a, struct es_dd b)
{
    return fabs(es_dd_value(es_dd_subtract(a, b)));
}

Test(double_double, nothing_is_lost)
{
    struct es_dd sum = es_dd_of_sum(1, 0x1p-80), product = es_dd_of_product(0x1p27 + 1, 0x1p27 + 1);
    cr_assert(sum.hi == 1 && sum.lo == 0x1p-80);
    cr_assert(product.hi == 0x1p54 + 0x1p28 && product.lo == 1);
    struct es_dd back = es_dd_subtract(es_dd_add(sum, (struct es_dd){1e16, 0}), (struct es_dd){1e16, 0});
    cr_assert(back.hi == 1 && off(back, sum) < 0x1p-50, "the eighty bits do not reach over 1e16: %g",
              off(back, sum));
}

Test(double_double, quotient_and_root_to_thirty_digits)
{
    for (int i = 1; i < 400; i++) {
        struct es_dd a = {i, 0}, b = {401 - i, 0};
        struct es_dd third = es_dd_divide(a, b), root = es_dd_root(a);
        cr_assert_leq(off(es_dd_multiply(third, b), a), i * 1e-30, "%d", i);
        cr_assert_leq(off(es_dd_multiply(root, root), a), i * 1e-30, "%d", i);
        cr_assert_leq(fabs(third.lo), fabs(third.hi) * 0x1p-53);
    }
    cr_assert_eq(es_dd_root((struct es_dd){0, 0}).hi, 0);
}

/* Columns 1, x, x + 1e-5 x^2: collinearity about 1e6. */
struct alike {
    double at[400];
};

static void fill_alike(const void *what, size_t first, size_t count, double *const column[])
{
    const struct alike *a = what;
    for (size_t i = 0; i < count; i++) {
        double x = a->at[first + i];
        column[1][i] = x;
        column[2][i] = x + 0x1p-17 * x * x;
    }
}

/* Sixteenths and a power of two: the columns and y = 3 + 2 column 1 - 5 column 2 are exact in doubles. */
static void make(struct alike *a, double *y, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        double x = a->at[i] = (double)(i % 29) / 16;
        y[i] = 3 + 2 * x - 5 * (x + 0x1p-17 * x * x);
    }
}

/* Of few rows and of many, which first go by columns. */
Test(careful_fit, columns_much_alike)
{
    static struct alike a;
    static double y[400];
    make(&a, y, 400);
    for (size_t n = 30; n <= 400; n += 370) {
        struct es_columns c = {.n = n, .p = 3, .y = y, .about = 1, .fill = fill_alike, .what = &a};
        struct es_fit f;
        cr_assert(es_columns_fit(&c, &f), "%zu rows", n);
        cr_assert_gt(f.collinearity, 1e5);
        cr_assert_float_eq(f.b[0], 3, 1e-14);
        cr_assert_float_eq(f.b[1], 2, 1e-14, "%.17g", f.b[1]);
        cr_assert_float_eq(f.b[2], -5, 1e-14, "%.17g", f.b[2]);
        cr_assert_lt(f.rss, 1e-30);
        cr_assert_eq(f.n, n);
    }
}

/* The further rows of columns.h against the same rows written out. */
Test(careful_fit, level_and_ridge_are_rows)
{
    static struct alike a;
    double y[24], level = 0.25;
    make(&a, y, 24);
    struct es_columns c = {.n = 24, .p = 3, .y = y, .fill = fill_alike, .what = &a};
    c.level_n = 10;
    c.level_sum = 10 * level;
    c.level_square = 10 * level * level + 0.5;
    c.ridge[2] = 1e-8;
    struct es_fit f, written;
    struct es_least_squares ls;
    cr_assert(es_columns_fit(&c, &f));
    cr_assert_gt(f.collinearity, ES_LS_ALIKE);
    es_ls_start(&ls, 3);
    for (int i = 0; i < 24; i++) {
        double x = a.at[i];
        es_ls_add(&ls, (double[]){1, x, x + 0x1p-17 * x * x}, y[i]);
    }
    for (int i = 0; i < 10; i++)
        es_ls_add(&ls, (double[]){1, 0, 0}, level);
    es_ls_add(&ls, (double[]){0, 0, 1e-4}, 0);
    cr_assert(es_ls_solve(&ls, &written));
    for (int j = 0; j < 3; j++) {
        cr_assert_float_eq(f.b[j], written.b[j], 1e-8 * fabs(written.b[j]), "b%d %g %g", j, f.b[j],
                           written.b[j]);
        cr_assert_float_eq(f.cov[j][j], written.cov[j][j], 1e-7 * written.cov[j][j]);
    }
    cr_assert_float_eq(f.rss, written.rss + 0.5, 1e-9);
    cr_assert_eq(f.n, 34);
}

/* What doubles cannot tell apart at all is refused in twice the digits too. */
Test(careful_fit, the_same_column_twice)
{
    static struct alike a;
    static double y[400];
    make(&a, y, 400);
    for (size_t i = 0; i < 400; i++)
        a.at[i] *= 0x1p-40;
    for (size_t n = 30; n <= 400; n += 370) {
        struct es_columns c = {.n = n, .p = 3, .y = y, .fill = fill_alike, .what = &a};
        struct es_fit f;
        cr_assert_not(es_columns_fit(&c, &f), "%zu rows", n);
    }
}
