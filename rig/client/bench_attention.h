/* What of a bench needs attention, worst first. */
#ifndef ES_CLIENT_BENCH_ATTENTION_H
#define ES_CLIENT_BENCH_ATTENTION_H

#include <cjson/cJSON.h>

#include "rig/client/verb.h"

/* Good, or an output that was never written. */
bool es_channel_is_good(const cJSON *channel);

/* Prints the list, or one line that says that there is nothing. `today`: a date or a time of day. */
enum es_status es_bench_attention_print(const cJSON *root, const struct es_screen *screen, const char *today,
                                        FILE *to, struct es_error *err) ES_MUST_CHECK;

/* How much is not well. A guard that is open, an emergency stop that is pressed and a calibration that is due
 * within 30 days need attention but are no faults. */
int es_bench_attention_faults(const cJSON *root);

#endif
