/* A study's results for people and for programs. Nothing in them depends on the machine, the time of day or
 * the number of threads. */
#ifndef ES_STUDY_REPORT_H
#define ES_STUDY_REPORT_H

#include <stdio.h>

#include "rig/base/text.h"
#include "rig/study/learn.h"
#include "rig/study/summary.h"

/* `naming` NULL: no table was given. */
enum es_status es_study_report_table(const struct es_study *study, const struct es_study_summary *summary,
                                     const struct es_study_naming *naming, size_t width, bool colour,
                                     FILE *to, struct es_error *err) ES_MUST_CHECK;
/* One JSON object, format "study/1" (docs/schema/study-1.schema.json). */
enum es_status es_study_report_json(const struct es_study *study, const struct es_study_summary *summary,
                                    const struct es_study_naming *naming, struct es_text *out,
                                    struct es_error *err) ES_MUST_CHECK;
/* One row a unit: what it was and what it came to. */
void es_study_units_csv(const struct es_study *study, FILE *to);

#endif
