/* The level of one series over a stretch in which it should rest, and how far it moved there all the same.
 * Static figures come from settled points only: a caller refuses or widens by what moved. Pure. */
#ifndef ES_MEASURES_REST_LEVEL_H
#define ES_MEASURES_REST_LEVEL_H

#include <stdbool.h>

#include "procedures/measures/plateau.h"
#include "rig/base/error.h"

struct es_rest {
    bool valid;
    char reason[160];
    struct es_plateau p;
    double moved;  /* over the stretch, where it stands out of noise, else 0: as far as it is known */
    double surely; /* at least so far, whatever the noise: what refusals go by */
    const struct es_series *series;
    size_t first, last; /* samples */
};

/* Good samples with from <= t <= to, at least 5. Other than ES_OK only without memory; NULL trace allowed. */
enum es_status es_rest_take(const struct es_trace *trace, enum es_role role, double from, double to,
                            struct es_rest *out, struct es_error *err) ES_MUST_CHECK;

/* Terms that repeat: noise of the mean, resolution, half of the movement as a rectangle, and the movement's
 * rate times what is not known of the time stamps. `factor` is the sensitivity. */
void es_rest_noise(struct es_budget *b, const struct es_rest *r, double factor);

/* Noise, resolution and movement of the level as one standard uncertainty, in the channel's unit. */
double es_rest_u(const struct es_rest *r);

#endif
