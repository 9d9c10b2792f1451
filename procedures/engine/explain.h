/* A procedure or plan as the sheet that a person would pin to the wall: plain text, 78 columns. */
#ifndef ES_ENGINE_EXPLAIN_H
#define ES_ENGINE_EXPLAIN_H

#include "procedures/engine/check.h"
#include "procedures/engine/plan.h"

/* With a type sheet, named quantities and limits are given with their values. `type` may be NULL. A failing
 * write to `to` is ES_IO. */
enum es_status es_explain_procedure(const struct es_procedure *procedure, const struct es_type *type,
                                    FILE *to, struct es_error *err) ES_MUST_CHECK;
enum es_status es_explain_plan(const struct es_plan *plan, const struct es_type *type, FILE *to,
                               struct es_error *err) ES_MUST_CHECK;

/* Reads the file (procedure or plan) and explains it. Faults of the file go to `findings`. */
enum es_status es_explain_file(const char *path, const struct es_type *type, struct es_findings *findings,
                               FILE *to, struct es_error *err) ES_MUST_CHECK;

/* One step as a sentence without number ("Raise the supply pressure to 4.0 bar at 0.5 bar/s."); always
 * terminated. Returns the length needed. */
size_t es_explain_step(const struct es_step *step, const struct es_type *type, char *out, size_t size);

#endif
