#include "procedures/measures/numeric/columns.h"

#include <math.h>
#include <string.h>

#include "procedures/measures/numeric/careful_fit.h"
#include "procedures/measures/numeric/passes.h"

#define MANY  64   /* rows from which columns are quicker */
#define ALIKE 1e-8 /* least square of a pivot, of columns scaled to length 1 */

struct chunk {
    double y[ES_COLUMNS_CHUNK], store[ES_LS_MAX][ES_COLUMNS_CHUNK];
    double *column[ES_LS_MAX];
    size_t count;
};

/* A single chunk that was taken already keeps its columns. */
static void take(const struct es_columns *c, size_t first, struct chunk *k)
{
    bool again = k->count > 0 && c->n <= ES_COLUMNS_CHUNK;
    k->count = c->n - first < ES_COLUMNS_CHUNK ? c->n - first : ES_COLUMNS_CHUNK;
    for (size_t j = 0; j < ES_LS_MAX; j++)
        k->column[j] = k->store[j];
    if (!again)
        c->fill(c->what, first, k->count, k->column);
    for (size_t i = 0; i < k->count; i++)
        k->y[i] = c->y[first + i] - c->about;
}

struct normal {
    double gram[ES_LS_MAX][ES_LS_MAX], right[ES_LS_MAX];
    double scale[ES_LS_MAX];           /* lengths of the columns */
    double root[ES_LS_MAX][ES_LS_MAX]; /* lower triangle of the scaled gram's Cholesky factor */
};

static void add_up(const struct es_columns *c, struct chunk *k, struct normal *e)
{
    memset(e, 0, sizeof *e);
    e->gram[0][0] = (double)(c->n + c->level_n);
    e->right[0] = c->level_sum;
    for (size_t first = 0; first < c->n; first += ES_COLUMNS_CHUNK) {
        take(c, first, k);
        e->right[0] += es_plain_sum(k->y, k->count);
        for (size_t i = 1; i < c->p; i++) {
            e->gram[i][0] += es_plain_sum(k->column[i], k->count);
            e->right[i] += es_dot(k->column[i], k->y, k->count);
            for (size_t j = 1; j <= i; j++)
                e->gram[i][j] += es_dot(k->column[i], k->column[j], k->count);
        }
    }
    for (size_t i = 1; i < c->p; i++)
        e->gram[i][i] += c->ridge[i];
}

static bool factorise(struct normal *e, size_t p)
{
    for (size_t i = 0; i < p; i++) {
        e->scale[i] = sqrt(e->gram[i][i]);
        if (!(e->scale[i] > 0) || !isfinite(e->scale[i]))
            return false;
        for (size_t j = 0; j <= i; j++) {
            double left = e->gram[i][j] / (e->scale[i] * e->scale[j]);
            for (size_t k = 0; k < j; k++)
                left -= e->root[i][k] * e->root[j][k];
            if (j < i)
                e->root[i][j] = left / e->root[j][j];
            else if (left > ALIKE)
                e->root[i][i] = sqrt(left);
            else
                return false;
        }
    }
    return true;
}

/* Solves gram x = right. */
static void solve(const struct normal *e, size_t p, const double *right, double *x)
{
    double v[ES_LS_MAX];
    for (size_t i = 0; i < p; i++) {
        v[i] = right[i] / e->scale[i];
        for (size_t k = 0; k < i; k++)
            v[i] -= e->root[i][k] * v[k];
        v[i] /= e->root[i][i];
    }
    for (size_t i = p; i-- > 0;) {
        for (size_t k = i + 1; k < p; k++)
            v[i] -= e->root[k][i] * v[k];
        v[i] /= e->root[i][i];
    }
    for (size_t i = 0; i < p; i++)
        x[i] = v[i] / e->scale[i];
}

