/* The port and the site over the real station: called on the run's thread. */
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "rig/bench/run.h"
#include "rig/bench/station_live.h"
#include "rig/bench/write_check.h"

#define SHOW      (ES_NS_PER_S / 10)
#define SLEW_STEP (ES_NS_PER_S / 20)
#define FIRST_VALUES_WITHIN                                                                                  \
    2.0 /* s: needed channels must have answered by then, or the run does not begin                          \
         */

static es_time port_now(void *self)
{
    (void)self;
    return es_clock_now();
}

static const struct es_run_watch *watch_of(const struct es_station *s)
{
    return s->core.order ? s->core.order->watch : NULL;
}

/* Waits on the lock until `deadline` or a change; shows values meanwhile, with the lock released. */
static void wait_until(struct es_station *s, es_time deadline)
{
    const struct es_run_watch *watch = watch_of(s);
    es_time now = es_clock_now();
    while (now < deadline && es_core_status(&s->core, NULL) == ES_OK) {
        es_time until = watch && watch->values && s->show_at < deadline ? s->show_at : deadline;
        struct timespec at = {(time_t)(until / ES_NS_PER_S), (long)(until % ES_NS_PER_S)};
        (void)pthread_cond_timedwait(&s->changed, &s->lock, &at);
        now = es_clock_now();
        if (watch && watch->values && now >= s->show_at) {
            struct es_reading by_role[ES_ROLE_COUNT];
            es_core_readings(&s->core, now, by_role);
            pthread_mutex_unlock(&s->lock);
            watch->values(watch->self, by_role);
            pthread_mutex_lock(&s->lock);
            now = es_clock_now();
            s->show_at = now + SHOW;
        }
    }
}

static enum es_status port_sleep_until(void *self, es_time deadline, struct es_error *err)
{
    struct es_station *s = self;
    pthread_mutex_lock(&s->lock);
    wait_until(s, deadline);
    enum es_status status = es_core_status(&s->core, err);
    pthread_mutex_unlock(&s->lock);
    return status;
}

static enum es_status port_read(void *self, enum es_role role, struct es_reading *out, struct es_error *err)
{
    struct es_station *s = self;
    if (!s->core.channels[role]) {
        return es_fail(err, ES_NOT_FOUND, "this station has no \"%s\"", es_role_info(role)->name);
    }
    pthread_mutex_lock(&s->lock);
    enum es_status status = s->running ? es_core_status(&s->core, err) : ES_OK;
    if (status == ES_OK) {
        *out = es_core_reading(&s->core, role, es_clock_now());
    }
    pthread_mutex_unlock(&s->lock);
    return status;
}

/* One write through the bus's queue; blocks for its outcome. Lock held before and after. */
static enum es_status write_once(struct es_station *s, const struct es_bench_channel *c, double value,
                                 es_time *acted, struct es_error *err)
{
    const struct es_instrument_common *common = &s->live->bench->instruments[c->instrument].common;
    struct es_bus_thread *bus = &s->live->buses[es_station_bus_of(s, c)];
    struct es_stamp stamp = {0};
    unsigned ticket;
    double raw;
    enum es_status status = es_write_check(s->core.station, c->role, value, &raw, err);
    if (status != ES_OK) {
        return status;
    }
    es_time now = es_clock_now();
    es_time deadline = now + es_from_seconds(2 * common->timeout + common->turn_around + 0.25);
    /* Posted under the lock: a trip that comes later finds it in the queue and cancels it. */
    status = es_bus_post(bus, s->core.station, c, raw, false, deadline, &ticket, err);
    if (status != ES_OK) {
        return status;
    }
    es_core_writing(&s->core, c->role);
    pthread_mutex_unlock(&s->lock);
    status = es_bus_wait(bus, ticket, &stamp, err);
    pthread_mutex_lock(&s->lock);
    es_core_wrote(&s->core, c->role, value, status, status == ES_OK ? stamp.taken : es_clock_now(),
                  stamp.u_time);
    if (status == ES_OK) {
        *acted = stamp.taken;
        return es_core_status(&s->core, err);
    }
    /* When the interlock was the reason, that is what the run must hear. */
    enum es_status why = es_core_status(&s->core, status == ES_INTERLOCK ? err : NULL);
    return why == ES_OK ? status : why;
}

