/* A bus's queue of writes: each has a ticket, a deadline and an outcome. */
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "rig/bench/bus_thread.h"

static struct es_bus_job *find(struct es_bus_thread *t, unsigned ticket)
{
    struct es_bus_job *job = &t->jobs[ticket % ES_BUS_JOBS];
    return job->state != ES_JOB_FREE && job->ticket == ticket ? job : NULL;
}

/* A free place, or the oldest outcome that nobody has fetched. */
static struct es_bus_job *room(struct es_bus_thread *t)
{
    struct es_bus_job *oldest = NULL;
    for (size_t i = 0; i < ES_BUS_JOBS; i++) {
        struct es_bus_job *job = &t->jobs[i];
        if (job->state == ES_JOB_FREE) {
            return job;
        }
        if (job->state == ES_JOB_DONE && (!oldest || job->order < oldest->order)) {
            oldest = job;
        }
    }
    return oldest;
}

static void cancel_station(struct es_bus_thread *t, const struct es_bench_station *station)
{
    struct es_error err;
    es_fail(&err, ES_INTERLOCK, "the station is being made safe; this write was not sent");
    for (size_t i = 0; i < ES_BUS_JOBS; i++) {
        struct es_bus_job *job = &t->jobs[i];
        if (job->state == ES_JOB_QUEUED && !job->urgent && job->station == station) {
            es_bus_finish_job(t, job, ES_INTERLOCK, &err, NULL);
        }
    }
}

enum es_status es_bus_post(struct es_bus_thread *t, const struct es_bench_station *station,
                           const struct es_bench_channel *channel, double raw, bool urgent, es_time deadline,
                           unsigned *ticket, struct es_error *err)
{
    pthread_mutex_lock(&t->lock);
    if (urgent) {
        cancel_station(t, station);
    }
    struct es_bus_job *job = t->end ? NULL : room(t);
    if (!job) {
        bool end = t->end;
        pthread_mutex_unlock(&t->lock);
        return es_fail(err, ES_DISABLED,
                       end ? "bus \"%s\" has been stopped" : "bus \"%s\": too many writes wait",
                       t->about->name);
    }
    size_t index = (size_t)(job - t->jobs);
    t->ticket += ES_BUS_JOBS;
    *job = (struct es_bus_job){.state = ES_JOB_QUEUED,
                               .ticket = t->ticket + (unsigned)index,
                               .station = station,
                               .channel = channel,
                               .raw = raw,
                               .deadline = deadline,
                               .urgent = urgent,
                               .order = t->job_order++};
    *ticket = job->ticket;
    pthread_cond_signal(&t->wake);
    pthread_mutex_unlock(&t->lock);
    return ES_OK;
}

static enum es_status take(struct es_bus_job *job, struct es_stamp *acted, struct es_error *err)
{
    enum es_status status = job->status;
    if (status == ES_OK && acted) {
        *acted = job->acted;
    } else if (status != ES_OK && err) {
        *err = job->err;
    }
    job->state = ES_JOB_FREE;
    return status;
}

bool es_bus_outcome(struct es_bus_thread *t, unsigned ticket, enum es_status *status, struct es_stamp *acted,
                    struct es_error *err)
{
    pthread_mutex_lock(&t->lock);
    struct es_bus_job *job = find(t, ticket);
    bool known = !job || job->state == ES_JOB_DONE;
    if (!job) {
        *status = es_fail(err, ES_INTERNAL, "the outcome of a write was lost");
    } else if (known) {
        *status = take(job, acted, err);
    }
    pthread_mutex_unlock(&t->lock);
    return known;
}

enum es_status es_bus_wait(struct es_bus_thread *t, unsigned ticket, struct es_stamp *acted,
                           struct es_error *err)
{
    enum es_status status;
    pthread_mutex_lock(&t->lock);
    struct es_bus_job *job = find(t, ticket);
    while (job && job->state != ES_JOB_DONE) {
        /* The thread finishes every job: at its deadline at the latest, or when it ends. */
        pthread_cond_wait(&t->done, &t->lock);
        job = find(t, ticket);
    }
    status = job ? take(job, acted, err) : es_fail(err, ES_INTERNAL, "the outcome of a write was lost");
    pthread_mutex_unlock(&t->lock);
    return status;
}

static bool is_silent(const struct es_bus_thread *t, const struct es_bus_job *job)
{
    size_t i = es_bus_instrument_of(t, job->channel->instrument);
    return t->instruments[i].state == ES_INSTRUMENT_SILENT;
}

/* Urgent before not urgent; instruments that answer before silent ones; then in order. */
static bool before(const struct es_bus_thread *t, const struct es_bus_job *a, const struct es_bus_job *b)
{
    if (a->urgent != b->urgent) {
        return a->urgent;
    }
    bool a_silent = is_silent(t, a), b_silent = is_silent(t, b);
    return a_silent != b_silent ? b_silent : a->order < b->order;
}

struct es_bus_job *es_bus_next_job(struct es_bus_thread *t, bool urgent_only, es_time now)
{
    struct es_bus_job *best = NULL;
    for (size_t i = 0; i < ES_BUS_JOBS; i++) {
        struct es_bus_job *job = &t->jobs[i];
        if (job->state != ES_JOB_QUEUED) {
            continue;
        }
        if (now >= job->deadline) {
            struct es_error err;
            es_fail(&err, ES_TIMEOUT, "bus \"%s\" (%s) did not come to this write in time%s%s",
                    t->about->name, es_link_state_word(t->status.state), *t->status.text ? ": " : "",
                    t->status.text);
            es_bus_finish_job(t, job, ES_TIMEOUT, &err, NULL);
            continue;
        }
        if ((!urgent_only || job->urgent) && (!best || before(t, job, best))) {
            best = job;
        }
    }
    return best;
}

void es_bus_finish_job(struct es_bus_thread *t, struct es_bus_job *job, enum es_status status,
                       const struct es_error *err, const struct es_stamp *acted)
{
    job->state = ES_JOB_DONE;
    job->status = status;
    if (status != ES_OK && err) {
        job->err = *err;
    }
    if (acted) {
        job->acted = *acted;
    }
    pthread_cond_broadcast(&t->done);
}

void es_bus_fail_jobs(struct es_bus_thread *t, enum es_status status, const char *why, bool urgent_too)
{
    struct es_error err;
    es_fail(&err, status, "bus \"%s\": %s", t->about->name, why);
    for (size_t i = 0; i < ES_BUS_JOBS; i++) {
        if (t->jobs[i].state == ES_JOB_QUEUED && (urgent_too || !t->jobs[i].urgent)) {
            es_bus_finish_job(t, &t->jobs[i], status, &err, NULL);
        }
    }
}
