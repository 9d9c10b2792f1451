/* Runs a test plan through a port, step by step, and fills an outcome. No thread, no I/O, no clock of its
 * own: time and world come through the port only. */
#ifndef ES_ENGINE_EXECUTE_H
#define ES_ENGINE_EXECUTE_H

#include "procedures/engine/check.h"
#include "procedures/engine/port.h"
#include "procedures/judgement/outcome.h"

/* How long a caution waits for a person, s. */
#define ES_QUESTION_TIMEOUT 300.0

struct es_execute_options {
    const char *person; /* who runs it, or who confirmed beforehand; required */
    bool unattended;    /* cautions are taken as confirmed by `person` and recorded so; not asked */
    bool ignore_gates;
    const struct es_station_view *view; /* station, as in check; NULL: only port->has_role is known */
    struct es_facts facts;              /* bench, ambient; type-sheet quantities are added by the engine */
    uint64_t seed;      /* of values whose distribution is drawn (procedures/measures/propagate.h) */
    size_t most_trials; /* of each of them; 0: as many as it takes */
};

/* What the caller keeps or knows. Any pointer may be NULL. Called on the run's thread. */
struct es_execute_keep {
    void *self;
    /* A finished recording, raw, before it is measured. The trace stays the engine's. An error ends the run.
     */
    enum es_status (*trace)(void *self, const char *procedure, const struct es_trace *trace,
                            struct es_error *err);
    /* Each judged line as soon as it is known. */
    void (*line)(void *self, const struct es_line *line);
    /* Time of day, RFC 3339 UTC with milliseconds. NULL: times of day are left out. */
    void (*time_of_day)(void *self, char out[static 32]);
};

/* Appends procedures, lines, confirmations and curves to `outcome`, and sets completed, ended_because (when
 * not completed), attended, person and verdict. Checks nothing that es_plan_check has proved: call that
 * first.
 * ES_OK: every procedure was run or skipped with its reason; the outcome is complete.
 * Otherwise: the port (or keep) said that the run must end, or the bench proved slower than the longest
 * duration allows; nothing was written to the bench afterwards, running recordings were stopped and kept, and
 * the outcome holds what there was, completed = false, ended_because = the reason. The runtime makes the
 * bench safe in both cases. */
enum es_status es_plan_execute(const struct es_plan *plan, const struct es_type *type,
                               const struct es_port *port, const struct es_execute_options *options,
                               const struct es_execute_keep *keep, struct es_outcome *outcome,
                               struct es_error *err) ES_MUST_CHECK;

/* At most this many points over all curves of an outcome. */
#define ES_CURVE_POINTS 600

#endif