/* Sum of squares of what b leaves, and its products with the columns. */
static double left_over(const struct es_columns *c, struct chunk *k, const double *b, double *products)
{
    double square = c->level_square - 2 * b[0] * c->level_sum + (double)c->level_n * b[0] * b[0];
    memset(products, 0, ES_LS_MAX * sizeof *products);
    products[0] = c->level_sum - (double)c->level_n * b[0];
    for (size_t first = 0; first < c->n; first += ES_COLUMNS_CHUNK) {
        take(c, first, k);
        for (size_t i = 0; i < k->count; i++)
            k->y[i] -= b[0];
        for (size_t j = 1; j < c->p; j++)
            for (size_t i = 0; i < k->count; i++)
                k->y[i] -= b[j] * k->column[j][i];
        square += es_dot(k->y, k->y, k->count);
        products[0] += es_plain_sum(k->y, k->count);
        for (size_t j = 1; j < c->p; j++)
            products[j] += es_dot(k->y, k->column[j], k->count);
    }
    for (size_t j = 1; j < c->p; j++) {
        products[j] -= c->ridge[j] * b[j];
        square += c->ridge[j] * b[j] * b[j];
    }
    return square;
}

static bool by_columns(const struct es_columns *c, struct es_fit *out)
{
    struct normal e;
    struct chunk k;
    double products[ES_LS_MAX], more[ES_LS_MAX];
    k.count = 0;
    add_up(c, &k, &e);
    if (!factorise(&e, c->p))
        return false;
    memset(out, 0, sizeof *out);
    solve(&e, c->p, e.right, out->b);
    out->rss = left_over(c, &k, out->b, products);
    solve(&e, c->p, products, more);
    for (size_t j = 0; j < c->p; j++) {
        double unit[ES_LS_MAX] = {0}, column[ES_LS_MAX];
        unit[j] = 1;
        out->b[j] += more[j];
        out->rss -= more[j] * products[j];
        solve(&e, c->p, unit, column);
        for (size_t i = 0; i < c->p; i++)
            out->cov[i][j] = column[i];
        out->collinearity = fmax(out->collinearity, e.scale[j] * sqrt(column[j]));
    }
    return true;
}

static bool by_rows(const struct es_columns *c, struct es_fit *out)
{
    struct es_least_squares ls;
    struct chunk k;
    k.count = 0;
    es_ls_start(&ls, c->p);
    for (size_t first = 0; first < c->n; first += ES_COLUMNS_CHUNK) {
        take(c, first, &k);
        for (size_t i = 0; i < k.count; i++) {
            double row[ES_LS_MAX] = {1};
            for (size_t j = 1; j < c->p; j++)
                row[j] = k.column[j][i];
            es_ls_add(&ls, row, k.y[i]);
        }
    }
    double level = sqrt((double)c->level_n);
    if (c->level_n)
        es_ls_add(&ls, (double[ES_LS_MAX]){level}, c->level_sum / level);
    for (size_t j = 1; j < c->p; j++) {
        double row[ES_LS_MAX] = {0};
        row[j] = sqrt(c->ridge[j]);
        if (c->ridge[j] > 0)
            es_ls_add(&ls, row, 0);
    }
    if (c->n + c->level_n < c->p || !es_ls_solve(&ls, out))
        return false;
    if (c->level_n)
        out->rss += fmax(0, c->level_square - c->level_sum * c->level_sum / (double)c->level_n);
    return true;
}

bool es_columns_fit(const struct es_columns *c, struct es_fit *out)
{
    bool many = c->n >= MANY, plain = many ? by_columns(c, out) : by_rows(c, out);
    if (!plain && !many)
        return false;
    if (!plain || out->collinearity > ES_LS_ALIKE)
        return es_careful_fit(c, out);
    out->p = c->p;
    out->n = c->n + c->level_n;
    out->b[0] += c->about;
    out->rss = fmax(0, out->rss);
    out->s = out->n > out->p ? sqrt(out->rss / (double)(out->n - out->p)) : NAN;
    return true;
}
