#include <math.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "rig/console/json_writer.h"
#include "rig/daemon/desk.h"
#include "rig/daemon/desk_ask.h"
#include "rig/daemon/desk_job.h"
#include "rig/daemon/desk_report.h"

#define FEED_KEEP 4096

enum es_status es_desk_new(const struct es_desk_options *options, struct es_desk **out, struct es_error *err)
{
    struct es_desk *d = calloc(1, sizeof *d);
    if (d == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory for a station");
    d->options = *options;
    d->site = es_station_site(options->station);
    enum es_status s = es_feed_new(FEED_KEEP, options->wake, options->wake_self, &d->feed, err);
    if (s != ES_OK) {
        free(d);
        return s;
    }
    pthread_condattr_t attributes;
    (void)pthread_condattr_init(&attributes);
    (void)pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    (void)pthread_mutex_init(&d->lock, NULL);
    (void)pthread_cond_init(&d->changed, &attributes);
    (void)pthread_condattr_destroy(&attributes);
    *out = d;
    return ES_OK;
}

/* What is under way is asked to stop until it has: a run that has not begun yet does not hear it. */
static void wait_until_idle(struct es_desk *d)
{
    pthread_mutex_lock(&d->lock);
    while (d->doing != ES_DESK_IDLE) {
        bool stopping = d->doing == ES_DESK_STOPPING;
        pthread_mutex_unlock(&d->lock);
        if (stopping)
            es_site_stop(d->site, d->why);
        pthread_mutex_lock(&d->lock);
        es_time until = es_clock_now() + ES_NS_PER_S / 10;
        struct timespec at = {.tv_sec = (time_t)(until / ES_NS_PER_S),
                              .tv_nsec = (long)(until % ES_NS_PER_S)};
        if (d->doing != ES_DESK_IDLE)
            (void)pthread_cond_timedwait(&d->changed, &d->lock, &at);
    }
    pthread_mutex_unlock(&d->lock);
}

void es_desk_free(struct es_desk *d)
{
    if (d == NULL)
        return;
    es_desk_stop_run(d, "the daemon was asked to end");
    wait_until_idle(d);
    if (d->thread_made)
        (void)pthread_join(d->thread, NULL);
    es_request_free(&d->request);
    es_feed_free(d->feed);
    (void)pthread_cond_destroy(&d->changed);
    (void)pthread_mutex_destroy(&d->lock);
    free(d);
}

const char *es_desk_name(const struct es_desk *d)
{
    return d->site->station->name;
}

struct es_station *es_desk_station(const struct es_desk *d)
{
    return d->options.station;
}

struct es_feed *es_desk_feed(struct es_desk *d)
{
    return d->feed;
}

static const char *doing_word(enum es_desk_doing doing)
{
    static const char *const words[] = {[ES_DESK_IDLE] = "idle",
                                        [ES_DESK_RUNNING] = "running",
                                        [ES_DESK_STOPPING] = "stopping",
                                        [ES_DESK_SETTLING] = "making safe"};
    return words[doing];
}

/* The lock is held and nothing is under way: starts `job` on a thread of its own. */
static enum es_status start_locked(struct es_desk *d, enum es_desk_doing doing, void *(*job)(void *),
                                   uint64_t *first, struct es_error *err)
{
    if (d->thread_made) {
        (void)pthread_join(d->thread, NULL); /* it is past its last act, so this does not wait */
        d->thread_made = false;
    }
    enum es_desk_doing before = d->doing;
    d->doing = doing;
    *first = d->first_event = es_feed_next(d->feed);
    if (pthread_create(&d->thread, NULL, job, d) != 0) {
        d->doing = before;
        return es_fail(err, ES_NO_MEMORY, "no thread could be started for station %s", es_desk_name(d));
    }
    d->thread_made = true;
    return ES_OK;
}

static enum es_status busy(struct es_desk *d, struct es_error *err)
{
    return es_fail(err, ES_REFUSED, "station %s is %s; wait for its end, or stop it with \"endstop stop\"",
                   es_desk_name(d), doing_word(d->doing));
}

enum es_status es_desk_run(struct es_desk *d, struct es_request_line *request, const char *person,
                           char run[static 64], uint64_t *first, struct es_error *err)
{
    enum es_status s = ES_OK;
    pthread_mutex_lock(&d->lock);
    if (d->doing != ES_DESK_IDLE) {
        s = busy(d, err);
        goto unlock;
    }
    es_desk_new_run(d->run);
    snprintf(d->person, sizeof d->person, "%s", person);
    d->attended = !request->unattended;
    d->attendants = 0;
    d->alone_since = d->attended ? es_clock_now() : 0;
    struct es_request_line before = d->request;
    d->request = *request;
    s = start_locked(d, ES_DESK_RUNNING, es_desk_run_job, first, err);
    if (s != ES_OK) {
        d->request = before;
        goto unlock;
    }
    es_request_free(&before);
    memset(request, 0, sizeof *request);
    memcpy(run, d->run, sizeof d->run);
unlock:
    pthread_mutex_unlock(&d->lock);
    return s;
}

void es_desk_stop_run(struct es_desk *d, const char *why)
{
    pthread_mutex_lock(&d->lock);
    bool running = d->doing == ES_DESK_RUNNING;
    if (running) {
        d->doing = ES_DESK_STOPPING;
        snprintf(d->why, sizeof d->why, "%s", why);
        pthread_cond_broadcast(&d->changed);
    }
    pthread_mutex_unlock(&d->lock);
    if (!running)
        return;
    es_site_stop(d->site, why);
    es_desk_tell(d, "stopping", "why", why);
}

enum es_status es_desk_stop(struct es_desk *d, const char *why, uint64_t *first, struct es_error *err)
{
    enum es_status s = ES_OK;
    pthread_mutex_lock(&d->lock);
    *first = es_feed_next(d->feed);
    if (d->doing == ES_DESK_IDLE) {
        snprintf(d->why, sizeof d->why, "%s", why);
        s = start_locked(d, ES_DESK_SETTLING, es_desk_safe_job, first, err);
    }
    pthread_mutex_unlock(&d->lock);
    es_desk_stop_run(d, why); /* what is stopping or settling already is left to it: its end is in the feed */
    return s;
}

enum es_status es_desk_reset(struct es_desk *d, const char *person, uint64_t *first, struct es_error *err)
{
    enum es_status s;
    pthread_mutex_lock(&d->lock);
    *first = es_feed_next(d->feed);
    if (d->doing != ES_DESK_IDLE) {
        s = busy(d, err);
    } else {
        snprintf(d->person, sizeof d->person, "%s", person);
        s = start_locked(d, ES_DESK_SETTLING, es_desk_reset_job, first, err);
    }
    pthread_mutex_unlock(&d->lock);
    return s;
}

void es_desk_attend(struct es_desk *d, bool comes)
{
    pthread_mutex_lock(&d->lock);
    if (comes) {
        d->attendants++;
        d->alone_since = 0;
    } else if (d->attendants > 0 && --d->attendants == 0) {
        d->alone_since = es_clock_now();
    }
    pthread_mutex_unlock(&d->lock);
}

void es_desk_tick(struct es_desk *d, es_time now)
{
    pthread_mutex_lock(&d->lock);
    bool stopping = d->doing == ES_DESK_STOPPING;
    bool alone = d->doing == ES_DESK_RUNNING && d->attended && d->attendants == 0 && d->alone_since != 0 &&
                 es_seconds(now - d->alone_since) > d->options.grace;
    pthread_mutex_unlock(&d->lock);
    if (stopping) {
        es_site_stop(d->site, d->why); /* again: a run that has not begun yet does not hear it */
    } else if (alone) {
        char why[160];
        snprintf(why, sizeof why, "the operator's connection was gone for more than %.0f s",
                 d->options.grace);
        es_desk_stop_run(d, why);
    }
}

bool es_desk_busy(struct es_desk *d)
{
    pthread_mutex_lock(&d->lock);
    bool busy_now = d->doing != ES_DESK_IDLE;
    pthread_mutex_unlock(&d->lock);
    return busy_now;
}

void es_desk_describe(struct es_desk *d, struct es_text *out)
{
    pthread_mutex_lock(&d->lock);
    es_json_text(out, "doing", doing_word(d->doing));
    if (d->doing == ES_DESK_RUNNING || d->doing == ES_DESK_STOPPING) {
        es_json_object(out, "run");
        es_json_text(out, "run", d->run);
        es_json_text(out, "plan", d->request.plan);
        es_json_text(out, "type", d->request.type);
        es_json_text(out, "serial", d->request.serial);
        es_json_text(out, "person", d->person);
        es_json_bool(out, "attended", d->attended);
        es_json_integer(out, "first", (long long)d->first_event);
        es_json_end_object(out);
    }
    if (d->asking)
        es_report_question(out, "asks", d->question_number, d->question);
    pthread_mutex_unlock(&d->lock);
    es_json_integer(out, "next", (long long)es_feed_next(d->feed));
}
