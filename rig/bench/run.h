/* One run of a test plan on one unit at one station: prepares, confirms cautions, executes the plan through
 * the site's port, keeps the journal, measures, judges, reaches the safe state at every end, fills the
 * outcome. Called on a thread of the caller's; everything it needs is given; no global state. */
#ifndef ES_BENCH_RUN_H
#define ES_BENCH_RUN_H

#include "procedures/engine/port.h"
#include "procedures/judgement/outcome.h"
#include "rig/base/findings.h"
#include "rig/bench/bench.h"
#include "rig/bench/site.h"

struct es_run_order {
    const char *plan_path; /* plan document; its procedures are found beside it */
    const char *type_path; /* type sheet */
    const char *serial, *tag, *customer, *reason, *state, *parts_replaced;
    const char *person;         /* who runs it */
    bool unattended;            /* cautions confirmed beforehand by `person` */
    bool ignore_gates;          /* run what a failed procedure would gate */
    const char *overdue_reason; /* certify in spite of an overdue calibration: why; NULL refuses */
    uint64_t seed;              /* of values whose distribution is drawn */
    size_t most_trials;         /* of each of them; 0: as many as it takes */
};

/* What the station tells the outside while running: called on the run's thread, must not block. */
struct es_run_watch {
    void *self;
    void (*event)(void *self, const struct es_event *event);
    void (*values)(void *self,
                   const struct es_reading *by_role); /* ES_ROLE_COUNT entries, some 10 times a second */
    /* Blocks until answered, cancelled or timed out; bench values go on. While it blocks, `give_up` is asked
     * often (at least every 0.1 s): once it is true (stop, interlock) it must return ES_CANCELLED. */
    enum es_status (*ask)(void *self, const struct es_question *q, struct es_answer *a,
                          bool (*give_up)(const void *site), const void *site, struct es_error *err);
};

/* Where a run leaves its files. */
struct es_run_places {
    const char *journals;   /* folder; NULL: no journal (virtual time, studies) */
    const char *recordings; /* folder for compressed recordings named by their digest; NULL: none kept */
    const char *now;        /* RFC 3339 time of day to use instead of the clock's (reproducible virtual runs);
                               NULL: the clock's */
    const char *run;        /* identity of the run; NULL: made up from time and random bytes */
};

/* Checks everything that can be checked before anything moves: plan, procedures and type sheet load, every
 * role is there, ceilings, rates, uncertainties, calibration dates. Faults go to `findings`. Moves nothing.
 */
enum es_status es_run_check(const struct es_run_order *order, const struct es_site *site,
                            const struct es_run_places *places, struct es_findings *findings,
                            struct es_error *err) ES_MUST_CHECK;

/* The run. Checks first (as above; then nothing has moved and *outcome is untouched), and after that always
 * returns ES_OK with a filled outcome: completed, or not completed with its reason. Other states after moving
 * began: ES_NO_MEMORY or ES_INTERNAL, with the bench made safe. `outcome` must be zeroed; the caller frees
 * its contents. `report` (NULL allowed) receives the last safe state's report. */
enum es_status es_run_execute(const struct es_run_order *order, const struct es_site *site,
                              const struct es_run_places *places, const struct es_run_watch *watch,
                              struct es_findings *findings, struct es_outcome *outcome,
                              struct es_safe_report *report, struct es_error *err) ES_MUST_CHECK;

/* The outcome's certificate is durable: the journal is no longer needed and goes. Until then the run is
 * listed as interrupted at the next start. ES_OK when there is no journal. */
enum es_status es_run_settle(const struct es_run_places *places, const char *run,
                             struct es_error *err) ES_MUST_CHECK;

/* ---- Runs that were interrupted (power, SIGKILL): found by their journals. ---- */

struct es_interrupted {
    char *journal; /* path */
    char *run, *plan, *type, *station, *serial, *person;
    char *began;    /* time of day */
    double covered; /* s of the run that are in the journal's durable blocks */
    bool ended;     /* the run itself had ended, but nobody settled it: its certificate may be missing */
    bool damaged;   /* the tail could not be read and was left out (normal after a crash) */
};

/* Lists the journals in `folder` that were never settled. An empty or missing folder gives none. */
enum es_status es_run_interrupted(const char *folder, struct es_interrupted **out, size_t *count,
                                  struct es_error *err) ES_MUST_CHECK;
void es_run_interrupted_free(struct es_interrupted *items, size_t count);

/* The outcome of an interrupted run: not completed, with what its journal tells, its recordings kept in
 * `recordings` (NULL: not kept). Afterwards es_run_interrupted_settle marks the journal as dealt with, so
 * that it is not listed again. */
enum es_status es_run_interrupted_outcome(const struct es_interrupted *item, const char *recordings,
                                          struct es_outcome *outcome, struct es_error *err) ES_MUST_CHECK;
enum es_status es_run_interrupted_settle(const struct es_interrupted *item,
                                         struct es_error *err) ES_MUST_CHECK;

#endif
