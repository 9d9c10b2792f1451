#include "rig/bench/interlock.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* Readings scatter: a ceiling on what may be written lets the matching reading go this far beyond. */
#define CEILING_MARGIN 0.05

const char *es_interlock_state_word(enum es_interlock_state s)
{
    static const char *const words[] = {"unknown", "safe", "armed", "tripping", "tripped"};
    return words[s];
}

static void set_ceilings(struct es_interlock *lock)
{
    for (size_t i = 0; i < lock->station->ceiling_count; i++) {
        const struct es_ceiling *c = &lock->station->ceilings[i];
        if (es_role_info(c->role)->direction == ES_IN) {
            lock->roles[c->role].lowest = c->lowest;
            lock->roles[c->role].highest = c->highest;
            continue;
        }
        enum es_role effect = es_role_effect(c->role);
        if (effect != ES_ROLE_NONE && !es_station_ceiling(lock->station, effect)) {
            double margin = CEILING_MARGIN * (c->highest - c->lowest);
            lock->roles[effect].highest = c->highest + margin;
            lock->roles[effect].lowest = c->lowest - margin;
        }
    }
}

void es_interlock_init(struct es_interlock *lock, const struct es_bench_station *station)
{
    *lock = (struct es_interlock){.station = station, .state = ES_LOCK_UNKNOWN};
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        struct es_interlock_role *r = &lock->roles[i];
        r->channel = es_station_channel(station, (enum es_role)i);
        r->lowest = -INFINITY;
        r->highest = INFINITY;
        r->quality = ES_FAILED;
        r->always = i == ES_ROLE_EMERGENCY_STOP || i == ES_ROLE_GUARD;
    }
    set_ceilings(lock);
}

bool es_interlock_trip(struct es_interlock *lock, es_time when, const char *cause)
{
    if (lock->state != ES_LOCK_ARMED) {
        return false;
    }
    lock->state = ES_LOCK_TRIPPING;
    lock->cause_at = when;
    snprintf(lock->cause, sizeof lock->cause, "%s", cause);
    return true;
}

static const char *quality_words(enum es_quality q)
{
    static const char *const words[] = {"good", "stale", "out of its plausible range", "without a value"};
    return words[q];
}

/* The last good reading, which is beyond its ceiling. */
static void say_beyond(const struct es_interlock *lock, enum es_role role, char *text, size_t size)
{
    const struct es_interlock_role *r = &lock->roles[role];
    char value[48], limit[48];
    es_quantity_format(r->value, r->channel->unit, 2, value, sizeof value);
    es_quantity_format(r->value > r->highest ? r->highest : r->lowest, r->channel->unit, 2, limit,
                       sizeof limit);
    snprintf(text, size, "\"%s\" is at %s, beyond the ceiling of %s", es_role_info(role)->name, value, limit);
}

static bool far_beyond(const struct es_interlock_role *r)
{
    double limit = r->value > r->highest ? r->highest : r->lowest;
    return fabs(r->value - limit) > ES_CEILING_FAR * fabs(limit);
}

/* What is wrong with a reading in itself; false when nothing is. */
static bool reading_wrong(const struct es_interlock *lock, enum es_role role, char *text, size_t size)
{
    const struct es_interlock_role *r = &lock->roles[role];
    const char *name = es_role_info(role)->name;
    if (r->always && r->quality == ES_GOOD && r->value == 0) {
        snprintf(text, size, "%s",
                 role == ES_ROLE_GUARD ? "the guard is open"
                                       : "the emergency stop is pressed, or its wire is broken");
        return true;
    }
    if (r->always && r->quality != ES_GOOD) {
        snprintf(text, size, "\"%s\" is %s", name, quality_words(r->quality));
        return true;
    }
    if (es_role_info(role)->direction == ES_IN && r->quality == ES_GOOD &&
        (r->value > r->highest || r->value < r->lowest)) {
        say_beyond(lock, role, text, size);
        return true;
    }
    return false;
}

bool es_interlock_sample(struct es_interlock *lock, enum es_role role, enum es_quality quality, double value,
                         es_time taken)
{
    struct es_interlock_role *r = &lock->roles[role];
    es_time since = r->beyond_since; /* of the reading before this one */
    r->quality = quality;
    r->last_taken = taken;
    if (quality == ES_GOOD) {
        r->value = value;
        r->last_good = taken;
        r->bad_since = 0;
        bool beyond = value > r->highest || value < r->lowest;
        r->beyond_since = !beyond ? 0 : since ? since : taken;
    } else if (!r->bad_since) {
        r->bad_since = taken;
    }
    char text[256];
    if (lock->state != ES_LOCK_ARMED) {
        return false;
    }
    if (r->always) {
        return reading_wrong(lock, role, text, sizeof text) && es_interlock_trip(lock, taken, text);
    }
    if (!r->beyond_since || (!since && !far_beyond(r))) {
        return false;
    }
    say_beyond(lock, role, text, sizeof text);
    return es_interlock_trip(lock, r->beyond_since, text);
}

void es_interlock_setting(struct es_interlock *lock, enum es_role role, bool good, es_time taken)
{
    struct es_interlock_role *r = &lock->roles[role];
    r->last_taken = taken;
    r->quality = good ? ES_GOOD : ES_FAILED;
    if (good) {
        r->last_good = taken;
        r->bad_since = 0;
    } else if (!r->bad_since) {
        r->bad_since = taken;
    }
}

void es_interlock_bus(struct es_interlock *lock, enum es_role role, bool up, es_time since)
{
    lock->roles[role].bus_away_since = up ? 0 : since;
}

