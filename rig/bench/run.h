/* One run of a test plan on one unit at one station: prepares, confirms cautions, executes the plan through
 * a port, keeps the journal, measures, judges, reaches the safe state at every end, fills the outcome. */
#ifndef ES_BENCH_RUN_H
#define ES_BENCH_RUN_H

#include "procedures/engine/port.h"
#include "procedures/judgement/outcome.h"
#include "rig/bench/bench.h"

struct es_run_order {
    const char *plan_path; /* plan document; its procedures are found beside it */
    const char *type_path; /* type sheet */
    const char *serial, *tag, *customer, *reason, *state, *parts_replaced;
    const char *person;         /* who runs it */
    bool unattended;            /* cautions confirmed beforehand by `person` */
    bool ignore_gates;          /* run what a failed procedure would gate */
    const char *overdue_reason; /* certify in spite of an overdue calibration: why; NULL refuses */
    uint64_t seed;
};

/* What the station tells the outside while running: called on the run's thread, must not block. */
struct es_run_watch {
    void *self;
    void (*event)(void *self, const struct es_event *event);
    void (*values)(void *self,
                   const struct es_reading *by_role); /* ES_ROLE_COUNT entries, some 10 times a second */
    /* Blocks until answered, cancelled or timed out; bench values go on. */
    enum es_status (*ask)(void *self, const struct es_question *q, struct es_answer *a, struct es_error *err);
};

#endif
