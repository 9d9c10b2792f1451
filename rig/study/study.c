/* The study: loads, deals the units out to threads, collects. */
#include "rig/study/study.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/base/clock.h"
#include "rig/study/inner.h"

/* ---- Making ---- */

static enum es_status check_order(const struct es_study_order *o, struct es_error *err)
{
    if (o->units == 0 || o->type_count == 0 || o->bench_count == 0) {
        return es_fail(err, ES_USAGE, "a study needs at least one unit, one type sheet and one bench file");
    }
    if (o->type_count > ES_STUDY_TYPES_MAX || o->bench_count > ES_STUDY_TYPES_MAX ||
        o->fault_count > ES_STUDY_FAULTS_MAX) {
        return es_fail(err, ES_USAGE, "a study takes at most %d types, %d benches and %d faults",
                       ES_STUDY_TYPES_MAX, ES_STUDY_TYPES_MAX, ES_STUDY_FAULTS_MAX);
    }
    if (!(o->good_share >= 0 && o->good_share <= 1)) {
        return es_fail(err, ES_RANGE, "the share of good units lies between 0 and 1");
    }
    if (!(o->severity_low >= 0 && o->severity_low < o->severity_high && o->severity_high <= 1)) {
        return es_fail(err, ES_RANGE, "severities go from a lower to a higher one between 0 and 1");
    }
    for (size_t i = 0; i < o->fault_count; i++) {
        if (es_virtual_fault_find(o->faults[i]) < 0) {
            return es_fail(err, ES_NOT_FOUND, "the virtual bench has no fault \"%s\"", o->faults[i]);
        }
    }
    return ES_OK;
}

/* The virtual unit that is built as the sheet says. */
static int kind_of(const struct es_type *sheet)
{
    static const int kinds[2][2] = {
        [ES_LINEAR] = {[ES_SINGLE_ACTING] = ES_VIRTUAL_LINEAR_SINGLE_ACTING,
                       [ES_DOUBLE_ACTING] = ES_VIRTUAL_LINEAR_DOUBLE_ACTING},
        [ES_PART_TURN] = {[ES_SINGLE_ACTING] = ES_VIRTUAL_PART_TURN_SINGLE_ACTING,
                          [ES_DOUBLE_ACTING] = ES_VIRTUAL_PART_TURN_DOUBLE_ACTING},
    };
    static const int modules[2] = {[ES_SINGLE_ACTING] = ES_VIRTUAL_RELAY_MODULE_SINGLE_ACTING,
                                   [ES_DOUBLE_ACTING] = ES_VIRTUAL_RELAY_MODULE_DOUBLE_ACTING};
    if (sheet->kind == ES_PROOF_BLOCK) {
        return ES_VIRTUAL_SELF_PROOF_BLOCK;
    }
    return sheet->kind == ES_RELAY_MODULE
               ? modules[sheet->action == ES_DOUBLE_ACTING]
               : kinds[sheet->motion == ES_PART_TURN][sheet->action == ES_DOUBLE_ACTING];
}

static bool bench_fits(const struct es_bench *bench, const struct es_type *sheet)
{
    const enum es_dimension wanted = sheet->motion == ES_LINEAR ? ES_DIM_LENGTH : ES_DIM_ANGLE;
    const struct es_bench_channel *travel = es_station_channel(&bench->stations[0], ES_ROLE_TRAVEL);
    return sheet->kind == ES_COMPLETE_UNIT ? travel && travel->unit->dimension == wanted : !travel;
}

static const struct es_bench *bench_for(const struct es_study *s, const struct es_type *sheet)
{
    for (size_t i = 0; i < s->order.bench_count; i++) {
        if (bench_fits(s->benches[i], sheet)) {
            return s->benches[i];
        }
    }
    return NULL;
}

static enum es_status make_slots(struct es_study *s, struct es_study_type *t, struct es_error *err)
{
    for (int pass = 0; pass < 2; pass++) {
        size_t n = 0;
        for (size_t i = 0; i < s->plan->entry_count; i++) {
            const struct es_plan_entry *entry = &s->plan->entries[i];
            for (size_t k = 0; k < entry->procedure->measurand_count; k++) {
                const struct es_measurand *m = &entry->procedure->measurands[k];
                for (size_t r = 0; es_when_applies(m->when, t->sheet) && r < m->result_count; r++, n++) {
                    const struct es_limit *limit = es_type_limit(t->sheet, m->results[r].limit);
                    if (pass == 1) {
                        t->slots[n] =
                            (struct es_study_slot){entry->label, m->results[r].name, limit,
                                                   limit && limit->required && m->results[r].required};
                    }
                }
            }
        }
        if (pass == 0) {
            t->slot_count = n;
            t->slots = calloc(n ? n : 1, sizeof *t->slots);
            if (!t->slots) {
                return es_fail(err, ES_NO_MEMORY, "no memory for the study");
            }
        }
    }
    return ES_OK;
}

