#include "procedures/measures/numeric/columns.h"

#include <math.h>
#include <string.h>

#include "procedures/measures/numeric/careful_fit.h"
#include "procedures/measures/numeric/passes.h"

#define MANY  64   /* rows from which columns are quicker */
#define KEPT  1024 /* rows whose columns are kept from the first pass over them to the second */
#define ALIKE 1e-8 /* least square of a pivot, of columns scaled to length 1 */

struct chunk {
    double y[ES_COLUMNS_CHUNK], store[ES_LS_MAX][KEPT];
    double *column[ES_LS_MAX];
    size_t count, filled; /* rows of it; rows of all whose columns are kept */
};

/* The columns of a chunk. */
static void take_columns(const struct es_columns *c, size_t first, struct chunk *k)
{
    bool keep = c->n <= KEPT;
    k->count = c->n - first < ES_COLUMNS_CHUNK ? c->n - first : ES_COLUMNS_CHUNK;
    for (size_t j = 0; j < c->p; j++)
        k->column[j] = k->store[j] + (keep ? first : 0);
    if (keep && first < k->filled)
        return;
    c->fill(c->what, first, k->count, k->column);
    k->filled = keep ? first + k->count : 0;
}

/* And its right-hand side. */
static void take(const struct es_columns *c, size_t first, struct chunk *k)
{
    take_columns(c, first, k);
    for (size_t i = 0; i < k->count; i++)
        k->y[i] = c->y[first + i] - c->about;
}

struct normal {
    double gram[ES_LS_MAX][ES_LS_MAX], right[ES_LS_MAX];
    double scale[ES_LS_MAX];           /* lengths of the columns */
    double root[ES_LS_MAX][ES_LS_MAX]; /* lower triangle of the scaled gram's Cholesky factor */
};

/* As add_up for three columns, each chunk in one pass. */
static void add_up_pair(const struct es_columns *c, struct chunk *k, struct normal *e)
{
    for (size_t first = 0; first < c->n; first += ES_COLUMNS_CHUNK) {
        take_columns(c, first, k);
        struct es_pair_sums s = es_pair_sums_of(k->column[1], k->column[2], c->y + first, c->about, k->count);
        e->right[0] += s.y;
        e->right[1] += s.ay;
        e->right[2] += s.by;
        e->gram[1][0] += s.a;
        e->gram[1][1] += s.aa;
        e->gram[2][0] += s.b;
        e->gram[2][1] += s.ab;
        e->gram[2][2] += s.bb;
    }
}

static void add_up(const struct es_columns *c, struct chunk *k, struct normal *e)
{
    memset(e, 0, sizeof *e);
    e->gram[0][0] = (double)(c->n + c->level_n);
    e->right[0] = c->level_sum;
    if (c->p == 3)
        add_up_pair(c, k, e);
    for (size_t first = 0; c->p != 3 && first < c->n; first += ES_COLUMNS_CHUNK) {
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

/* As left_over for three columns, each chunk in one pass. */
static double left_over_pair(const struct es_columns *c, struct chunk *k, const double *b, double square,
                             double *products)
{
    for (size_t first = 0; first < c->n; first += ES_COLUMNS_CHUNK) {
        take_columns(c, first, k);
        struct es_pair_rest r =
            es_pair_rest_of(k->column[1], k->column[2], c->y + first, c->about, b, k->count);
        square += r.square;
        products[0] += r.sum;
        products[1] += r.a;
        products[2] += r.b;
    }
    return square;
}

/* Sum of squares of what b leaves, and its products with the columns. */
static double left_over(const struct es_columns *c, struct chunk *k, const double *b, double *products)
{
    double square = c->level_square - 2 * b[0] * c->level_sum + (double)c->level_n * b[0] * b[0];
    memset(products, 0, ES_LS_MAX * sizeof *products);
    products[0] = c->level_sum - (double)c->level_n * b[0];
    if (c->p == 3)
        square = left_over_pair(c, k, b, square, products);
    for (size_t first = 0; c->p != 3 && first < c->n; first += ES_COLUMNS_CHUNK) {
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
    k.filled = 0;
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
    k.filled = 0;
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