static enum es_status port_write(void *self, enum es_role role, double value, es_time *acted,
                                 struct es_error *err)
{
    struct es_station *s = self;
    double raw;
    enum es_status status = es_write_check(s->core.station, role, value, &raw, err);
    if (status != ES_OK) {
        return status;
    }
    const struct es_bench_channel *c = s->core.channels[role];
    pthread_mutex_lock(&s->lock);
    double from = s->core.told[role].value;
    es_time next = es_clock_now();
    for (;;) {
        status = es_core_status(&s->core, err);
        if (status != ES_OK) {
            break;
        }
        double step = es_write_slew(s->core.station, role, from, value, es_seconds(SLEW_STEP));
        es_time when;
        status = write_once(s, c, step, &when, err);
        if (status != ES_OK || step == value) {
            if (status == ES_OK) {
                *acted = when;
            }
            break;
        }
        from = step;
        next += SLEW_STEP;
        wait_until(s, next);
    }
    pthread_mutex_unlock(&s->lock);
    return status;
}

static enum es_status port_record_start(void *self, const char *name, const enum es_role *roles, size_t count,
                                        double rate, int *handle, struct es_error *err)
{
    struct es_station *s = self;
    pthread_mutex_lock(&s->lock);
    es_time now = es_clock_now();
    enum es_status status = es_core_status(&s->core, err);
    if (status == ES_OK) {
        status = es_recorder_start(&s->core.recorder, name, roles, count, rate, now, handle, err);
    }
    struct es_journal *j = es_core_journal(&s->core);
    if (status == ES_OK && j) {
        es_journal_recording(j, now, name, roles, count);
    }
    pthread_mutex_unlock(&s->lock);
    return status;
}

static const struct es_trace *port_record_look(void *self, int handle)
{
    struct es_station *s = self;
    pthread_mutex_lock(&s->lock);
    const struct es_trace *live = es_recorder_look(&s->core.recorder, handle, es_clock_now());
    const struct es_trace *t = es_look_copy(&s->look, live);
    pthread_mutex_unlock(&s->lock);
    return t;
}

/* The journal is durable up to the recording's end before anything is made of it. */
static enum es_status port_record_stop(void *self, int handle, struct es_trace **out, struct es_error *err)
{
    struct es_station *s = self;
    struct es_trace *trace = NULL;
    pthread_mutex_lock(&s->lock);
    es_time now = es_clock_now();
    struct es_journal *j = es_core_journal(&s->core);
    enum es_status status = es_recorder_stop(&s->core.recorder, handle, now, &trace, err);
    if (status == ES_OK && j) {
        es_journal_text(j, ES_JOURNAL_STOP, now, trace->name);
    }
    pthread_mutex_unlock(&s->lock);
    if (status == ES_OK && j) {
        status = es_journal_flush(j, err);
        if (status != ES_OK) {
            es_trace_free(trace);
        }
    }
    if (status == ES_OK) {
        *out = trace;
    }
    return status;
}

static bool give_up(const void *self)
{
    struct es_station *s = (struct es_station *)(uintptr_t)self;
    pthread_mutex_lock(&s->lock);
    bool over = es_core_status(&s->core, NULL) != ES_OK;
    pthread_mutex_unlock(&s->lock);
    return over;
}

static enum es_status port_ask(void *self, const struct es_question *q, struct es_answer *a,
                               struct es_error *err)
{
    struct es_station *s = self;
    const struct es_run_watch *watch = watch_of(s);
    if (!watch || !watch->ask) {
        return es_fail(err, ES_DISABLED, "nobody is there to answer: %s", q->text);
    }
    enum es_status status = watch->ask(watch->self, q, a, give_up, s, err);
    pthread_mutex_lock(&s->lock);
    struct es_error why;
    enum es_status now = es_core_status(&s->core, &why);
    pthread_mutex_unlock(&s->lock);
    if (now != ES_OK) {
        return es_fail(err, now, "%s", why.text);
    }
    return status;
}

static void port_event(void *self, const struct es_event *event)
{
    struct es_station *s = self;
    const struct es_run_watch *watch = watch_of(s);
    struct es_journal *j = es_core_journal(&s->core);
    if (j) {
        es_journal_text(j, ES_JOURNAL_EVENT, es_clock_now(), event->text ? event->text : event->name);
    }
    if (watch && watch->event) {
        watch->event(watch->self, event);
    }
}

static enum es_status port_rest(void *self, struct es_error *err)
{
    struct es_station *s = self;
    pthread_mutex_lock(&s->lock);
    enum es_status status = es_core_status(&s->core, err);
    if (status == ES_OK) {
        es_station_wait_safe(s, es_station_ask_safe(s, es_clock_now(), "rest before a procedure"));
        status = es_core_status(&s->core, err);
    }
    if (status == ES_OK && !s->core.safe.report.reached) {
        status = es_fail(err, ES_INTERLOCK, "%s", s->core.safe.report.sentence);
    }
    pthread_mutex_unlock(&s->lock);
    return status;
}

