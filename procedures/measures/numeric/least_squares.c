#include "procedures/measures/numeric/least_squares.h"

#include <math.h>
#include <string.h>

#include "procedures/measures/numeric/columns.h"
#include "procedures/measures/numeric/double_double.h"

void es_ls_start(struct es_least_squares *ls, size_t p)
{
    memset(ls, 0, sizeof *ls);
    ls->p = p;
}

static void add_square(struct es_least_squares *ls, double v)
{
    double square = v * v;
    double s = ls->rss + square;
    ls->rss_rest += fabs(ls->rss) >= square ? (ls->rss - s) + square : (square - s) + ls->rss;
    ls->rss = s;
}

/* hypot without its care, which costs more than all the rest, where the squares are far from the ends of the
 * range of double. */
static double length(double a, double b)
{
    double square = fma(a, a, b * b);
    return square > 1e-250 && square < 1e250 ? sqrt(square) : hypot(a, b);
}

void es_ls_add(struct es_least_squares *ls, const double *row, double y)
{
    double a[ES_LS_MAX];
    memcpy(a, row, ls->p * sizeof a[0]);
    for (size_t i = 0; i < ls->p; i++) {
        if (a[i] == 0.0)
            continue;
        double h = length(ls->r[i][i], a[i]);
        double c = ls->r[i][i] / h, s = a[i] / h;
        for (size_t j = i; j < ls->p; j++) {
            double keep = ls->r[i][j];
            ls->r[i][j] = c * keep + s * a[j];
            a[j] = c * a[j] - s * keep;
        }
        double keep = ls->z[i];
        ls->z[i] = c * keep + s * y;
        y = c * y - s * keep;
    }
    add_square(ls, y);
    ls->n++;
}

/* Columns whose diagonal shrank to rounding are not determined. Gives the columns' lengths. */
static bool determined(const struct es_least_squares *ls, double norm[ES_LS_MAX])
{
    for (size_t j = 0; j < ls->p; j++) {
        norm[j] = 0;
        for (size_t i = 0; i <= j; i++)
            norm[j] = length(norm[j], ls->r[i][j]);
        if (!(fabs(ls->r[j][j]) > norm[j] * ES_LS_LOST))
            return false;
    }
    return true;
}

static void invert_triangle(const struct es_least_squares *ls, double inv[ES_LS_MAX][ES_LS_MAX])
{
    for (size_t j = 0; j < ls->p; j++) {
        for (size_t i = 0; i < ls->p; i++)
            inv[i][j] = 0;
        inv[j][j] = 1.0 / ls->r[j][j];
        for (size_t i = j; i-- > 0;) {
            double sum = 0;
            for (size_t k = i + 1; k <= j; k++)
                sum += ls->r[i][k] * inv[k][j];
            inv[i][j] = -sum / ls->r[i][i];
        }
    }
}

bool es_ls_solve(const struct es_least_squares *ls, struct es_fit *out)
{
    double inv[ES_LS_MAX][ES_LS_MAX], norm[ES_LS_MAX];
    if (ls->n < ls->p || ls->p == 0 || !determined(ls, norm))
        return false;
    invert_triangle(ls, inv);
    memset(out, 0, sizeof *out);
    out->p = ls->p;
    out->n = ls->n;
    for (size_t i = ls->p; i-- > 0;) {
        double sum = ls->z[i];
        for (size_t k = i + 1; k < ls->p; k++)
            sum -= ls->r[i][k] * out->b[k];
        out->b[i] = sum / ls->r[i][i];
        for (size_t j = 0; j < ls->p; j++) {
            double cov = 0;
            for (size_t k = i > j ? i : j; k < ls->p; k++)
                cov += inv[i][k] * inv[j][k];
            out->cov[i][j] = cov;
        }
        out->collinearity = fmax(out->collinearity, norm[i] * sqrt(out->cov[i][i]));
    }
    out->rss = ls->rss + ls->rss_rest;
    out->s = ls->n > ls->p ? sqrt(out->rss / (double)(ls->n - ls->p)) : NAN;
    return true;
}

static void powers(double x, size_t p, double row[ES_LS_MAX])
{
    row[0] = 1;
    for (size_t j = 1; j < p; j++)
        row[j] = row[j - 1] * x;
}

struct powers_of {
    const double *x;
    size_t p;
    double origin, scale;
};

static void fill_powers(const void *what, size_t first, size_t count, double *const column[])
{
    const struct powers_of *of = what;
    if (of->p < 2)
        return;
    for (size_t i = 0; i < count; i++)
        column[1][i] = (of->x[first + i] - of->origin) / of->scale;
    for (size_t j = 2; j < of->p; j++)
        for (size_t i = 0; i < count; i++)
            column[j][i] = column[j - 1][i] * column[1][i];
}

/* The same with what doubles leave of the powers, of the quotient on. */
static void fill_twofold(const void *what, size_t first, size_t count, double *const column[],
                         double *const rest[])
{
    const struct powers_of *of = what;
    for (size_t i = 0; i < count; i++) {
        struct es_dd power = {1, 0}, off = es_dd_of_sum(of->x[first + i], -of->origin);
        struct es_dd u = es_dd_divide(off, (struct es_dd){of->scale, 0});
        for (size_t j = 1; j < of->p; j++) {
            power = es_dd_multiply(power, u);
            column[j][i] = power.hi;
            rest[j][i] = power.lo;
        }
    }
}

bool es_polynomial_fit(const double *x, const double *y, size_t n, size_t degree, double origin, double scale,
                       struct es_fit *out)
{
    if (degree >= ES_LS_MAX || !(scale > 0))
        return false;
    struct powers_of of = {x, degree + 1, origin, scale};
    struct es_columns c = {
        .n = n, .p = degree + 1, .y = y, .what = &of, .fill = fill_powers, .fill_twofold = fill_twofold};
    if (n > ES_COLUMNS_CHUNK)
        c.about = y[n / 2];
    return es_columns_fit(&c, out);
}

double es_polynomial_at(const struct es_fit *f, double origin, double scale, double x)
{
    double v = 0, u = (x - origin) / scale;
    for (size_t j = f->p; j-- > 0;)
        v = v * u + f->b[j];
    return v;
}

double es_polynomial_slope(const struct es_fit *f, double origin, double scale, double x)
{
    double v = 0, u = (x - origin) / scale;
    for (size_t j = f->p; j-- > 1;)
        v = v * u + (double)j * f->b[j];
    return v / scale;
}

double es_polynomial_u(const struct es_fit *f, double origin, double scale, double x, double s)
{
    double row[ES_LS_MAX], q = 0;
    powers((x - origin) / scale, f->p, row);
    for (size_t i = 0; i < f->p; i++)
        for (size_t j = 0; j < f->p; j++)
            q += row[i] * f->cov[i][j] * row[j];
    return s * sqrt(fmax(q, 0));
}
