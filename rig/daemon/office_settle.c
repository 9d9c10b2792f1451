/* Runs that nobody closed: after a crash, a power cut. */
#include <stdlib.h>

#include "rig/base/clock.h"
#include "rig/base/text.h"
#include "rig/bench/run.h"
#include "rig/daemon/office_inner.h"

/* One journal of a run that was never closed: its record, then the journal's mark. */
static enum es_status settle_journal(struct es_office *o, const struct es_interrupted *item,
                                     const char *recordings, struct es_error *err)
{
    struct es_outcome outcome = {0};
    char number[ES_STORE_NUMBER_MAX];
    enum es_status s = es_run_interrupted_outcome(item, recordings, &outcome, err);
    if (s == ES_OK)
        s = es_office_issue_locked(o, &outcome, &(struct es_office_order){.serial = outcome.unit_serial},
                                   number, err);
    if (s == ES_OK) {
        es_log(o->options.log, ES_LOG_WARNING,
               "run %s (serial %s) was interrupted: not completed, record %s; %.0f s of it are kept",
               item->run, item->serial != NULL ? item->serial : "?", number, item->covered);
        s = es_run_interrupted_settle(item, err);
    }
    es_outcome_free(&outcome);
    return s;
}

static enum es_status settle_run(struct es_office *o, const struct es_store_run *run, struct es_error *err)
{
    char *folder = NULL;
    struct es_interrupted *items = NULL;
    size_t count = 0;
    struct es_text recordings = {0};
    es_text_printf(&recordings, "%s/recordings", es_store_folder(o->store));
    enum es_status s = es_text_status(&recordings, err);
    if (s == ES_OK)
        s = es_store_run_folder(o->store, run->run, &folder, err);
    if (s == ES_OK)
        s = es_run_interrupted(folder, &items, &count, err);
    for (size_t i = 0; s == ES_OK && i < count; i++)
        s = settle_journal(o, &items[i], recordings.bytes, err);
    if (s == ES_OK && count == 0) {
        char now[32];
        es_clock_wall_text(now);
        es_log(o->options.log, ES_LOG_WARNING,
               "run %s (serial %s) was interrupted before anything was recorded: not completed", run->run,
               run->serial != NULL ? run->serial : "?");
        s = es_store_run_end(o->store, run->run, now, NULL,
                             "interrupted before anything was recorded: the daemon ended without notice",
                             err);
    }
    es_run_interrupted_free(items, count);
    free(folder);
    es_text_free(&recordings);
    return s;
}

enum es_status es_office_settle_interrupted(struct es_office *o, size_t *count, struct es_error *err)
{
    struct es_store_runs runs = {0};
    pthread_mutex_lock(&o->lock);
    enum es_status s = es_store_runs(o->store, &runs, err);
    *count = 0;
    for (size_t i = 0; s == ES_OK && i < runs.count; i++) {
        if (runs.items[i].state != ES_RUN_OPEN)
            continue;
        struct es_error run_err;
        ++*count;
        if (settle_run(o, &runs.items[i], &run_err) != ES_OK)
            es_log(o->options.log, ES_LOG_ERROR, "run %s was interrupted and could not be settled: %s",
                   runs.items[i].run, run_err.text);
    }
    pthread_mutex_unlock(&o->lock);
    es_store_runs_free(&runs);
    return s;
}
