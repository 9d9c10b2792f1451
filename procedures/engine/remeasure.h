/* Measures again what a run recorded: the same measures and the same judgement over kept recordings, without
 * a bench. Pure. */
#ifndef ES_ENGINE_REMEASURE_H
#define ES_ENGINE_REMEASURE_H

#include "procedures/engine/plan.h"
#include "procedures/judgement/outcome.h"

/* A recording that was left before its end is kept raw and never measured; this is what its trace says. */
#define ES_LEFT_EARLY "the recording was left before its end"

struct es_remeasure_trace {
    const char *procedure; /* what the plan calls it */
    struct es_trace *trace;
};

/* As the run had it. Borrowed. */
struct es_remeasure {
    struct es_facts facts; /* bench and surroundings */
    struct {
        bool fitted;
        enum es_dimension dimension;
    } roles[ES_ROLE_COUNT];
    const struct es_remeasure_trace *traces; /* in the order in which they were made */
    size_t trace_count;
    uint64_t seed; /* of the run; of a certificate without one 0 */
};

/* Appends the lines of all procedures to `outcome` (initialised by the caller). What was not recorded comes
 * out as not tested, with another reason than the run's. */
enum es_status es_plan_remeasure(const struct es_plan *plan, const struct es_type *type,
                                 const struct es_remeasure *what, struct es_outcome *outcome,
                                 struct es_error *err) ES_MUST_CHECK;

#endif
