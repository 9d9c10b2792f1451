/* Small curves for drawing. Internal to results/certificate. Pure. */
#ifndef ES_CERTIFICATE_CURVES_H
#define ES_CERTIFICATE_CURVES_H

#include "procedures/judgement/outcome.h"

/* Picks at most `most` (>= 2) of the curve's points, those that a drawing by straight lines needs most;
 * points that are not finite never. Writes their indices, rising, to `picked` (room for `most`) and how many
 * to *count: 0 when there are fewer than two finite points. False when memory is refused. Times must not
 * fall. */
bool es_curve_thin(const struct es_curve *curve, size_t most, size_t *picked, size_t *count);

#endif
