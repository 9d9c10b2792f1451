/* Static figures of a swept sensor at a number of angles: mean curve, hysteresis, repeatability, and the
 * delay between reference and sensor, told apart from hysteresis by the speeds.
 *
 * At speed v a sensor that is late by d reads f(angle - v d): between the directions that looks like a
 * hysteresis of 2 v d. Real hysteresis does not depend on v. With two speeds both are found:
 *     reading = f(angle) -+ h/2 - v d f'(angle),   v signed, - while rising.
 * Pure. */
#ifndef ES_MEASURES_SWEEP_CURVE_H
#define ES_MEASURES_SWEEP_CURVE_H

#include "procedures/measures/sweep_legs.h"

#define ES_SWEEP_MAX_POINTS 101
#define ES_SWEEP_MAX_PAIRS  4096
#define ES_SWEEP_LEAST_NEAR 4 /* readings of one leg near an angle */

struct es_sweep_delay {
    bool known; /* the speeds differ enough */
    double value, u;
    double hysteresis; /* rad, mean over the range, without the delay's share; > 0: the sensor hangs behind */
    double u_hysteresis;
    double speed_ratio; /* fastest over slowest leg that has enough readings */
};

/* One angle: reading of each direction, over all legs. */
struct es_sweep_static {
    double angle;
    double up, down;     /* mean over the legs */
    double u_up, u_down; /* noise of these means */
    double range;        /* largest difference between legs of one direction */
    double u_range;      /* noise of that difference */
    size_t ups, downs;   /* legs that gave a value */
};

struct es_sweep_curve {
    size_t count;
    struct es_sweep_static at[ES_SWEEP_MAX_POINTS];
    double slope; /* ratio per rad, over all */
    double noise; /* of one reading about the local line */
    size_t pairs; /* of legs of one direction at one angle, over all angles; no more than there is room for */
    double u_pair[ES_SWEEP_MAX_PAIRS]; /* noise of the difference of each */
};

/* Slope of the straight line through all points that are good and not odd, ratio per rad; NAN when there are
 * too few. `work` holds 2 s->n. */
double es_sweep_slope(const struct es_sweep *s, double low, double high, double *work);

/* Delay by medians over short stretches, so that dropouts do not matter. Needs both directions. */
enum es_status es_sweep_delay_of(const struct es_sweep *s, double low, double high, size_t count,
                                 struct es_sweep_delay *out, struct es_error *err) ES_MUST_CHECK;

/* The static curve from all points that are good and not odd. */
enum es_status es_sweep_curve_of(const struct es_sweep *s, double low, double high, size_t count,
                                 struct es_sweep_curve *out, struct es_error *err) ES_MUST_CHECK;

#endif
