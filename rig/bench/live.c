/* The bench at work: starts and ends its threads, shows its state. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "rig/bench/station_live.h"

#define FIRST_TRY 3.0 /* s, for all buses together */

static void init_station(struct es_live *live, size_t index)
{
    struct es_station *s = &live->stations[index];
    pthread_condattr_t attributes;
    s->live = live;
    s->index = index;
    sem_init(&s->wake, 0, 0);
    pthread_condattr_init(&attributes);
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    pthread_mutex_init(&s->lock, NULL);
    pthread_cond_init(&s->changed, &attributes);
    pthread_condattr_destroy(&attributes);
    es_core_init(&s->core, live->bench, &live->bench->stations[index]);
    if (s->core.channels[ES_ROLE_WATCHDOG]) {
        s->kick_interval = es_from_seconds(s->core.station->watchdog_period / 4);
    }
    s->rate_from = es_clock_now();
    es_station_make_site(s);
}

static void free_station(struct es_station *s)
{
    es_core_free(&s->core);
    es_look_free(&s->look);
    pthread_cond_destroy(&s->changed);
    pthread_mutex_destroy(&s->lock);
    sem_destroy(&s->wake);
}

static enum es_status start_station(struct es_station *s, struct es_error *err)
{
    es_station_prepare_safe(s);
    int failed = pthread_create(&s->thread, NULL, es_station_run, s);
    return failed ? es_fail_errno(err, failed, "no thread for station %s", s->core.station->name) : ES_OK;
}

static void stop_station(struct es_station *s)
{
    pthread_mutex_lock(&s->lock);
    es_station_wait_safe(s, es_station_ask_safe(s, es_clock_now(), "the program ends"));
    s->end = true;
    sem_post(&s->wake);
    pthread_mutex_unlock(&s->lock);
    pthread_join(s->thread, NULL);
}

static enum es_status init_buses(struct es_live *live, size_t *begun, struct es_error *err)
{
    size_t stations = live->bench->station_count;
    for (size_t b = 0; b < live->bench->bus_count; b++) {
        struct es_bus_reader *readers = &live->readers[b * stations];
        for (size_t s = 0; s < stations; s++) {
            readers[s].station = &live->bench->stations[s];
            readers[s].wake = &live->stations[s].wake;
        }
        enum es_status status =
            es_bus_thread_init(&live->buses[b], live->bench, b, readers, stations, &live->options, err);
        *begun = b + 1; /* also a half-begun one must be freed */
        if (status != ES_OK) {
            return status;
        }
    }
    live->bus_count = live->bench->bus_count;
    return ES_OK;
}

/* Gives every bus the time for its first try: the first safe state can then keep its order and its waits. */
static void wait_for_buses(const struct es_live *live)
{
    es_time patience = es_clock_now() + es_from_seconds(FIRST_TRY);
    for (size_t b = 0; b < live->bus_count; b++) {
        struct es_bus_status status;
        es_bus_thread_status(&live->buses[b], &status);
        while (!status.opens && !status.hangups && !status.timeouts && es_clock_now() < patience) {
            es_clock_sleep_until(es_clock_now() + ES_NS_PER_S / 500);
            es_bus_thread_status(&live->buses[b], &status);
        }
    }
}

enum es_status es_live_open(const struct es_bench *bench, const struct es_live_options *options,
                            struct es_live **out, struct es_error *err)
{
    size_t buses = 0, started_buses = 0, started = 0;
    enum es_status status = ES_OK;
    struct es_live *live = calloc(1, sizeof *live);
    if (!live) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the bench");
    }
    live->bench = bench;
    live->options = options ? *options : (struct es_live_options){0};
    live->buses = calloc(bench->bus_count, sizeof *live->buses);
    live->stations = calloc(bench->station_count, sizeof *live->stations);
    live->readers = calloc(bench->bus_count * bench->station_count, sizeof *live->readers);
    if (!live->buses || !live->stations || !live->readers) {
        status = es_fail(err, ES_NO_MEMORY, "no memory for the bench");
        goto free_arrays;
    }
    for (size_t s = 0; s < bench->station_count; s++) {
        init_station(live, s);
    }
    live->station_count = bench->station_count;
    status = init_buses(live, &buses, err);
    for (; status == ES_OK && started_buses < live->bus_count; started_buses += status == ES_OK) {
        status = es_bus_thread_start(&live->buses[started_buses], err);
    }
    if (status == ES_OK) {
        wait_for_buses(live);
    }
    for (; status == ES_OK && started < live->station_count; started += status == ES_OK) {
        status = start_station(&live->stations[started], err);
    }
    if (status != ES_OK) {
        goto stop_threads;
    }
    for (size_t s = 0; s < live->station_count; s++) {
        /* First thing of all, before anyone can ask for anything. */
        es_station_make_safe(&live->stations[s], "the program starts", NULL);
    }
    *out = live;
    return ES_OK;

