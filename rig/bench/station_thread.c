/* A station's own thread: takes the samples of its buses, runs the interlock ahead of everything else, puts
 * the station into its safe state, kicks the watchdog. It never waits on a bus or on the disk. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "rig/bench/station_live.h"
#include "rig/bench/write_check.h"

#define TICK       (ES_NS_PER_S / 100)
#define SAFE_AGAIN (5 * ES_NS_PER_S) /* between tries while the safe state was not reached */
#define BATCH      256

size_t es_station_bus_of(const struct es_station *s, const struct es_bench_channel *c)
{
    return s->live->bench->instruments[c->instrument].bus;
}

void es_station_log(struct es_station *s, const char *format, ...)
{
    char text[1024];
    va_list args;
    if (!s->live->options.log) {
        return;
    }
    int used = snprintf(text, sizeof text, "station %s: ", s->core.station->name);
    va_start(args, format);
    vsnprintf(text + used, sizeof text - (size_t)used, format, args);
    va_end(args);
    s->live->options.log(s->live->options.log_self, text);
}

/* ---- Samples ---- */

/* Journals samples of the same request as one scan. */
static void journal_samples(struct es_station *s, const struct es_sample *x, size_t count)
{
    struct es_journal *j = es_core_journal(&s->core);
    struct es_journal_value values[ES_ROLE_COUNT];
    size_t used = 0;
    for (size_t i = 0; j && i < count; i++) {
        if (!s->core.channels[x[i].role]->writable) {
            values[used++] =
                (struct es_journal_value){(enum es_role)x[i].role, (enum es_quality)x[i].quality, x[i].value};
        }
        if (used == 0) {
            continue;
        }
        if (i + 1 == count || x[i + 1].scan != x[i].scan || used == ES_ROLE_COUNT) {
            es_journal_scan(j, x[i].taken, (double)x[i].u_time, values, used);
            used = 0;
        }
    }
}

static void take_samples(struct es_station *s, size_t bus)
{
    struct es_sample x[BATCH];
    size_t count;
    struct es_ring *ring = &s->live->readers[bus * s->live->bench->station_count + s->index].ring;
    do {
        count = es_ring_pop(ring, x, BATCH);
        for (size_t i = 0; i < count; i++) {
            const struct es_bench_channel *c = s->core.channels[x[i].role];
            if (c->writable) { /* its setting, a raw number */
                struct es_raw raw = {x[i].value, x[i].quality == ES_GOOD};
                es_core_setting(&s->core, c->role, raw, x[i].taken);
                continue;
            }
            es_core_sample(&s->core, (enum es_role)x[i].role, (enum es_quality)x[i].quality, x[i].value,
                           x[i].taken, (double)x[i].u_time);
            s->rate_count[x[i].role]++;
        }
        journal_samples(s, x, count);
    } while (count == BATCH);
}

static void count_rates(struct es_station *s, es_time now)
{
    if (now - s->rate_from < ES_NS_PER_S) {
        return;
    }
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        s->rate[i] = (double)s->rate_count[i] / es_seconds(now - s->rate_from);
        s->rate_count[i] = 0;
    }
    s->rate_from = now;
}

static void take_buses(struct es_station *s)
{
    for (size_t b = 0; b < s->live->bus_count; b++) {
        take_samples(s, b);
    }
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        const struct es_bench_channel *c = s->core.channels[i];
        if (c) {
            es_time away = atomic_load(&s->live->buses[es_station_bus_of(s, c)].away_since);
            es_interlock_bus(&s->core.lock, (enum es_role)i, away == 0, away);
        }
    }
}

/* ---- The safe state ---- */

/* One whose outcome nobody waits for; a sequence has at most as many under way. */
static unsigned free_ticket(struct es_station *s)
{
    for (unsigned i = 0; i < ES_SAFE_WRITE_MAX; i++) {
        unsigned slot = s->ticket_next++ % ES_SAFE_WRITE_MAX;
        if (!s->tickets[slot].used) {
            return slot;
        }
    }
    return s->ticket_next++ % ES_SAFE_WRITE_MAX; /* all are left over from sequences that were begun again */
}

static enum es_status safe_post(void *self, enum es_role role, double value, es_time deadline,
                                unsigned *ticket, struct es_error *err)
{
    struct es_station *s = self;
    const struct es_bench_channel *c = s->core.channels[role];
    double raw;
    enum es_status status = es_write_check(s->core.station, role, value, &raw, err);
    if (status != ES_OK) {
        return status;
    }
    unsigned slot = free_ticket(s);
    struct es_safe_ticket *t = &s->tickets[slot];
    *t = (struct es_safe_ticket){true, es_station_bus_of(s, c), 0, role, value, es_clock_now()};
    *ticket = slot;
    status = es_bus_post(&s->live->buses[t->bus], s->core.station, c, raw, true, deadline, &t->ticket, err);
    t->used = status == ES_OK;
    if (status == ES_OK) {
        es_core_writing(&s->core, role);
    }
    return status;
}

static bool safe_outcome(void *self, unsigned ticket, enum es_status *status, struct es_error *err)
{
    struct es_station *s = self;
    struct es_safe_ticket *t = &s->tickets[ticket];
    struct es_stamp acted = {0};
    if (!es_bus_outcome(&s->live->buses[t->bus], t->ticket, status, &acted, err)) {
        return false;
    }
    t->used = false;
    es_core_wrote(&s->core, t->role, t->value, *status, *status == ES_OK ? acted.taken : es_clock_now(),
                  acted.u_time);
    return true;
}

