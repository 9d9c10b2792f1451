/* Largest and smallest mean over a short time. The largest of many noisy means lies above the truth by about
 * sqrt(2 ln n) of their standard deviation (Gumbel's leading term): taken off, and kept as uncertainty, as
 * far as the spread of the means is no more than their noise explains. Pure. */
#ifndef ES_MEASURES_EXTREMES_H
#define ES_MEASURES_EXTREMES_H

#include "procedures/measures/budget.h"
#include "procedures/measures/samples.h"

struct es_extreme {
    double value;
    struct es_budget noise; /* noise and resolution: repeats */
    size_t first, last;     /* samples of the series */
};

struct es_extremes {
    struct es_extreme largest, smallest;
};

/* Samples over which a mean over `over` s is taken: at least 3. */
size_t es_extremes_width(const struct es_samples *s, double over);

/* s->n > width >= 1; `resolution` as in es_channel_uncertainty. */
void es_extremes_of(const struct es_samples *s, size_t width, double resolution, struct es_extremes *out);

#endif
