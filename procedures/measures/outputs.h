/* What descriptors and evaluations of measures share: starting and refusing outputs, the usual demands on the
 * sampling rate. Pure. */
#ifndef ES_MEASURES_OUTPUTS_H
#define ES_MEASURES_OUTPUTS_H

#include "procedures/measures/budget.h"
#include "procedures/measures/measure.h"

/* Starts `count` outputs; those of dimension ES_DIM_COUNT get `of_channel`; all name `role`. */
void es_outputs_start(const struct es_measure_output *rows, size_t count, enum es_dimension of_channel,
                      enum es_role role, struct es_measured *out);

/* Refuses outputs first .. end - 1 with one sentence. */
void es_outputs_refuse(struct es_measured *out, size_t first, size_t end, const char *format, ...)
    ES_PRINTF(4, 5);

/* Samples that outputs first .. end - 1 came from. */
void es_outputs_from(struct es_measured *out, size_t first, size_t end, size_t sample, size_t last_sample);

/* Dimension of a role's series in the trace; of the role where it was not recorded. NULL allowed. */
enum es_dimension es_channel_dimension(const struct es_trace *trace, enum es_role role);

/* Slot rate_needed of measures whose outputs do not depend on the rate: 0. */
double es_rate_any(const void *settings, size_t output, double tolerance);

/* Rate, Hz, at which a time can be told to a twentieth of `tolerance` (s); 0 where there is none. */
double es_rate_of_time(double tolerance);

/* Standard uncertainty of one level of a channel to be expected beforehand; offset_share as in
 * es_channel_terms, gain on `reading`. NAN without the channel. */
double es_expected_level_u(const struct es_channel_uncertainty *u, double offset_share, double reading);

extern const char *const es_no_facts[]; /* {NULL} */

#endif
