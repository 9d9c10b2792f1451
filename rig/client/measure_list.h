/* What "endstop measure --list" tells: the measures, and all that one of them takes and gives. */
#ifndef ES_CLIENT_MEASURE_LIST_H
#define ES_CLIENT_MEASURE_LIST_H

#include <stdio.h>

#include "procedures/measures/measure.h"

/* One line a measure. */
void es_measure_list_names(size_t width, FILE *to);

/* One measure: recordings, settings with what they take and their defaults, facts, outputs with their units,
 * source. */
void es_measure_list_one(const struct es_measure *measure, size_t width, FILE *to);

/* "a channel", "a time, in one of: s, ms": what a setting takes. */
void es_measure_setting_takes(const struct es_field *row, char *out, size_t size);

#endif
