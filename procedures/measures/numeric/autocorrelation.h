/* How much less than n independent readings a run of autocorrelated ones is worth.
 * Residuals of recordings of real air are correlated (lag 1: 0.4 to 0.5), and the plain standard error is
 * then too small by a factor of 1.6 to 2.4. Pure. */
#ifndef ES_MEASURES_NUMERIC_AUTOCORRELATION_H
#define ES_MEASURES_NUMERIC_AUTOCORRELATION_H

#include <stdbool.h>
#include <stddef.h>

#include "procedures/measures/numeric/passes.h"

struct es_correlation {
    double inflation; /* of the variance of a mean, >= 1: 1 + 2 sum of autocorrelations */
    double effective; /* n / inflation */
};

/* `residuals` of a fit with `p` coefficients, evenly spaced in time, n > p. The sum over lags ends where
 * the sum of a pair of neighbouring autocorrelations is no longer positive (initial positive sequence, Geyer
 * 1992); each autocorrelation is first corrected for what fitting p coefficients took out of it. */
struct es_correlation es_correlation_of(const double *residuals, size_t n, size_t p);

/* The same for the residuals of a line through samples, whose products it adds to the line. False when out of
 * memory. */
bool es_correlation_about(const double *t, const double *y, size_t n, struct es_line *line,
                          struct es_correlation *out);

#endif
