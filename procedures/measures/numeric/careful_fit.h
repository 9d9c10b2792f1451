/* Linear least squares in numbers of twice the digits, for columns so much alike that doubles do not tell
 * them apart: the same rotations as in least_squares.h, some 30 times as slow. columns.h decides when. Pure.
 */
#ifndef ES_MEASURES_NUMERIC_CAREFUL_FIT_H
#define ES_MEASURES_NUMERIC_CAREFUL_FIT_H

#include "procedures/measures/numeric/columns.h"

/* Fills everything of `out`. False when there are fewer rows than columns, or when the columns are alike to
 * the rounding of doubles, in which they are given. */
bool es_careful_fit(const struct es_columns *c, struct es_fit *out);

#endif
