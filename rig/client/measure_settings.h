/* The "--set" options of "endstop measure", read by a measure's rows. */
#ifndef ES_CLIENT_MEASURE_SETTINGS_H
#define ES_CLIENT_MEASURE_SETTINGS_H

#include "procedures/measures/measure.h"
#include "rig/base/findings.h"
#include "rig/console/options.h"

/* `sets`: "SETTING=VALUE". Every fault and every setting that is missing goes to `findings`, each under the
 * option that has it, with what it takes. *document and *settings are the caller's, also on failure where
 * they are not NULL: es_fields_free with the measure's rows, free, es_document_free. */
enum es_status es_measure_settings_read(const struct es_measure *measure, const struct es_option_list *sets,
                                        struct es_document **document, void **settings,
                                        struct es_findings *findings, struct es_error *err) ES_MUST_CHECK;

#endif
