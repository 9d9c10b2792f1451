/* The bench as it is now, in JSON: buses, instruments, stations with their channels. Snapshots only. */
#ifndef ES_DAEMON_CONTROL_BENCH_H
#define ES_DAEMON_CONTROL_BENCH_H

#include "rig/daemon/desk.h"

/* Members "bench", "place", "virtual", "buses", "instruments" of an open object. */
void es_control_bench_json(const struct es_bench *bench, const struct es_live *live, struct es_text *out);

/* One element of "stations". */
void es_control_station_json(struct es_desk *desk, struct es_text *out);

#endif
