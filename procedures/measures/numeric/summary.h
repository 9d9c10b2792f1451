/* Mean, spread and order statistics of plain arrays, accurate to the last digits that doubles allow.
 * Checked against NIST StRD univariate sets. Pure; inputs are finite; n = 0 gives NAN. */
#ifndef ES_MEASURES_NUMERIC_SUMMARY_H
#define ES_MEASURES_NUMERIC_SUMMARY_H

#include <stdbool.h>
#include <stddef.h>

#include "procedures/measures/numeric/passes.h"

/* Compensated sum. */
double es_sum(const double *y, size_t n);

/* Compensated sums of y less `about` and of its square. */
double es_sum_about(const double *y, size_t n, double about);
double es_square_about(const double *y, size_t n, double about);

/* Mean, with a second pass that takes out the rounding of the first. */
double es_mean(const double *y, size_t n);

/* Sample standard deviation (n - 1), corrected two-pass (Chan, Golub, LeVeque 1983). NAN for n < 2. */
double es_standard_deviation(const double *y, size_t n);

/* Noise from successive differences, sqrt(mean square / 2) (von Neumann): a trend drops out. n >= 2. */
double es_noise_from_differences(const double *y, size_t n);

/* Lag-1 autocorrelation as NIST StRD defines it: about the mean of all, over the sum of squares of all. */
double es_lag1_autocorrelation(const double *y, size_t n);

double es_least(const double *y, size_t n);
double es_largest(const double *y, size_t n);

/* k-th smallest (k from 0) by selection; reorders y. */
double es_select(double *y, size_t n, size_t k);

/* Median; reorders y. Even n: mean of the two in the middle. */
double es_median(double *y, size_t n);

/* Whether times, the range of whose differences is known, are evenly spaced to their rounding. n >= 2. */
bool es_are_even(const double *t, size_t n, struct es_range range);

/* Median of the differences of neighbours; `range` of them is known. n >= 2. False when out of memory. */
bool es_median_of_differences(const double *t, size_t n, struct es_range range, double *median);

#endif
