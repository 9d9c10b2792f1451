/* The bench as a person wants to see it: what needs attention, then each station's channels, then buses and
 * instruments. Reads the daemon's reply to "bench" (docs/daemon-protocol.md). */
#ifndef ES_CLIENT_BENCH_VIEW_H
#define ES_CLIENT_BENCH_VIEW_H

#include <cjson/cJSON.h>

#include "rig/client/verb.h"

/* `today`: "2026-03-01" or a time of that day, for calibrations that will be due. */
enum es_status es_bench_view_print(const cJSON *root, const struct es_screen *screen, const char *today,
                                   FILE *to, struct es_error *err) ES_MUST_CHECK;

/* Decimals that a channel's resolution (in its unit) bears. */
int es_channel_decimals(double resolution);

#endif
