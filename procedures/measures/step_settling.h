/* When a response entered its band for the last time, and where its summit is. Pure. */
#ifndef ES_MEASURES_STEP_SETTLING_H
#define ES_MEASURES_STEP_SETTLING_H

#include "procedures/measures/local_fit.h"
#include "procedures/measures/samples.h"

struct es_settling_input {
    const struct es_samples *samples;
    struct es_curve_view view; /* the same samples, with their noise */
    double origin;
    double start, end_level; /* of the response */
    double u_level;          /* of end_level */
    double band;             /* ratio of the step */
    double resolution;
    double rise;      /* s, 10 % to 63 % */
    double rest_from; /* s: the steady state is taken from here; the last entry must lie before */
};

struct es_settled {
    double at, u_at;   /* s */
    double half_width; /* s: of a rectangle beside u_at */
    char reason[160];
};

/* False with a reason: band within a few steps of the reading or within the noise, or not settled. */
bool es_settling_find(const struct es_settling_input *in, struct es_settled *out);

/* Time of the highest mean over a short stretch after `from`; NAN when there are too few samples. `noise`:
 * of one sample, as share of the step; `rise` s. sign as in local_fit.h. */
double es_settling_summit(const struct es_samples *s, double noise, double from, int sign, double rise);

#endif
