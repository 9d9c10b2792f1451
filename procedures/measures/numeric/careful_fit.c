#include "procedures/measures/numeric/careful_fit.h"

#include <string.h>

#include "procedures/measures/numeric/double_double.h"

#define ZERO ((struct es_dd){0, 0})

struct triangle {
    size_t p, n;
    struct es_dd r[ES_LS_MAX][ES_LS_MAX]; /* upper triangle */
    struct es_dd z[ES_LS_MAX];            /* rotated right-hand side */
    struct es_dd rss;
};

/* Cosine and sine of the rotation that takes (a, b) to (h, 0). Brought near 1 first: squares neither overflow
 * nor vanish. */
static void rotation(struct es_dd a, struct es_dd b, struct es_dd *cosine, struct es_dd *sine)
{
    int exponent;
    frexp(fmax(fabs(a.hi), fabs(b.hi)), &exponent);
    a = (struct es_dd){ldexp(a.hi, -exponent), ldexp(a.lo, -exponent)};
    b = (struct es_dd){ldexp(b.hi, -exponent), ldexp(b.lo, -exponent)};
    struct es_dd h = es_dd_root(es_dd_add(es_dd_multiply(a, a), es_dd_multiply(b, b)));
    *cosine = es_dd_divide(a, h);
    *sine = es_dd_divide(b, h);
}

static void rotate(struct es_dd cosine, struct es_dd sine, struct es_dd *kept, struct es_dd *row)
{
    struct es_dd old = *kept;
    *kept = es_dd_add(es_dd_multiply(cosine, old), es_dd_multiply(sine, *row));
    *row = es_dd_subtract(es_dd_multiply(cosine, *row), es_dd_multiply(sine, old));
}

/* `row` is used up. */
static void add_row(struct triangle *t, struct es_dd *row, struct es_dd y)
{
    for (size_t i = 0; i < t->p; i++) {
        if (row[i].hi == 0.0)
            continue;
        struct es_dd cosine, sine;
        rotation(t->r[i][i], row[i], &cosine, &sine);
        for (size_t j = i; j < t->p; j++)
            rotate(cosine, sine, &t->r[i][j], &row[j]);
        rotate(cosine, sine, &t->z[i], &y);
    }
    t->rss = es_dd_add(t->rss, es_dd_multiply(y, y));
}

static void add_samples(const struct es_columns *c, struct triangle *t)
{
    double first[ES_LS_MAX][ES_COLUMNS_CHUNK], second[ES_LS_MAX][ES_COLUMNS_CHUNK];
    double *column[ES_LS_MAX], *rest[ES_LS_MAX];
    memset(second, 0, sizeof second);
    for (size_t j = 0; j < ES_LS_MAX; j++) {
        column[j] = first[j];
        rest[j] = second[j];
    }
    for (size_t at = 0; at < c->n; at += ES_COLUMNS_CHUNK) {
        size_t count = c->n - at < ES_COLUMNS_CHUNK ? c->n - at : ES_COLUMNS_CHUNK;
        if (c->fill_twofold)
            c->fill_twofold(c->what, at, count, column, rest);
        else
            c->fill(c->what, at, count, column);
        for (size_t i = 0; i < count; i++) {
            struct es_dd row[ES_LS_MAX] = {{1, 0}};
            for (size_t j = 1; j < c->p; j++)
                row[j] = es_dd_of_sum(column[j][i], rest[j][i]);
            add_row(t, row, es_dd_of_sum(c->y[at + i], -c->about));
        }
    }
}

