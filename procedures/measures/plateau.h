/* The level of a stretch of samples that should be constant, and what is known of it.
 * Noise is taken from the samples, autocorrelation counted (numeric/autocorrelation.h); calibration from the
 * channel. Pure. */
#ifndef ES_MEASURES_PLATEAU_H
#define ES_MEASURES_PLATEAU_H

#include "procedures/measures/budget.h"
#include "procedures/measures/samples.h"
#include "procedures/measures/trace.h"

struct es_plateau {
    size_t n;
    double mean;
    double s;           /* standard deviation of one reading about the line through them */
    double neighbours;  /* the same from the differences of neighbours alone (von Neumann) */
    double u_mean, dof; /* of the mean, noise only, with effective sample size */
    double drift;       /* unit/s: slope over the stretch */
    double u_drift;
    double length;    /* s */
    double inflation; /* of the mean's variance by correlation, >= 1 */
};

/* False when n < 3 or out of memory. Time stamps increase or repeat. */
bool es_plateau_of(const double *t, const double *y, size_t n, struct es_plateau *out);

/* Of all the samples; quicker after es_samples_take_level. */
bool es_plateau_of_samples(const struct es_samples *s, struct es_plateau *out);

/* Terms that repeat: noise of the mean, resolution. `factor` is the sensitivity. */
void es_plateau_noise(struct es_budget *b, const struct es_plateau *p, const struct es_channel_uncertainty *u,
                      double factor);

/* Common terms: offset (times `offset_share`: 0 where two readings of one channel are subtracted) and gain
 * on `reading`; and the channel's stated repeatability. */
void es_channel_terms(struct es_budget *b, const struct es_channel_uncertainty *u, double offset_share,
                      double reading, double factor);

/* Movement over the stretch that noise does not explain, >= 0; 0 unless it stands out by 2.5 standard
 * uncertainties. */
double es_plateau_movement(const struct es_plateau *p);

#endif