/* The run's own check, so that a plan that this bench cannot run is refused before a thousand units are. */
static enum es_status check_type(const struct es_study *s, size_t index, struct es_findings *findings,
                                 struct es_error *err)
{
    const struct es_study_type *t = &s->types[index];
    const struct es_bench_station *station = &t->bench->stations[0];
    const struct es_run_order order = {.plan_path = s->order.plan,
                                       .type_path = s->order.types[index],
                                       .serial = "study",
                                       .person = "study",
                                       .overdue_reason = "a study certifies nothing"};
    const struct es_run_places places = {.now = "2026-11-25T08:00:00.000Z", .run = "study"};
    struct es_virtual_config config;
    struct es_virtual *v;
    struct es_virtual_station *site;
    es_virtual_config_init(&config, (enum es_virtual_type)t->kind);
    es_virtual_config_from_station(station, &config);
    config.feedback = t->feedback;
    config.shutdown_module = t->sheet->fitted[ES_FITTED_SHUTDOWN];
    enum es_status status = es_virtual_new(&config, &v, err);
    if (status != ES_OK) {
        return status;
    }
    status = es_virtual_station_open(t->bench, station, v, NULL, &site, err);
    if (status == ES_OK) {
        status = es_run_check(&order, es_virtual_station_site(site), &places, findings, err);
        es_virtual_station_close(site);
    }
    es_virtual_free(v);
    return status;
}

static enum es_status load_type(struct es_study *s, size_t index, struct es_findings *findings,
                                struct es_error *err)
{
    struct es_study_type *t = &s->types[index];
    enum es_status status = es_type_load(s->order.types[index], findings, &t->sheet, err);
    if (status != ES_OK) {
        return status;
    }
    t->kind = kind_of(t->sheet);
    t->feedback = t->sheet->fitted[ES_FITTED_FEEDBACK];
    t->bench = bench_for(s, t->sheet);
    if (!t->bench && t->sheet->kind == ES_COMPLETE_UNIT) {
        return es_fail(err, ES_USAGE,
                       "no bench file given has a station for the type \"%s\" (%s travel): add one",
                       t->sheet->name, es_motion_word(t->sheet->motion));
    }
    if (!t->bench) {
        return es_fail(
            err, ES_USAGE,
            "no bench file given has a station for the type \"%s\" (a %s, without travel): add one",
            t->sheet->name, es_unit_kind_word(t->sheet->kind));
    }
    status = check_type(s, index, findings, err);
    return status == ES_OK ? make_slots(s, t, err) : status;
}

static enum es_status load(struct es_study *s, struct es_findings *findings, struct es_error *err)
{
    enum es_status status = es_plan_load_any(s->order.plan, findings, &s->plan, err);
    for (size_t i = 0; i < s->order.bench_count && status == ES_OK; i++) {
        status = es_bench_load(s->order.benches[i], findings, &s->benches[i], err);
    }
    for (size_t i = 0; i < s->order.type_count && status == ES_OK; i++) {
        status = load_type(s, i, findings, err);
    }
    for (size_t i = 0; i < s->order.type_count && status == ES_OK; i++) {
        int faults[ES_STUDY_FAULTS_MAX];
        if (s->order.fault_count && es_study_faults(&s->order, &s->types[i], faults) == 0) {
            status = es_fail(err, ES_USAGE, "units of the type \"%s\" can have none of the faults asked for",
                             s->types[i].sheet->name);
        }
    }
    return status;
}

enum es_status es_study_new(const struct es_study_order *order, struct es_findings *findings,
                            struct es_study **out, struct es_error *err)
{
    enum es_status status = check_order(order, err);
    if (status != ES_OK) {
        return status;
    }
    struct es_study *s = calloc(1, sizeof *s);
    if (!s) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the study");
    }
    s->order = *order;
    s->units = calloc(order->units, sizeof *s->units);
    status = s->units ? load(s, findings, err)
                      : es_fail(err, ES_NO_MEMORY, "no memory for %zu units", order->units);
    if (status != ES_OK) {
        es_study_free(s);
        return status;
    }
    *out = s;
    return ES_OK;
}

void es_study_free(struct es_study *s)
{
    if (!s) {
        return;
    }
    for (size_t i = 0; s->units && i < s->order.units; i++) {
        es_study_unit_free(s, &s->units[i]);
    }
    free(s->units);
    for (size_t i = 0; i < s->order.type_count; i++) {
        es_type_free(s->types[i].sheet);
        free(s->types[i].slots);
    }
    for (size_t i = 0; i < s->order.bench_count; i++) {
        es_bench_free(s->benches[i]);
    }
    es_plan_free(s->plan);
    free(s);
}

/* ---- Running ---- */

struct crew {
    struct es_study *study;
    atomic_size_t next; /* the first unit that nobody has taken */
    atomic_size_t done;
    atomic_bool stop;
    pthread_mutex_t lock; /* of the three below */
    pthread_cond_t change;
    size_t working;
    size_t failed_at; /* lowest unit that could not be run */
    struct es_error err;
};

