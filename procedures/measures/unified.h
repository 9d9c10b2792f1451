/* Intervals for what cannot be negative and may be 0, by inversion of the test, ordered by likelihood ratio:
 * "unified approach", Feldman and Cousins, Phys. Rev. D 57, 3873 (1998), section IV B. At the boundary they
 * cover as often as they say; k u about an estimate cut off at 0 covers nearly always there. Pure. */
#ifndef ES_MEASURES_UNIFIED_H
#define ES_MEASURES_UNIFIED_H

#include <stddef.h>

#include "rig/base/error.h"

/* What was observed, x, and how it is distributed for each value theta >= 0 of the quantity. */
struct es_unified {
    /* below[i] = P(x < edge[i]) for this theta. The same edges each time, theta = 0 first. */
    void (*distribution)(void *context, const double *edge, size_t count, double theta, double *below);
    void *context;
    double least, most; /* of x: what lies outside may be left out for every theta up to top */
    double x;           /* least < x < most */
    double top;         /* largest theta that is looked at; > 0 */
    double fine;        /* x and theta are told apart to a small share of this, the noise of x */
    double coverage;    /* 0.95 */
};

struct es_unified_interval {
    double best; /* most likely theta */
    double low, high;
};

enum es_status es_unified_of(const struct es_unified *u, struct es_unified_interval *out,
                             struct es_error *err) ES_MUST_CHECK;

/* Size of the largest among `n` deviations of either sign, which were seen with noise u[i] each; `largest` is
 * the size of the largest seen, u_of_it > 0 its noise (*u, every one > 0, holds it too). The test takes one
 * deviation to be real and all others to be noise: for places on a track or legs that are alike but for one.
 * *doubt: standard uncertainty, so that value +- 1.96 *doubt reaches as far as the interval on its longer
 * side. All coherent. */
enum es_status es_unified_largest(double largest, double u_of_it, const double *u, size_t n, double *value,
                                  double *doubt, struct es_error *err) ES_MUST_CHECK;

#endif