stop_threads:
    while (started > 0) {
        stop_station(&live->stations[--started]);
    }
    while (started_buses > 0) {
        es_bus_thread_stop(&live->buses[--started_buses]);
    }
    while (buses > 0) {
        es_bus_thread_free(&live->buses[--buses]);
    }
    for (size_t s = 0; s < live->station_count; s++) {
        free_station(&live->stations[s]);
    }
free_arrays:
    free(live->buses);
    free(live->stations);
    free(live->readers);
    free(live);
    return status;
}

void es_live_close(struct es_live *live)
{
    if (!live) {
        return;
    }
    for (size_t s = live->station_count; s-- > 0;) {
        stop_station(&live->stations[s]);
    }
    for (size_t b = live->bus_count; b-- > 0;) {
        es_bus_thread_stop(&live->buses[b]);
        es_bus_thread_free(&live->buses[b]);
    }
    for (size_t s = live->station_count; s-- > 0;) {
        free_station(&live->stations[s]);
    }
    free(live->buses);
    free(live->stations);
    free(live->readers);
    free(live);
}

size_t es_live_bus_count(const struct es_live *live)
{
    return live->bus_count;
}

void es_live_bus_status(const struct es_live *live, size_t bus, struct es_bus_status *out)
{
    es_bus_thread_status(&live->buses[bus], out);
}

size_t es_live_instrument_count(const struct es_live *live)
{
    return live->bench->instrument_count;
}

void es_live_instrument_status(const struct es_live *live, size_t instrument,
                               struct es_instrument_status *out)
{
    es_bus_thread_instrument(&live->buses[live->bench->instruments[instrument].bus], instrument, out);
}

struct es_station *es_live_station(struct es_live *live, const char *name)
{
    for (size_t i = 0; i < live->station_count; i++) {
        if (!strcmp(live->stations[i].core.station->name, name)) {
            return &live->stations[i];
        }
    }
    return NULL;
}

void es_station_status(struct es_station *s, struct es_station_status *out)
{
    pthread_mutex_lock(&s->lock);
    *out = (struct es_station_status){.name = s->core.station->name,
                                      .state = s->core.lock.state,
                                      .safe = s->core.safe.report,
                                      .running = s->running};
    snprintf(out->cause, sizeof out->cause, "%s", s->core.lock.cause);
    if (s->core.order) {
        snprintf(out->run, sizeof out->run, "%s", s->core.order->run);
    }
    pthread_mutex_unlock(&s->lock);
}

size_t es_station_channels(struct es_station *s, struct es_channel_status *out, size_t max)
{
    char today[32];
    es_clock_wall_text(today);
    const struct es_bench_station *about = s->core.station;
    pthread_mutex_lock(&s->lock);
    es_time now = es_clock_now();
    for (size_t i = 0; i < about->channel_count && i < max; i++) {
        const struct es_bench_channel *c = &about->channels[i];
        struct es_reading r = es_core_reading(&s->core, c->role, now);
        out[i] = (struct es_channel_status){.role = c->role,
                                            .instrument = s->core.bench->instruments[c->instrument].name,
                                            .writable = c->writable,
                                            .unit = c->unit,
                                            .newest = r,
                                            .age = r.taken > 0 ? es_seconds(now - r.taken) : NAN,
                                            .rate = s->rate[c->role],
                                            .overdue = es_calibration_days_left(&c->calibration, today) < 0};
    }
    pthread_mutex_unlock(&s->lock);
    return about->channel_count;
}

void es_station_values(struct es_station *s, struct es_reading out[static ES_ROLE_COUNT])
{
    pthread_mutex_lock(&s->lock);
    es_core_readings(&s->core, es_clock_now(), out);
    pthread_mutex_unlock(&s->lock);
}

void es_station_make_safe(struct es_station *s, const char *why, struct es_safe_report *report)
{
    pthread_mutex_lock(&s->lock);
    es_time now = es_clock_now();
    (void)es_interlock_trip(&s->core.lock, now, why); /* ends a run under way */
    es_station_wait_safe(s, es_station_ask_safe(s, now, why));
    if (report) {
        *report = s->core.safe.report;
    }
    pthread_mutex_unlock(&s->lock);
}

enum es_status es_station_reset(struct es_station *s, const char *person, struct es_error *err)
{
    pthread_mutex_lock(&s->lock);
    if (s->core.lock.state == ES_LOCK_TRIPPED) {
        es_station_wait_safe(s, es_station_ask_safe(s, es_clock_now(), "reset"));
    }
    enum es_status status = es_interlock_reset(&s->core.lock, es_clock_now(), err);
    bool reached = s->core.safe.report.reached;
    if (status == ES_OK) {
        es_interlock_made_safe(&s->core.lock, reached);
    }
    pthread_mutex_unlock(&s->lock);
    if (status == ES_OK) {
        es_station_log(s, "reset by %s", person);
    }
    return status;
}
