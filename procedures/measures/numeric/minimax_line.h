/* The straight line whose largest deviation from the points is least (Chebyshev, minimax): "independent"
 * linearity. Exact, by the convex hull: the best strip has one edge of the hull on one side and one corner
 * on the other. */
#ifndef ES_MEASURES_NUMERIC_MINIMAX_LINE_H
#define ES_MEASURES_NUMERIC_MINIMAX_LINE_H

#include <stdbool.h>
#include <stddef.h>

struct es_minimax_line {
    double intercept, slope;
    double deviation; /* largest |y - line| */
};

/* x must be strictly increasing, n >= 2. False otherwise, or when out of memory. */
bool es_minimax_line(const double *x, const double *y, size_t n, struct es_minimax_line *out);

/* The line through (x0, y0) with the least largest deviation: "zero-based" linearity. x > x0 elsewhere. */
bool es_minimax_line_through(const double *x, const double *y, size_t n, double x0, double y0,
                             struct es_minimax_line *out);

#endif
