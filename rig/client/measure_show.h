/* What "endstop measure" prints: what it took from the recordings, and the values as table, CSV or JSON. */
#ifndef ES_CLIENT_MEASURE_SHOW_H
#define ES_CLIENT_MEASURE_SHOW_H

#include "procedures/measures/measure.h"
#include "rig/client/measure_order.h"
#include "rig/client/verb.h"

/* What was taken from the file, so that a column that was left out is noticed. */
void es_measure_show_taken(const struct es_screen *screen, const char *name, const struct es_trace *trace);

enum es_status es_measure_show_table(const struct es_screen *screen, const struct es_measured *values,
                                     size_t count, struct es_error *err) ES_MUST_CHECK;
void es_measure_show_csv(const struct es_measured *values, size_t count);
enum es_status es_measure_show_json(const struct es_measure *measure, const struct es_measured *values,
                                    size_t count, struct es_error *err) ES_MUST_CHECK;

/* Where a value is missing: the channels, facts and recordings that the measure takes too and that were not
 * given, on standard error. `traces` by slot, NULL where not given. */
void es_measure_show_not_given(const struct es_screen *screen, const struct es_measure_order *order,
                               const struct es_trace *const *traces);

#endif
