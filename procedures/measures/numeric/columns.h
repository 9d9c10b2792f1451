/* Linear least squares of many rows, by columns: normal equations, scaled, then corrected once by what they
 * leave (iterative refinement; Golub, Van Loan: Matrix Computations, 5.3.8), so that the digits are those of
 * a factorisation of the rows at a fraction of its time. Few rows go row by row (least_squares.h). Columns of
 * a collinearity above ES_LS_ALIKE are fitted again in numbers of twice the digits (careful_fit.h): the
 * arithmetic then loses nothing that the rows hold. That choice rests on the rows alone and is the same on
 * every machine. The first column is 1 in every row. Pure. */
#ifndef ES_MEASURES_NUMERIC_COLUMNS_H
#define ES_MEASURES_NUMERIC_COLUMNS_H

#include "procedures/measures/numeric/least_squares.h"

#define ES_COLUMNS_CHUNK 256 /* rows that are asked for at once, at most */

struct es_columns {
    size_t n, p;     /* rows, columns (the first included); 1 <= p <= ES_LS_MAX */
    const double *y; /* right-hand side */
    double about;    /* near the values of y: taken off while adding up */

    /* Writes rows first .. first + count - 1 of columns 1 .. p - 1 to column[1][0 ..], ... */
    void (*fill)(const void *what, size_t first, size_t count, double *const column[]);
    const void *what;

    /* The same, and to rest[1][0 ..], ... what those doubles leave of the columns' true values. NULL:
     * nothing. */
    void (*fill_twofold)(const void *what, size_t first, size_t count, double *const column[],
                         double *const rest[]);

    size_t level_n;                 /* further rows (1, 0, 0, ...): how many, */
    double level_sum, level_square; /* the sum of their y less `about` and of its square */
    double ridge[ES_LS_MAX];        /* further row (0, .., sqrt(ridge[j]), ..) with y = 0; not of column 0 */
};

/* False when there are fewer rows than columns or they do not determine the coefficients. */
bool es_columns_fit(const struct es_columns *c, struct es_fit *out);

#endif
