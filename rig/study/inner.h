/* Parts of the study; inside of rig/study only. */
#ifndef ES_STUDY_INNER_H
#define ES_STUDY_INNER_H

#include "drivers/virtual/virtual_bench.h"
#include "rig/bench/run.h"
#include "rig/bench/virtual_station.h"
#include "rig/study/study.h"

/* draw.c: fills type, fault, severity and seed of unit `index`. */
void es_study_draw(const struct es_study *study, size_t index, struct es_study_unit *unit);
/* The faults that a type's units get, in order; writes at most ES_STUDY_FAULTS_MAX. */
size_t es_study_faults(const struct es_study_order *order, const struct es_study_type *type,
                       int out[static ES_STUDY_FAULTS_MAX]);

/* shadow.c: a site that passes everything on to another one and, beside each recording, keeps what was really
 * so at the same times. Only the run's thread may use it. */
struct es_shadow;
enum es_status es_shadow_new(const struct es_site *inner, const struct es_virtual *v, struct es_shadow **out,
                             struct es_error *err) ES_MUST_CHECK;
void es_shadow_free(struct es_shadow *shadow); /* NULL allowed */
const struct es_site *es_shadow_site(struct es_shadow *shadow);
/* The true trace that belongs to a recording; NULL when there is none. */
const struct es_trace *es_shadow_trace(const struct es_shadow *shadow, const char *procedure,
                                       const char *recording);
/* False: memory ran out on the way, and traces are missing. */
bool es_shadow_whole(const struct es_shadow *shadow);

/* truth.c: the measures on the true traces; fills truth and has_truth of the unit's values. */
enum es_status es_study_truths(const struct es_study *study, const struct es_shadow *shadow,
                               const struct es_virtual *v, struct es_study_unit *unit,
                               struct es_error *err) ES_MUST_CHECK;

/* unit.c: runs a drawn unit and fills the rest of it; `outcome` NULL: the outcome is not handed out. */
enum es_status es_study_unit_run(const struct es_study *study, struct es_study_unit *unit,
                                 struct es_outcome *outcome, struct es_error *err) ES_MUST_CHECK;

#endif
