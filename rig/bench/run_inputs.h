/* What it takes, beside the recordings, to derive a run's values again: the documents as they were, by
 * digest, and one document that names them and holds what was known of bench and surroundings
 * ("run-inputs/1", docs/recording-file.md). */
#ifndef ES_BENCH_RUN_INPUTS_H
#define ES_BENCH_RUN_INPUTS_H

#include "procedures/engine/remeasure.h"
#include "rig/bench/run_parts.h"

/* Keeps them in the folder of recordings, durably, and notes the digest in the outcome. Before anything
 * moves: a document that was changed since it was read is ES_REFUSED. Without such a folder nothing is kept.
 */
enum es_status es_run_keep_inputs(struct es_run *r, struct es_error *err) ES_MUST_CHECK;

/* What was kept, read back. */
struct es_run_inputs {
    struct es_document *doc;
    struct es_plan *plan;
    struct es_type *type;
    struct es_fact *facts;    /* names belong to doc */
    struct es_remeasure what; /* facts and roles; traces are the caller's to add */
};

/* From FOLDER/DIGEST.json and the documents beside it, each checked against its digest. ES_NOT_FOUND: a file
 * is missing, and which; ES_NOT_VALID: it is not what its digest says. */
enum es_status es_run_inputs_read(const char *folder, const char *digest, struct es_run_inputs *out,
                                  struct es_error *err) ES_MUST_CHECK;
void es_run_inputs_free(struct es_run_inputs *inputs);

#endif
