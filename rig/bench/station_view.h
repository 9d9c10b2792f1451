/* A station of the bench file as the proof of a procedure sees it. Pure, thread-safe. */
#ifndef ES_BENCH_STATION_VIEW_H
#define ES_BENCH_STATION_VIEW_H

#include "procedures/engine/check.h"
#include "rig/bench/bench.h"

/* Fills all of *view from the file alone: the facts are the station's own and borrowed from it. Ceilings,
 * safe values, rates and channel uncertainties per role. */
void es_station_view_fill(const struct es_bench *bench, const struct es_bench_station *station,
                          struct es_station_view *view);

#endif