static void fail_at(struct crew *c, size_t index, const struct es_error *err)
{
    pthread_mutex_lock(&c->lock);
    /* The lowest counts, so that the message does not depend on who was quicker. */
    if (index < c->failed_at) {
        c->failed_at = index;
        c->err = *err;
    }
    pthread_mutex_unlock(&c->lock);
    atomic_store(&c->stop, true);
}

static void *work(void *argument)
{
    struct crew *c = argument;
    while (!atomic_load(&c->stop)) {
        const size_t i = atomic_fetch_add(&c->next, 1);
        struct es_error err = {0};
        if (i >= c->study->order.units) {
            break;
        }
        es_study_draw(c->study, i, &c->study->units[i]);
        if (es_study_unit_run(c->study, &c->study->units[i], NULL, &err) != ES_OK) {
            fail_at(c, i, &err);
        }
        atomic_fetch_add(&c->done, 1);
    }
    pthread_mutex_lock(&c->lock);
    c->working--;
    pthread_cond_signal(&c->change);
    pthread_mutex_unlock(&c->lock);
    return NULL;
}

static void watch_crew(struct crew *c, const struct es_study_watch *watch, es_time began)
{
    pthread_mutex_lock(&c->lock);
    while (c->working > 0) {
        struct timespec until;
        clock_gettime(CLOCK_MONOTONIC, &until);
        until.tv_nsec += 500000000;
        until.tv_sec += until.tv_nsec / 1000000000;
        until.tv_nsec %= 1000000000;
        pthread_cond_timedwait(&c->change, &c->lock, &until);
        pthread_mutex_unlock(&c->lock);
        if (watch && watch->progress) {
            watch->progress(watch->self, atomic_load(&c->done), c->study->order.units,
                            es_seconds(es_clock_now() - began));
        }
        if (watch && watch->stop && watch->stop(watch->self)) {
            atomic_store(&c->stop, true);
        }
        pthread_mutex_lock(&c->lock);
    }
    pthread_mutex_unlock(&c->lock);
}

static unsigned thread_count(const struct es_study_order *o)
{
    size_t count = o->threads;
    if (count == 0) {
        const long cores = sysconf(_SC_NPROCESSORS_ONLN);
        count = cores > 0 ? (size_t)cores : 1;
    }
    if (count > o->units) {
        count = o->units;
    }
    return count > ES_STUDY_THREADS_MAX ? ES_STUDY_THREADS_MAX : (unsigned)count;
}

static enum es_status crew_init(struct crew *c, struct es_study *s, struct es_error *err)
{
    pthread_condattr_t monotonic;
    *c = (struct crew){.study = s, .failed_at = SIZE_MAX};
    if (pthread_mutex_init(&c->lock, NULL) != 0) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the study's threads");
    }
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    const int failed = pthread_cond_init(&c->change, &monotonic);
    pthread_condattr_destroy(&monotonic);
    if (failed) {
        pthread_mutex_destroy(&c->lock);
        return es_fail(err, ES_NO_MEMORY, "no memory for the study's threads");
    }
    return ES_OK;
}

enum es_status es_study_run(struct es_study *study, const struct es_study_watch *watch, struct es_error *err)
{
    const unsigned count = thread_count(&study->order);
    pthread_t threads[ES_STUDY_THREADS_MAX];
    struct crew c;
    unsigned started = 0;
    enum es_status status = crew_init(&c, study, err);
    if (status != ES_OK) {
        return status;
    }
    const es_time began = es_clock_now();
    c.working = count;
    while (started < count && pthread_create(&threads[started], NULL, work, &c) == 0) {
        started++;
    }
    if (started < count) { /* fewer do as well */
        pthread_mutex_lock(&c.lock);
        c.working -= count - started;
        pthread_mutex_unlock(&c.lock);
    }
    watch_crew(&c, watch, began);
    for (unsigned i = 0; i < started; i++) {
        pthread_join(threads[i], NULL);
    }
    if (c.failed_at != SIZE_MAX) {
        status = es_fail(err, c.err.status, "unit %zu of the study: %s", c.failed_at, c.err.text);
    } else if (started == 0) {
        status = es_fail(err, ES_NO_MEMORY, "no thread could be started for the study");
    } else if (atomic_load(&c.done) < study->order.units) {
        status = es_fail(err, ES_CANCELLED, "stopped after %zu of %zu units", atomic_load(&c.done),
                         study->order.units);
    }
    for (size_t i = 0; i < study->order.units; i++) {
        study->bench_seconds += study->units[i].duration;
    }
    pthread_cond_destroy(&c.change);
    pthread_mutex_destroy(&c.lock);
    return status;
}

enum es_status es_study_one(const struct es_study *study, size_t index, struct es_study_unit *unit,
                            struct es_outcome *outcome, struct es_error *err)
{
    struct es_study_unit drawn;
    if (index >= study->order.units) {
        return es_fail(err, ES_RANGE, "the study has units 0 to %zu", study->order.units - 1);
    }
    es_study_draw(study, index, &drawn);
    const enum es_status status = es_study_unit_run(study, &drawn, outcome, err);
    if (status == ES_OK) {
        *unit = drawn;
    } else {
        es_study_unit_free(study, &drawn);
    }
    return status;
}
