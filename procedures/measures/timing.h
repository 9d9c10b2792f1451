/* What all times read from one channel share: origin, time stamps, refresh, lag. Pure. */
#ifndef ES_MEASURES_TIMING_H
#define ES_MEASURES_TIMING_H

#include "procedures/measures/budget.h"

/* An instrument's lag is known to this share of it: half-width of a rectangle (common practice, no published
 * source). */
#define ES_LAG_KNOWN_TO 0.2

/* Adds the terms to `b` and returns by how much the channel shows everything late, s: to be taken off. A
 * value read between two refreshes is between 0 and one `refresh` old; a first-order instrument is late by
 * its lag while the signal moves steadily (taken as known to within a fifth). */
double es_timing_terms(const struct es_channel_uncertainty *u, double refresh, double u_origin,
                       struct es_budget *b);

/* The same terms as one standard uncertainty, without the origin. */
double es_timing_u(const struct es_channel_uncertainty *u);

#endif
