/* Where the shaft stood at the turns of a sweep, and so how far it was swept. The furthest single reading is
 * further by noise; the mean of what was read about a turn is not. Pure. */
#ifndef ES_MEASURES_SWEEP_TURNS_H
#define ES_MEASURES_SWEEP_TURNS_H

#include "procedures/measures/sweep_legs.h"

struct es_sweep_end {
    double at, u; /* rad; u: noise and steps of the reading */
};

struct es_sweep_turns {
    struct es_sweep_end common[2]; /* low, high: reached at every turn there */
    struct es_sweep_end most[2];   /* the furthest reached */
};

/* `noise`: rad, of one reading of `angle`, > 0. s->leg_count > 0. Turns are those between two legs; where the
 * recording begins or ends the shaft need not have been at one, and that counts only where there is no other.
 * Turns that differ by no more than noise are taken for one place. */
void es_sweep_turns_of(const struct es_sweep *s, const struct es_series *angle, double noise,
                       struct es_sweep_turns *out);

#endif
