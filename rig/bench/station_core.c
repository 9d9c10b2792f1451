#include "rig/bench/station_core.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

void es_core_init(struct es_station_core *c, const struct es_bench *bench,
                  const struct es_bench_station *station)
{
    memset(c, 0, sizeof *c);
    c->bench = bench;
    c->station = station;
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        c->channels[i] = es_station_channel(station, (enum es_role)i);
        c->newest[i] = (struct es_reading){.quality = ES_FAILED, .taken = -1};
        c->told[i].value = NAN;
    }
    c->trip_seconds = NAN;
    es_interlock_init(&c->lock, station);
    es_recorder_init(&c->recorder, station);
}

void es_core_free(struct es_station_core *c)
{
    es_recorder_free(&c->recorder);
}

struct es_journal *es_core_journal(const struct es_station_core *c)
{
    return c->order ? c->order->journal : NULL;
}

bool es_core_sample(struct es_station_core *c, enum es_role role, enum es_quality quality, double value,
                    es_time taken, double u_time)
{
    bool tripped = es_interlock_sample(&c->lock, role, quality, value, taken);
    c->newest[role] = (struct es_reading){value, quality, taken, u_time};
    if (c->recorder.running) {
        es_recorder_sample(&c->recorder, role, &c->newest[role]);
    }
    return tripped;
}

bool es_core_setting(struct es_station_core *c, enum es_role role, struct es_raw raw, es_time taken)
{
    char text[256];
    es_time since;
    es_interlock_setting(&c->lock, role, raw.valid, taken);
    return es_output_changed(&c->outputs[role], c->bench, c->channels[role], &c->told[role], raw, taken,
                             &since, text, sizeof text) &&
           es_interlock_trip(&c->lock, since, text);
}

void es_core_writing(struct es_station_core *c, enum es_role role)
{
    c->outputs[role].writing = true;
}

bool es_core_tick(struct es_station_core *c, es_time now)
{
    bool tripped = es_interlock_tick(&c->lock, now);
    for (size_t i = 0; c->lock.state == ES_LOCK_ARMED && i < c->station->channel_count; i++) {
        const struct es_bench_channel *out = &c->station->channels[i];
        char text[256];
        es_time since;
        if (out->read_back != ES_ROLE_NONE && c->lock.roles[out->role].needed &&
            es_output_missing(&c->outputs[out->role], out, c->channels[out->read_back], &c->told[out->role],
                              &c->newest[out->read_back], &since, text, sizeof text)) {
            tripped |= es_interlock_trip(&c->lock, since, text);
        }
    }
    return tripped;
}

void es_core_wrote(struct es_station_core *c, enum es_role role, double value, enum es_status status,
                   es_time acted, double u_time)
{
    double from = isnan(c->told[role].value) ? 0 : c->told[role].value;
    c->outputs[role].writing = false;
    if (role == ES_ROLE_WATCHDOG) {
        return;
    }
    struct es_journal *j = es_core_journal(c);
    if (j) {
        struct es_journal_write w = {role, status, from, value};
        es_journal_write(j, acted, &w);
    }
    if (status != ES_OK) {
        c->told[role].value = NAN; /* nobody knows */
        return;
    }
    es_recorder_command(&c->recorder, role, acted, u_time, from, value);
    c->told[role] = (struct es_output_told){value, acted};
    c->newest[role] = (struct es_reading){value, ES_GOOD, acted, u_time};
}

struct es_reading es_core_reading(const struct es_station_core *c, enum es_role role, es_time now)
{
    struct es_reading r = c->newest[role];
    const struct es_bench_channel *channel = c->channels[role];
    if (!channel) {
        r.quality = ES_FAILED;
    } else if (!channel->writable && r.quality == ES_GOOD &&
               now - r.taken > es_from_seconds(channel->stale_after)) {
        r.quality = ES_STALE;
    }
    return r;
}

void es_core_readings(const struct es_station_core *c, es_time now,
                      struct es_reading out[static ES_ROLE_COUNT])
{
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        out[i] = es_core_reading(c, (enum es_role)i, now);
    }
}

bool es_core_stop(struct es_station_core *c, const char *reason)
{
    int free_to_ask = 0;
    if (!atomic_compare_exchange_strong(&c->stop, &free_to_ask, 1)) {
        return false;
    }
    snprintf(c->stop_reason, sizeof c->stop_reason, "%s", reason);
    atomic_store(&c->stop, 2);
    return true;
}

bool es_core_stopped(const struct es_station_core *c)
{
    return atomic_load(&c->stop) == 2;
}

enum es_status es_core_status(const struct es_station_core *c, struct es_error *err)
{
    if (c->lock.state == ES_LOCK_TRIPPING || c->lock.state == ES_LOCK_TRIPPED) {
        return es_fail(err, ES_INTERLOCK, "the interlock has acted: %s", c->lock.cause);
    }
    if (es_core_stopped(c)) {
        return es_fail(err, ES_CANCELLED, "stopped: %s", c->stop_reason);
    }
    struct es_journal *j = es_core_journal(c);
    return j ? es_journal_status(j, err) : ES_OK;
}

enum es_status es_core_begin(struct es_station_core *c, const struct es_site_order *order, es_time now,
                             struct es_error *err)
{
    if (es_core_stopped(c)) {
        return es_fail(err, ES_CANCELLED, "stopped before it began: %s", c->stop_reason);
    }
    enum es_status status = es_interlock_arm(&c->lock, order->needed, now, err);
    if (status != ES_OK) {
        return status;
    }
    c->order = order;
    c->trip_seconds = NAN;
    c->trip_cause[0] = 0;
    return ES_OK;
}

void es_core_end(struct es_station_core *c)
{
    es_recorder_free(&c->recorder);
    c->order = NULL;
    atomic_store(&c->stop, 0);
}

void es_core_made_safe(struct es_station_core *c, es_time now)
{
    const struct es_safe_report *r = &c->safe.report;
    struct es_journal *j = es_core_journal(c);
    if (j) {
        es_journal_text(j, ES_JOURNAL_SAFE, now, r->sentence);
    }
    if (c->lock.state == ES_LOCK_ARMED) {
        return; /* rest between procedures */
    }
    if (c->lock.state == ES_LOCK_TRIPPING) {
        c->trip_seconds = r->seconds;
        snprintf(c->trip_cause, sizeof c->trip_cause, "%s", c->lock.cause);
    }
    es_interlock_made_safe(&c->lock, r->reached);
}

bool es_core_has_role(const struct es_station_core *c, enum es_role role, enum es_dimension *dimension)
{
    const struct es_bench_channel *channel = c->channels[role];
    if (channel && dimension) {
        *dimension = channel->unit->dimension;
    }
    return channel != NULL;
}
