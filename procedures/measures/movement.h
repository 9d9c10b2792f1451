/* How far a signal that should be at rest moves: largest less smallest of its means over short blocks, with
 * what noise alone would show taken off. Pure. */
#ifndef ES_MEASURES_MOVEMENT_H
#define ES_MEASURES_MOVEMENT_H

#include <stddef.h>

struct es_movement {
    double range; /* >= 0, in the signal's unit */
    double u;     /* standard, noise and steps of the reading */
    double noise; /* range that noise alone would show */
};

/* n >= 20, evenly spaced as nearly as samples come; `resolution` as in es_channel_uncertainty. `many`: such
 * stretches of which the largest range is taken; what noise alone shows is 0 for all of them in 95 of 100. */
void es_movement_of(const double *y, size_t n, double resolution, size_t many, struct es_movement *out);

#endif