static bool port_has_role(void *self, enum es_role role, enum es_dimension *dimension)
{
    return es_core_has_role(&((struct es_station *)self)->core, role, dimension);
}

/* ---- The site ---- */

static void hold_questions(struct es_station *s, int step)
{
    for (size_t b = 0; b < s->live->bus_count; b++) {
        atomic_fetch_add(&s->live->buses[b].busy, step);
    }
}

static enum es_status site_begin(void *self, const struct es_site_order *order, struct es_error *err)
{
    struct es_station *s = self;
    enum es_status status = ES_OK;
    pthread_mutex_lock(&s->lock);
    if (s->running || s->end) {
        pthread_mutex_unlock(&s->lock);
        return es_fail(err, ES_DISABLED, "station %s has a run under way", s->core.station->name);
    }
    s->running = true;
    s->trip_seen = false;
    es_station_wait_safe(s, es_station_ask_safe(s, es_clock_now(), "before the run"));
    if (!s->core.safe.report.reached) {
        status = es_fail(err, ES_INTERLOCK, "%s", s->core.safe.report.sentence);
    }
    es_time patience = es_clock_now() + es_from_seconds(FIRST_VALUES_WITHIN);
    while (status == ES_OK) {
        es_time now = es_clock_now();
        status = es_core_begin(&s->core, order, now, err);
        if (status == ES_OK || now >= patience || s->core.lock.state != ES_LOCK_SAFE) {
            break;
        }
        /* A channel that has just come back gets a moment. */
        es_time until = now + SHOW;
        struct timespec at = {(time_t)(until / ES_NS_PER_S), (long)(until % ES_NS_PER_S)};
        (void)pthread_cond_timedwait(&s->changed, &s->lock, &at);
        status = ES_OK;
    }
    if (status != ES_OK) {
        s->running = false;
    } else {
        hold_questions(s, 1);
    }
    pthread_mutex_unlock(&s->lock);
    return status;
}

static void site_end(void *self, struct es_safe_report *report)
{
    struct es_station *s = self;
    pthread_mutex_lock(&s->lock);
    if (s->core.lock.state == ES_LOCK_ARMED) {
        const char *why = es_core_stopped(&s->core) ? s->core.stop_reason : "the run has ended";
        es_station_wait_safe(s, es_station_ask_safe(s, es_clock_now(), why));
    }
    while (s->core.lock.state == ES_LOCK_TRIPPING) {
        pthread_cond_wait(&s->changed, &s->lock);
    }
    if (s->core.lock.state == ES_LOCK_ARMED) {
        es_interlock_disarm(&s->core.lock, s->core.safe.report.reached);
    }
    if (report) {
        *report = s->core.safe.report;
    }
    es_core_end(&s->core);
    es_look_free(&s->look);
    s->running = false;
    hold_questions(s, -1);
    pthread_cond_broadcast(&s->changed);
    pthread_mutex_unlock(&s->lock);
}

static void site_stop(void *self, const char *reason)
{
    struct es_station *s = self;
    pthread_mutex_lock(&s->lock);
    if (s->running && es_core_stop(&s->core, reason)) {
        pthread_cond_broadcast(&s->changed);
    }
    pthread_mutex_unlock(&s->lock);
}

static void site_identity(void *self, size_t instrument, char *out, size_t size)
{
    struct es_station *s = self;
    struct es_instrument_status status;
    es_live_instrument_status(s->live, instrument, &status);
    snprintf(out, size, "%s", status.identity);
}

static double site_tripped(void *self, char *cause, size_t size)
{
    struct es_station *s = self;
    pthread_mutex_lock(&s->lock);
    double seconds = s->core.trip_seconds;
    snprintf(cause, size, "%s", s->core.trip_cause);
    pthread_mutex_unlock(&s->lock);
    return seconds;
}

void es_station_make_site(struct es_station *s)
{
    s->site = (struct es_site){.self = s,
                               .bench = s->core.bench,
                               .station = s->core.station,
                               .is_virtual = s->core.bench->is_virtual,
                               .begin = site_begin,
                               .end = site_end,
                               .stop = site_stop,
                               .identity = site_identity,
                               .tripped = site_tripped};
    s->site.port = (struct es_port){.self = s,
                                    .now = port_now,
                                    .sleep_until = port_sleep_until,
                                    .read = port_read,
                                    .write = port_write,
                                    .record_start = port_record_start,
                                    .record_look = port_record_look,
                                    .record_stop = port_record_stop,
                                    .ask = port_ask,
                                    .event = port_event,
                                    .rest = port_rest,
                                    .has_role = port_has_role};
}

const struct es_site *es_station_site(struct es_station *s)
{
    return &s->site;
}
