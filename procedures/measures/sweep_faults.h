/* Faults along a swept sensor's track: dropouts, reversals, roughness, and the range that is free of them.
 * Pure. */
#ifndef ES_MEASURES_SWEEP_FAULTS_H
#define ES_MEASURES_SWEEP_FAULTS_H

#include "procedures/measures/sweep_legs.h"

#define ES_SWEEP_MAX_DROPOUTS 256
#define ES_SWEEP_BINS         100 /* of 1 % of the range */

/* Seen in several legs, the slow ones count more: weights 1 / speed^2. */
struct es_sweep_dropout {
    double from, to;                          /* rad: of both directions together */
    double width;                             /* rad: mean over the legs that showed it */
    size_t legs;                              /* that showed it */
    size_t point;                             /* one of its samples */
    double weight[2], sum_from[2], sum_to[2]; /* by direction */
};

struct es_sweep_faults {
    size_t dropout_count;
    struct es_sweep_dropout dropouts[ES_SWEEP_MAX_DROPOUTS];
    double noise;       /* of one reading about its smooth surroundings */
    size_t reversals;   /* places where the mean curve runs backwards */
    double roughness;   /* largest departure of 1 % of the range from the parabola through its surroundings */
    double u_roughness; /* noise of it */
    size_t rough_count; /* departures that it is the largest of, and their noise */
    double u_rough[ES_SWEEP_BINS];
    double usable_from, usable_to; /* rad: widest stretch without fault, reading within its bounds */
};

/* Marks the points that are not where their surroundings are by more than `deviation` (in reading), or not
 * good. `text` gets the reason when noise hides such a deviation. */
enum es_status es_sweep_find_odd(struct es_sweep *s, double low, double high, double deviation, double *noise,
                                 char text[static 160], struct es_error *err) ES_MUST_CHECK;

/* `text` gets the reason when noise hides a deviation, else nothing. */
void es_sweep_judge_noise(double noise, double deviation, char text[static 160]);

/* Reading of a leg's smooth course over low .. high, as es_sweep_find_odd left it. */
double es_sweep_course_at(const struct es_sweep_leg *leg, double low, double high, double angle);

/* Dropouts from the marked points, then the rest from all others. `noise`: of one reading about its local
 * course (es_sweep_curve.noise); where it is not known, out->noise, of which the bend of the track is part.
 */
enum es_status es_sweep_faults_of(const struct es_sweep *s, double low, double high, double noise,
                                  double resolution, double reading_low, double reading_high,
                                  struct es_sweep_faults *out, struct es_error *err) ES_MUST_CHECK;

#endif
