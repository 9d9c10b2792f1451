/* Small curves for drawing. Internal to results/certificate. Pure. */
#ifndef ES_CERTIFICATE_CURVES_H
#define ES_CERTIFICATE_CURVES_H

#include "procedures/judgement/outcome.h"

/* Picks at most `most` (>= 4) of the curve's points so that its extremes and ends stay: the lowest and the
 * highest of equal stretches of time. Writes their indices, rising, to `picked` (room for `most`); returns
 * how many. */
size_t es_curve_thin(const struct es_curve *curve, size_t most, size_t *picked);

#endif
