/* Linear least squares, row by row: the triangle R of a QR factorisation is updated with Givens rotations,
 * so that no normal equations are formed and nothing is allocated (Golub, Van Loan: Matrix Computations,
 * ch. 5). Checked against NIST StRD linear sets, all eleven: at least 9 digits of each certified value where
 * the rows are there to be taken again (polynomials, columns.h). Pure; the caller owns the struct. */
#ifndef ES_MEASURES_NUMERIC_LEAST_SQUARES_H
#define ES_MEASURES_NUMERIC_LEAST_SQUARES_H

#include <float.h>
#include <stdbool.h>
#include <stddef.h>

#define ES_LS_MAX   11                 /* coefficients at most */
#define ES_LS_LOST  (16 * DBL_EPSILON) /* of a column's length, what is left when it is made of the others */
#define ES_LS_ALIKE 100                /* collinearity from which columns.h fits in twice the digits */

struct es_least_squares {
    size_t p;                       /* coefficients */
    size_t n;                       /* rows taken */
    double r[ES_LS_MAX][ES_LS_MAX]; /* upper triangle */
    double z[ES_LS_MAX];            /* rotated right-hand side */
    double rss, rss_rest;           /* residual sum of squares, compensated */
};

struct es_fit {
    size_t p, n;
    double b[ES_LS_MAX];              /* coefficients */
    double cov[ES_LS_MAX][ES_LS_MAX]; /* inverse of X'X: times s^2 gives the covariance */
    double rss, s;                    /* residual standard deviation; NAN when n = p */

    /* Largest of the columns' collinearity indices, length of column j times sqrt(cov[j][j]) (Stewart 1987,
     * Statistical Science 2, 68-84): 1 for columns square to each other; the coefficients lose as many digits
     * as it has. Does not depend on the units of the columns. */
    double collinearity;
};

void es_ls_start(struct es_least_squares *ls, size_t p); /* 1 <= p <= ES_LS_MAX */
void es_ls_add(struct es_least_squares *ls, const double *row, double y);

/* False when there are fewer rows than coefficients or they do not determine them. */
bool es_ls_solve(const struct es_least_squares *ls, struct es_fit *out);

/* Polynomial of `degree` < ES_LS_MAX in (x - origin) / scale. scale > 0. By columns.h. */
bool es_polynomial_fit(const double *x, const double *y, size_t n, size_t degree, double origin, double scale,
                       struct es_fit *out);

/* Value and first derivative (per unit of x) of such a polynomial at x. */
double es_polynomial_at(const struct es_fit *f, double origin, double scale, double x);
double es_polynomial_slope(const struct es_fit *f, double origin, double scale, double x);

/* Standard uncertainty of the value at x for white noise of standard deviation s. */
double es_polynomial_u(const struct es_fit *f, double origin, double scale, double x, double s);

#endif
