/* The largest of many noisy figures lies above the truth by what noise adds to the largest. Pure. */
#ifndef ES_MEASURES_LARGEST_H
#define ES_MEASURES_LARGEST_H

#include <stddef.h>

/* By how much the largest of `many` readings of one value lies above it, in standard deviations (Blom 1958,
 * from memory). 0 for one. */
double es_excess(size_t many);

/* What the largest of `many` noisy readings of 0 exceeds in 5 cases of 100 at most (Bonferroni's inequality),
 * in standard deviations. */
double es_seldom_exceeded(double many);

/* What noise alone would have given is taken off in squares, and half of the difference kept as uncertainty.
 * For deviations that may have either sign. `u`: noise of one of them; *doubt: standard uncertainty of what
 * is returned, >= 0. */
double es_without_noise(double largest, double u, size_t many, double *doubt);

/* The largest of figures of about the same size: those that could have been it decide by how much noise lifts
 * it. >= 0. */
double es_without_excess(const double *figures, size_t n, double largest, double u, double *doubt);

/* By how much the larger of two noisy readings lies above the larger of what they are readings of, where
 * those are as far `apart` as the readings (Clark 1961, from memory); 0.56 u at most. u: noise of each, > 0.
 * Subtracted, the noise of one is left. */
double es_excess_of_two(double apart, double u);

#endif
