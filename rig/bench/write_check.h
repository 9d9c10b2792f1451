/* What every write must pass before it reaches a bus, whoever asks. Pure. */
#ifndef ES_BENCH_WRITE_CHECK_H
#define ES_BENCH_WRITE_CHECK_H

#include "rig/bench/bench.h"

/* ES_OK with the raw number to send; ES_NOT_FOUND: no such output; ES_RANGE: beyond a ceiling, not a state,
 * not finite, outside the channel's table. The text names the ceiling. */
enum es_status es_write_check(const struct es_bench_station *station, enum es_role role, double value,
                              double *raw, struct es_error *err) ES_MUST_CHECK;

/* The next value on the way from `from` to `to` when `elapsed` s may have passed since the last write, by the
 * role's slew limit; `to` itself without one. */
double es_write_slew(const struct es_bench_station *station, enum es_role role, double from, double to,
                     double elapsed);

#endif
