/* Two series that were not sampled together, brought to common times: the readings of the second, straight
 * between its neighbours, at the times of the first. What both share (a supply that breathes) then cancels in
 * their difference. Pure. */
#ifndef ES_MEASURES_PAIRED_H
#define ES_MEASURES_PAIRED_H

#include "procedures/measures/trace.h"
#include "rig/base/error.h"

struct es_pairs {
    double *t, *a, *b; /* t: of a */
    size_t *index;     /* in a's series */
    size_t n;
};

/* Good samples of `a` with from <= t <= to that have good neighbours of `b` around t - late, no further apart
 * than 3.5 of b's usual intervals. Fewer than `least`: text says why and n = 0. Free with es_pairs_free. */
enum es_status es_pairs_take(const struct es_series *a, const struct es_series *b, double from, double to,
                             double late, size_t least, struct es_pairs *out, char text[static 160],
                             struct es_error *err) ES_MUST_CHECK;
void es_pairs_free(struct es_pairs *p); /* leaves it empty */

#endif