/* What time has made of a channel that the run needs; false when it is well. */
static bool channel_lost(const struct es_interlock *lock, enum es_role role, es_time now, es_time *since,
                         char *text, size_t size)
{
    const struct es_interlock_role *r = &lock->roles[role];
    if (!r->channel) {
        return false;
    }
    const char *name = es_role_info(role)->name;
    es_time patience = es_from_seconds(r->channel->stale_after);
    if (r->bus_away_since && now - r->bus_away_since > es_from_seconds(ES_INTERLOCK_BUS_GRACE)) {
        *since = r->bus_away_since;
        snprintf(text, size, "the bus of \"%s\" is away for %.1f s", name,
                 es_seconds(now - r->bus_away_since));
        return true;
    }
    const char *what = "";
    if (es_role_info(role)->direction == ES_OUT) {
        if (!r->channel->watched) {
            return false;
        }
        what = "the setting of ";
    }
    if (r->bad_since && now - r->bad_since > patience) {
        *since = r->bad_since;
        snprintf(text, size, "%s\"%s\" is %s for %.2f s", what, name, quality_words(r->quality),
                 es_seconds(now - r->bad_since));
        return true;
    }
    if (now - r->last_taken > patience) {
        *since = r->last_taken + patience;
        snprintf(text, size, "%s\"%s\" is stale: %s%.2f s", what, name,
                 r->last_taken ? "its last value is as old as " : "it has given no value for ",
                 es_seconds(now - r->last_taken));
        return true;
    }
    return false;
}

bool es_interlock_tick(struct es_interlock *lock, es_time now)
{
    es_time before = lock->last_tick;
    lock->last_tick = now;
    if (lock->state != ES_LOCK_ARMED) {
        return false;
    }
    char text[256];
    if (before && now - before > es_from_seconds(ES_INTERLOCK_DEADLINE)) {
        snprintf(text, sizeof text, "the program missed its own deadline: nothing was watched for %.2f s",
                 es_seconds(now - before));
        return es_interlock_trip(lock, before + es_from_seconds(ES_INTERLOCK_DEADLINE), text);
    }
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        const struct es_interlock_role *r = &lock->roles[i];
        es_time since;
        if ((r->needed || r->always) && channel_lost(lock, (enum es_role)i, now, &since, text, sizeof text)) {
            return es_interlock_trip(lock, since, text);
        }
        if (r->beyond_since && now - r->beyond_since > es_from_seconds(r->channel->stale_after)) {
            say_beyond(lock, (enum es_role)i, text, sizeof text);
            return es_interlock_trip(lock, r->beyond_since, text);
        }
    }
    return false;
}

enum es_status es_interlock_clear(const struct es_interlock *lock, es_time now, struct es_error *err)
{
    char text[256];
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        const struct es_interlock_role *r = &lock->roles[i];
        es_time since;
        if (r->channel &&
            (reading_wrong(lock, (enum es_role)i, text, sizeof text) ||
             (r->always && channel_lost(lock, (enum es_role)i, now, &since, text, sizeof text)))) {
            return es_fail(err, ES_INTERLOCK, "%s", text);
        }
    }
    return ES_OK;
}

enum es_status es_interlock_arm(struct es_interlock *lock, const bool needed[static ES_ROLE_COUNT],
                                es_time now, struct es_error *err)
{
    if (lock->state != ES_LOCK_SAFE) {
        return es_fail(err, ES_INTERLOCK, "the station is not in its safe state (%s)%s%s",
                       es_interlock_state_word(lock->state), *lock->cause ? ": " : "", lock->cause);
    }
    enum es_status status = es_interlock_clear(lock, now, err);
    if (status != ES_OK) {
        return status;
    }
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        char text[256];
        es_time since;
        struct es_interlock_role *r = &lock->roles[i];
        if (r->channel && r->channel->watched) { /* settings are asked for from now on */
            r->last_taken = now;
            r->bad_since = 0;
        }
        if (needed[i] && channel_lost(lock, (enum es_role)i, now, &since, text, sizeof text)) {
            return es_fail(err, ES_INTERLOCK, "%s", text);
        }
    }
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        lock->roles[i].needed = needed[i];
    }
    lock->cause[0] = 0;
    lock->cause_at = 0;
    lock->last_tick = now;
    lock->state = ES_LOCK_ARMED;
    return ES_OK;
}

void es_interlock_disarm(struct es_interlock *lock, bool reached)
{
    assert(lock->state == ES_LOCK_ARMED);
    memset(lock->cause, 0, sizeof lock->cause);
    lock->state = reached ? ES_LOCK_SAFE : ES_LOCK_UNKNOWN;
}

void es_interlock_made_safe(struct es_interlock *lock, bool reached)
{
    assert(lock->state != ES_LOCK_ARMED);
    if (lock->state == ES_LOCK_TRIPPING) {
        lock->state = ES_LOCK_TRIPPED;
    } else if (lock->state != ES_LOCK_TRIPPED) {
        lock->state = reached ? ES_LOCK_SAFE : ES_LOCK_UNKNOWN;
    }
}

enum es_status es_interlock_reset(struct es_interlock *lock, es_time now, struct es_error *err)
{
    if (lock->state != ES_LOCK_TRIPPED) {
        return es_fail(err, ES_USAGE, "there is nothing to reset: the interlock is %s",
                       es_interlock_state_word(lock->state));
    }
    enum es_status status = es_interlock_clear(lock, now, err);
    if (status == ES_OK) {
        lock->state = ES_LOCK_SAFE;
    }
    return status;
}
