/* Where a swept sensor's track ends: a stretch from an end of the sweep over which the reading stays the same
 * in both directions. Beyond it there is no sensor; without telling it apart it would look like noise. Pure.
 */
#ifndef ES_MEASURES_SWEEP_TRACK_H
#define ES_MEASURES_SWEEP_TRACK_H

#include "procedures/measures/sweep_legs.h"

struct es_sweep_track {
    double low, high;         /* rad: where the reading follows the angle; at most what every leg swept */
    bool ends_low, ends_high; /* inside the sweep */
    double u;                 /* rad: of such an end */
};

/* The whole sweep where nothing is flat, or nothing can be told for noise. */
enum es_status es_sweep_track_of(const struct es_sweep *s, struct es_sweep_track *out,
                                 struct es_error *err) ES_MUST_CHECK;

#endif
