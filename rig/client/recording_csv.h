/* A recording as CSV, as "endstop measure" reads it back: a first column "t/s", and a column a series with
 * its unit; a cell is empty where that series has no good sample at that time. */
#ifndef ES_CLIENT_RECORDING_CSV_H
#define ES_CLIENT_RECORDING_CSV_H

#include <stdio.h>

#include "procedures/measures/trace.h"
#include "rig/base/error.h"

enum es_status es_recording_csv(const struct es_trace *trace, FILE *to, struct es_error *err) ES_MUST_CHECK;

#endif
