/* How much less than n independent readings a run of autocorrelated ones is worth.
 * Residuals of recordings of real air are correlated (lag 1: 0.4 to 0.5), and the plain standard error is
 * then too small by a factor of 1.6 to 2.4. Pure. */
#ifndef ES_MEASURES_NUMERIC_AUTOCORRELATION_H
#define ES_MEASURES_NUMERIC_AUTOCORRELATION_H

#include <stdbool.h>
#include <stddef.h>

#include "procedures/measures/numeric/passes.h"

struct es_correlation {
    double inflation; /* of the variance of a mean as s^2 / n has it, >= 1 */
    double effective; /* readings: p more than the degrees of freedom of that */
};

/* `residuals` of a fit with `p` coefficients, evenly spaced in time, n > p. The sum over lags ends where
 * the sum of a pair of neighbouring autocorrelations is no longer positive (initial positive sequence, Geyer
 * 1992); each autocorrelation is first corrected for what fitting p coefficients took out of it: inflation is
 * 1 + 2 of that sum, n / inflation are effective. */
struct es_correlation es_correlation_of(const double *residuals, size_t n, size_t p);

/* The same for a level: of the residuals of a line through samples, whose products it adds to the line. Noise
 * that lasts for a good part of the readings hides from that sum: where 95 % of the mean are wider for
 * first-order noise (red_noise.h), that is taken. False when out of memory. */
bool es_correlation_about(const double *t, const double *y, size_t n, struct es_line *line,
                          struct es_correlation *out);

#endif