static bool safe_newest(void *self, enum es_role role, es_time after, double *value)
{
    struct es_station *s = self;
    const struct es_reading *r = &s->core.newest[role];
    if (!s->core.channels[role] || r->quality != ES_GOOD || r->taken <= after) {
        return false;
    }
    *value = r->value;
    return true;
}

/* Worth waiting for: the line is open and the instrument is not known to be silent. */
static bool safe_bus_up(void *self, enum es_role role)
{
    struct es_station *s = self;
    const struct es_bench_channel *c = s->core.channels[role];
    struct es_bus_thread *bus = &s->live->buses[es_station_bus_of(s, c)];
    struct es_instrument_status in;
    struct es_bus_status b;
    es_bus_thread_status(bus, &b);
    es_bus_thread_instrument(bus, c->instrument, &in);
    return b.state != ES_LINK_CLOSED && in.state != ES_INSTRUMENT_SILENT && in.state != ES_INSTRUMENT_WRONG;
}

void es_station_prepare_safe(struct es_station *s)
{
    struct es_safe_hands hands = {s, safe_post, safe_outcome, safe_newest, safe_bus_up};
    es_safe_init(&s->core.safe, s->core.station, &hands);
    s->safe_again = es_clock_now() + SAFE_AGAIN;
}

uint64_t es_station_ask_safe(struct es_station *s, es_time cause_at, const char *cause)
{
    if (!s->want_safe) {
        s->want_safe = true;
        s->safe_cause_at = cause_at;
        snprintf(s->safe_cause, sizeof s->safe_cause, "%s", cause);
    }
    s->safe_asked++;
    sem_post(&s->wake);
    return s->safe_asked;
}

void es_station_wait_safe(struct es_station *s, uint64_t number)
{
    while (s->safe_done < number) {
        pthread_cond_wait(&s->changed, &s->lock);
    }
}

static void begin_safe(struct es_station *s, es_time now)
{
    s->want_safe = false;
    s->making_safe = true;
    es_safe_begin(&s->core.safe, s->safe_cause_at, now, s->safe_cause);
}

static void end_safe(struct es_station *s, es_time now)
{
    s->making_safe = false;
    es_core_made_safe(&s->core, now);
    s->safe_again = now + SAFE_AGAIN;
    if (!s->want_safe) {
        s->safe_done = s->safe_asked; /* all who asked meanwhile are served */
    }
    if (strcmp(s->said, s->core.safe.report.sentence) != 0) {
        snprintf(s->said, sizeof s->said, "%s", s->core.safe.report.sentence);
        es_station_log(s, "safe state after %.3f s (%s): %s", s->core.safe.report.seconds,
                       s->core.safe.report.cause, s->core.safe.report.sentence);
    }
    pthread_cond_broadcast(&s->changed);
}

/* A trip goes ahead of a safe state that is under way for another reason: it begins anew. */
static void look_for_trip(struct es_station *s, es_time now)
{
    if (s->core.lock.state == ES_LOCK_TRIPPING && !s->trip_seen) {
        s->trip_seen = true;
        struct es_journal *j = es_core_journal(&s->core);
        if (j) {
            es_journal_text(j, ES_JOURNAL_TRIP, now, s->core.lock.cause);
        }
        es_station_log(s, "the interlock has acted: %s", s->core.lock.cause);
        s->want_safe = false;
        es_station_ask_safe(s, s->core.lock.cause_at, s->core.lock.cause);
        pthread_cond_broadcast(&s->changed);
    }
}

/* While nobody knows whether the station is safe, it is tried again. */
static void try_again(struct es_station *s, es_time now)
{
    if (s->core.lock.state == ES_LOCK_UNKNOWN && !s->want_safe && !s->making_safe && now >= s->safe_again) {
        es_station_ask_safe(s, now, "the last try did not reach the safe state");
    }
}

static es_time work_safe(struct es_station *s, es_time now)
{
    es_time next = now + TICK;
    look_for_trip(s, now);
    try_again(s, now);
    if (s->want_safe) {
        begin_safe(s, now);
    }
    if (s->making_safe && !es_safe_step(&s->core.safe, now, &next)) {
        end_safe(s, now);
        next = now + TICK;
    }
    return next < now + TICK ? next : now + TICK;
}

/* The watchdog is only kicked by a thread that does its work. */
static void kick(struct es_station *s, es_time now)
{
    const struct es_bench_channel *c = s->core.channels[ES_ROLE_WATCHDOG];
    struct es_error err;
    double raw;
    unsigned ticket;
    if (!s->kick_interval || now < s->next_kick) {
        return;
    }
    s->next_kick = now + s->kick_interval;
    s->kicks = s->kicks >= 32767 ? 1 : s->kicks + 1;
    if (es_channel_raw(c, s->kicks, &raw, &err) != ES_OK ||
        es_bus_post(&s->live->buses[es_station_bus_of(s, c)], NULL, c, raw, true, now + s->kick_interval,
                    &ticket, &err) != ES_OK) {
        es_station_log(s, "the watchdog could not be kicked: %s", err.text);
    }
}

void *es_station_run(void *self)
{
    struct es_station *s = self;
    bool end = false;
    while (!end) {
        pthread_mutex_lock(&s->lock);
        take_buses(s);
        es_time now = es_clock_now();
        es_core_tick(&s->core, now);
        count_rates(s, now);
        kick(s, now);
        es_time next = work_safe(s, now);
        end = s->end && !s->making_safe;
        pthread_mutex_unlock(&s->lock);
        struct timespec at = {(time_t)(next / ES_NS_PER_S), (long)(next % ES_NS_PER_S)};
        if (sem_clockwait(&s->wake, CLOCK_MONOTONIC, &at) == 0) {
            while (sem_trywait(&s->wake) == 0) {
            }
        }
    }
    return NULL;
}
