/* Where a noisy curve crosses a level, and how high its peak is: from a quadratic fitted to the
 * surroundings, never from one sample.
 *
 * How wide the surroundings may be is found from the data: the widest whose estimate still agrees with all
 * narrower ones (intersection of confidence intervals, Goldenshluger and Nemirovski 1997), so that a kink
 * nearby makes it narrow and noise makes it wide. Time shall not run backwards. Pure. */
#ifndef ES_MEASURES_LOCAL_FIT_H
#define ES_MEASURES_LOCAL_FIT_H

#include <stdbool.h>
#include <stddef.h>

#include "procedures/measures/samples.h"

struct es_curve_view {
    const double *t, *y;
    size_t n;
    double s;         /* noise of one sample, from elsewhere (plateaus); 0: unknown or none */
    double inflation; /* of variances by repeated values, >= 1 */
};

struct es_local {
    double at, u_at;       /* s: time of crossing or peak; noise only */
    double value, u_value; /* at the peak */
    double slope;          /* unit/s at the crossing */
    double half_width;     /* s: of the surroundings used */
};

/* Where more than 1,000 samples lie between `from` and `to`, the rise whose shape counts, means over 500
 * equal stretches of it take the place of all samples (shape error 1 / (24 x 500^2) of the rise): *means, to
 * be freed, and *view. Noise goes down by as many as are independent, steps of the reading as far as `noise`,
 * of one reading, dithers them. False, and nothing is changed, where the samples are fewer or memory lacks.
 */
bool es_curve_by_means(const struct es_samples *s, double from, double to, double noise, double resolution,
                       struct es_curve_view *view, struct es_samples *means);

/* The same, with the means of begin .. end alone: for who looks nowhere else. */
bool es_curve_by_means_between(const struct es_samples *s, double from, double to, double begin, double end,
                               double noise, double resolution, struct es_curve_view *view,
                               struct es_samples *means);

/* The crossing of `level` nearest to `guess`, in surroundings of at most `half_width`. False when no fit is
 * possible or it does not cross there. */
bool es_local_crossing(const struct es_curve_view *c, double level, double guess, double half_width,
                       struct es_local *out);

/* Where no parabola fits because the curve goes in steps finer than noise or sampling can draw: the first
 * passage itself (arguments as in es_first_passage), known to one interval between samples. */
bool es_local_passage(const struct es_curve_view *c, double level, int sign, double from, size_t m,
                      struct es_local *out);

/* Where the curve pauses near the level (stick and slip) a parabola's crossing means little. True when, for
 * the crossing `l` of a level known to u_level, the time from which a local mean may have passed the level to
 * that from which it surely has is longer than a straight curve of the same slope would take: it passes about
 * the one or the other end of that time. *at its middle, *u its standard uncertainty (JCGM 101 6.4.6: arc
 * sine, half-width / sqrt 2). sign and `from` as in es_first_passage. */
bool es_local_pause(const struct es_curve_view *c, const struct es_local *l, double u_level, int sign,
                    double from, double *at, double *half_width);

/* The extreme near `guess`; `sign` +1 for a maximum, -1 for a minimum. */
bool es_local_peak(const struct es_curve_view *c, int sign, double guess, double half_width,
                   struct es_local *out);

/* First time after `from` at which the mean of 2 m + 1 samples has passed `level` upwards; NAN when never.
 * y rising is meant: give `sign` -1 for a falling curve. */
double es_first_passage(const struct es_curve_view *c, double level, int sign, double from, size_t m);

#endif
