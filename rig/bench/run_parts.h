/* Parts of one run; inside of rig/bench only. */
#ifndef ES_BENCH_RUN_PARTS_H
#define ES_BENCH_RUN_PARTS_H

#include "procedures/engine/execute.h"
#include "procedures/judgement/type_sheet.h"
#include "rig/bench/journal.h"
#include "rig/bench/run.h"

#define ES_RUN_FACTS 72

struct es_run {
    const struct es_run_order *order;
    const struct es_site *site;
    const struct es_run_places *places;
    const struct es_run_watch *watch;
    struct es_outcome *outcome;
    struct es_type *type;
    struct es_plan *plan;
    struct es_station_view view;
    struct es_fact facts[ES_RUN_FACTS];
    size_t fact_count;
    bool needed[ES_ROLE_COUNT];
    struct es_reading before[ES_ROLE_COUNT]; /* as the run began */
    struct es_journal *journal;
    char run[64];
    bool begun;     /* the site was begun: the journal holds something */
    es_time began;  /* port time */
    es_time wall_0; /* ns since 1970 of `began` when places->now is given; -1: the clock's */
};

/* Loads and checks everything; faults in findings. On failure everything is freed again. */
enum es_status es_run_prepare(struct es_run *r, struct es_findings *findings,
                              struct es_error *err) ES_MUST_CHECK;
void es_run_unprepare(struct es_run *r);

/* Time of day, RFC 3339 UTC with milliseconds, now. */
void es_run_time_of_day(const struct es_run *r, char out[static 32]);

/* Fills the parts of the outcome that are known from order, bench and plan; and, after the run, instruments
 * and surroundings. */
enum es_status es_run_describe(struct es_run *r, struct es_error *err) ES_MUST_CHECK;
enum es_status es_run_describe_end(struct es_run *r, struct es_error *err) ES_MUST_CHECK;

/* strdup; NULL stays NULL. False: no memory. */
bool es_run_copy(char **target, const char *text);

struct es_run_text {
    char **target;
    const char *text;
};
bool es_run_copy_all(const struct es_run_text *texts, size_t count);
#define ES_RUN_COPY_ALL(texts) es_run_copy_all(texts, sizeof(texts) / sizeof((texts)[0]))

/* The channels whose calibration has run out (or that have none) among those that the run needs; calls back
 * for each. */
void es_run_overdue(const struct es_run *r,
                    void (*found)(void *self, const struct es_bench_channel *c, const char *why), void *self);

#endif
