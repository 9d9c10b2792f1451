/* Sweeps of very many readings. All figures but the dropouts depend on nothing finer than the means of short
 * blocks of them, so these are paired and judged; then every single reading is held against its leg's course,
 * and where one is odd the readings themselves take the place of the blocks' means. Pure. */
#ifndef ES_MEASURES_SWEEP_DENSE_H
#define ES_MEASURES_SWEEP_DENSE_H

#include "procedures/measures/sweep_legs.h"

#define ES_SWEEP_DENSE 40000 /* readings of the sensor above which blocks are taken */

struct es_sweep_dense {
    struct es_series angle, sensor;   /* means of blocks; what is not good in a block makes it so */
    const struct es_series *readings; /* that `sensor` is of; borrowed */
    bool good;                        /* all of these */
    double per_block;                 /* readings in a block */
};

/* es_sweep_dense_free either way. `text` gets the reason when a series may not be used. */
enum es_status es_sweep_thin(const struct es_series *angle, const struct es_series *sensor,
                             struct es_sweep_dense *out, char text[static 160],
                             struct es_error *err) ES_MUST_CHECK;
void es_sweep_dense_free(struct es_sweep_dense *d);

/* After es_sweep_find_odd on the blocks with the same range and deviation: marks single readings, puts them
 * into the sweep where a block or one beside it holds an odd one, and sets interval and sample_angle to those
 * of readings. `noise` becomes that of one reading; `text` as there. */
enum es_status es_sweep_refine(struct es_sweep *s, const struct es_sweep_dense *d, double low, double high,
                               double deviation, double *noise, char text[static 160],
                               struct es_error *err) ES_MUST_CHECK;

#endif
