#include "procedures/measures/numeric/minimax_line.h"

#include <math.h>
#include <stdlib.h>

/* Indices of the hull's corners from left to right; side +1 upper, -1 lower (Andrew's monotone chain). */
static size_t hull(const double *x, const double *y, size_t n, int side, size_t *corner)
{
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        while (count >= 2) {
            size_t a = corner[count - 2], b = corner[count - 1];
            double turn = (x[b] - x[a]) * (y[i] - y[a]) - (y[b] - y[a]) * (x[i] - x[a]);
            if (side * turn < 0)
                break;
            count--;
        }
        corner[count++] = i;
    }
    return count;
}

/* Strips with an edge of `edge` on one side; keeps the narrowest. */
static void best_strip(const double *x, const double *y, const size_t *edge, size_t edges, const size_t *far,
                       size_t fars, struct es_minimax_line *best)
{
    for (size_t e = 0; e + 1 < edges; e++) {
        size_t a = edge[e], b = edge[e + 1];
        double slope = (y[b] - y[a]) / (x[b] - x[a]);
        double widest = 0;
        for (size_t f = 0; f < fars; f++) {
            double off = y[far[f]] - (y[a] + slope * (x[far[f]] - x[a]));
            if (fabs(off) > fabs(widest))
                widest = off;
        }
        if (fabs(widest) / 2 < best->deviation) {
            best->deviation = fabs(widest) / 2;
            best->slope = slope;
            best->intercept = y[a] + widest / 2 - slope * x[a];
        }
    }
}

bool es_minimax_line(const double *x, const double *y, size_t n, struct es_minimax_line *out)
{
    if (n < 2)
        return false;
    for (size_t i = 1; i < n; i++)
        if (!(x[i] > x[i - 1]))
            return false;
    size_t *corner = malloc(2 * n * sizeof *corner);
    if (!corner)
        return false;
    size_t upper = hull(x, y, n, +1, corner);
    size_t lower = hull(x, y, n, -1, corner + n);
    struct es_minimax_line best = {0, 0, INFINITY};
    best_strip(x, y, corner, upper, corner + n, lower, &best);
    best_strip(x, y, corner + n, lower, corner, upper, &best);
    free(corner);
    *out = best;
    return true;
}

static double largest_off(const double *x, const double *y, size_t n, double x0, double y0, double slope)
{
    double off = 0;
    for (size_t i = 0; i < n; i++)
        off = fmax(off, fabs(y[i] - y0 - slope * (x[i] - x0)));
    return off;
}

bool es_minimax_line_through(const double *x, const double *y, size_t n, double x0, double y0,
                             struct es_minimax_line *out)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        if (x[i] == x0)
            continue;
        double slope = (y[i] - y0) / (x[i] - x0);
        low = fmin(low, slope);
        high = fmax(high, slope);
    }
    if (!(low <= high))
        return false;
    for (int i = 0; i < 200; i++) { /* the largest deviation is convex in the slope */
        double a = low + (high - low) / 3, b = high - (high - low) / 3;
        if (largest_off(x, y, n, x0, y0, a) <= largest_off(x, y, n, x0, y0, b))
            high = b;
        else
            low = a;
    }
    double slope = low + (high - low) / 2;
    *out = (struct es_minimax_line){y0 - slope * x0, slope, largest_off(x, y, n, x0, y0, slope)};
    return true;
}
