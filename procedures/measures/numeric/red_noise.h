/* Noise that lasts longer than one reading, as a first-order instrument passes it on (autoregressive of first
 * order): what readings tell of how long it lasts and how large it is, and what a mean of others is then
 * worth.
 *
 * Where it lasts for a tenth of the readings and more, a sum of their autocorrelations, each too low by what
 * fitting took out, misses most of it: 95 % intervals of a mean hold in 74 % then. The exact likelihood of
 * the readings about a line (the line integrated out: restricted likelihood), for lag-1 correlations evenly
 * spread between 0 and 1 (Zellner 1971, ch. 7, from memory), does not: 94 to 97 % down to readings that span
 * four correlation times (docs/measures.md). It needs only sums of the readings. Pure. */
#ifndef ES_MEASURES_NUMERIC_RED_NOISE_H
#define ES_MEASURES_NUMERIC_RED_NOISE_H

#include <stdbool.h>
#include <stddef.h>

#define ES_RED_GRID 32

/* Residuals of a line (of a level, where it is not `sloped`) through n readings that are evenly spaced. All
 * stretches of one instrument in one recording say it together. */
struct es_red_stretch {
    size_t n;
    bool sloped;
    double square;      /* sum of r^2 */
    double steps;       /* sum of (r[i] - r[i - 1])^2 */
    double first, last; /* residuals */
};

/* How likely each correlation time is, and the standard deviation of a reading then. */
struct es_red_noise {
    double time[ES_RED_GRID]; /* intervals: correlation exp(-1 / time) between neighbours */
    double weight[ES_RED_GRID], sd[ES_RED_GRID];
    double dof; /* of each sd */
};

/* False when fewer than 8 readings, or they all are the same. */
bool es_red_noise_of(const struct es_red_stretch *stretches, size_t count, struct es_red_noise *out);

/* Standard uncertainty and degrees of freedom of a mean over n readings in a row: of Student's t that has the
 * same 68 % and 95 %. */
void es_red_mean(const struct es_red_noise *noise, size_t n, double *u, double *dof);

/* The middle of what is likely: correlation time, intervals, and standard deviation of one reading. */
void es_red_typical(const struct es_red_noise *noise, double *time, double *sd);

/* Variance of the mean of n readings, over that of one. time >= 0. */
double es_red_share(double time, size_t n);

#endif