/* The rows that columns.h adds to the samples. */
static void add_further(const struct es_columns *c, struct triangle *t)
{
    if (c->level_n) {
        struct es_dd many = {(double)c->level_n, 0}, sum = {c->level_sum, 0};
        struct es_dd level = es_dd_root(many), row[ES_LS_MAX] = {level};
        add_row(t, row, es_dd_divide(sum, level));
        struct es_dd about_mean =
            es_dd_subtract((struct es_dd){c->level_square, 0}, es_dd_divide(es_dd_multiply(sum, sum), many));
        if (about_mean.hi > 0)
            t->rss = es_dd_add(t->rss, about_mean);
    }
    for (size_t j = 1; j < c->p; j++) {
        struct es_dd row[ES_LS_MAX] = {{0, 0}};
        row[j] = es_dd_root((struct es_dd){c->ridge[j], 0});
        if (c->ridge[j] > 0)
            add_row(t, row, ZERO);
    }
}

static struct es_dd length_of_column(const struct triangle *t, size_t j)
{
    struct es_dd square = ZERO;
    for (size_t i = 0; i <= j; i++)
        square = es_dd_add(square, es_dd_multiply(t->r[i][j], t->r[i][j]));
    return es_dd_root(square);
}

static bool determined(const struct triangle *t, double length[ES_LS_MAX])
{
    for (size_t j = 0; j < t->p; j++) {
        length[j] = length_of_column(t, j).hi;
        if (!(fabs(t->r[j][j].hi) > length[j] * ES_LS_LOST) || !isfinite(length[j]))
            return false;
    }
    return true;
}

/* Column j of the triangle's inverse, down to row j. */
static void column_of_inverse(const struct triangle *t, size_t j, struct es_dd *column)
{
    column[j] = es_dd_divide((struct es_dd){1, 0}, t->r[j][j]);
    for (size_t i = j; i-- > 0;) {
        struct es_dd sum = ZERO;
        for (size_t k = i + 1; k <= j; k++)
            sum = es_dd_add(sum, es_dd_multiply(t->r[i][k], column[k]));
        column[i] = es_dd_divide(es_dd_minus(sum), t->r[i][i]);
    }
}

static void covariances(const struct triangle *t, struct es_fit *out)
{
    struct es_dd cov[ES_LS_MAX][ES_LS_MAX], column[ES_LS_MAX];
    memset(cov, 0, sizeof cov);
    for (size_t k = 0; k < t->p; k++) {
        column_of_inverse(t, k, column);
        for (size_t i = 0; i <= k; i++)
            for (size_t j = 0; j <= i; j++)
                cov[i][j] = es_dd_add(cov[i][j], es_dd_multiply(column[i], column[j]));
    }
    for (size_t i = 0; i < t->p; i++)
        for (size_t j = 0; j <= i; j++)
            out->cov[i][j] = out->cov[j][i] = es_dd_value(cov[i][j]);
}

static void coefficients(const struct triangle *t, double about, struct es_fit *out)
{
    struct es_dd b[ES_LS_MAX] = {{0, 0}};
    for (size_t i = t->p; i-- > 0;) {
        struct es_dd left = t->z[i];
        for (size_t k = i + 1; k < t->p; k++)
            left = es_dd_subtract(left, es_dd_multiply(t->r[i][k], b[k]));
        b[i] = es_dd_divide(left, t->r[i][i]);
    }
    b[0] = es_dd_add(b[0], (struct es_dd){about, 0});
    for (size_t i = 0; i < t->p; i++)
        out->b[i] = es_dd_value(b[i]);
}

bool es_careful_fit(const struct es_columns *c, struct es_fit *out)
{
    struct triangle t = {.p = c->p, .n = c->n + c->level_n};
    double length[ES_LS_MAX];
    if (t.p == 0 || t.n < t.p)
        return false;
    add_samples(c, &t);
    add_further(c, &t);
    if (!determined(&t, length))
        return false;
    memset(out, 0, sizeof *out);
    out->p = t.p;
    out->n = t.n;
    coefficients(&t, c->about, out);
    covariances(&t, out);
    for (size_t j = 0; j < t.p; j++)
        out->collinearity = fmax(out->collinearity, length[j] * sqrt(out->cov[j][j]));
    out->rss = es_dd_value(t.rss);
    out->s = t.n > t.p ? sqrt(out->rss / (double)(t.n - t.p)) : NAN;
    return true;
}
