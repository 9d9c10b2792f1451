/* A recording as CSV, as "endstop measure" reads it back: a first column "t/s", and a column a series with
 * its unit; a cell is empty where that series has no sample at that time, "NaN" where it has one that is
 * not good. Lines before the table (csv_notes.h) hold duration and writes, so that `endstop measure` gets the
 * same numbers from the table, bit for bit, as from the recording. */
#ifndef ES_CLIENT_RECORDING_CSV_H
#define ES_CLIENT_RECORDING_CSV_H

#include <stdio.h>

#include "procedures/measures/trace.h"
#include "rig/base/error.h"

enum es_status es_recording_csv(const struct es_trace *trace, FILE *to, struct es_error *err) ES_MUST_CHECK;

#endif
