#include "rig/bench/virtual_station.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/bench/run.h"
#include "rig/bench/virtual_time.h"
#include "rig/bench/write_check.h"

#define TRANSIT   (ES_NS_PER_S / 1000) /* from the request of a write to its effect */
#define SLEW_STEP (ES_NS_PER_S / 20)
#define STEP_GRID (ES_NS_PER_S / 100) /* the virtual bench's longest step; the others divide it */

/* ---- The safe state ---- */

static enum es_status safe_post(void *self, enum es_role role, double value, es_time deadline,
                                unsigned *ticket, struct es_error *err)
{
    struct es_virtual_station *s = self;
    double raw;
    (void)deadline;
    enum es_status status = es_write_check(s->core.station, role, value, &raw, err);
    if (status != ES_OK) {
        return status;
    }
    *ticket = s->safe_posted++ % ES_SAFE_WRITE_MAX;
    s->safe_outcomes[*ticket].status = es_virtual_write_now(s, role, value, &s->safe_outcomes[*ticket].err);
    return ES_OK;
}

static bool safe_outcome(void *self, unsigned ticket, enum es_status *status, struct es_error *err)
{
    struct es_virtual_station *s = self;
    *status = s->safe_outcomes[ticket].status;
    *err = s->safe_outcomes[ticket].err;
    return true;
}

static bool safe_newest(void *self, enum es_role role, es_time after, double *value)
{
    struct es_virtual_station *s = self;
    const struct es_reading *r = &s->core.newest[role];
    if (!s->core.channels[role] || r->quality != ES_GOOD || r->taken <= after) {
        return false;
    }
    *value = r->value;
    return true;
}

static bool safe_bus_up(void *self, enum es_role role)
{
    (void)self;
    (void)role;
    return true;
}

static void make_safe(struct es_virtual_station *s, es_time cause, const char *why)
{
    es_time next, now = es_virtual_now(s->v);
    es_safe_begin(&s->core.safe, cause, now, why);
    while (es_safe_step(&s->core.safe, now, &next)) {
        es_virtual_pass(s, next, false);
        now = es_virtual_now(s->v);
    }
    es_core_made_safe(&s->core, now);
}

/* After anything that let time pass: acts on a trip, tells whether the run may go on. */
static enum es_status settle(struct es_virtual_station *s, struct es_error *err)
{
    if (s->core.lock.state == ES_LOCK_TRIPPING) {
        struct es_journal *j = es_core_journal(&s->core);
        if (j) {
            es_journal_text(j, ES_JOURNAL_TRIP, es_virtual_now(s->v), s->core.lock.cause);
        }
        make_safe(s, s->core.lock.cause_at, s->core.lock.cause);
    }
    return es_core_status(&s->core, err);
}

/* ---- The port ---- */

static es_time port_now(void *self)
{
    return es_virtual_now(((struct es_virtual_station *)self)->v);
}

static enum es_status port_sleep_until(void *self, es_time deadline, struct es_error *err)
{
    es_virtual_pass(self, deadline, true);
    return settle(self, err);
}

static enum es_status port_read(void *self, enum es_role role, struct es_reading *out, struct es_error *err)
{
    struct es_virtual_station *s = self;
    const struct es_bench_channel *c = s->core.channels[role];
    if (!c) {
        return es_fail(err, ES_NOT_FOUND, "this station has no \"%s\"", es_role_info(role)->name);
    }
    es_time now = es_virtual_now(s->v);
    if (!c->writable && s->core.newest[role].taken < now) {
        es_virtual_sample(s, role, now);
    }
    enum es_status status = settle(s, err);
    if (status == ES_OK) {
        *out = es_core_reading(&s->core, role, now);
    }
    return status;
}

static enum es_status port_write(void *self, enum es_role role, double value, es_time *acted,
                                 struct es_error *err)
{
    struct es_virtual_station *s = self;
    double raw;
    enum es_status status = es_write_check(s->core.station, role, value, &raw, err);
    double from = s->core.told[role].value, next;
    es_time transit = TRANSIT + es_from_seconds(es_virtual_bus_delay(s->v));
    while (status == ES_OK) {
        es_virtual_pass(s, es_virtual_now(s->v) + transit, true);
        status = settle(s, err);
        if (status != ES_OK) {
            break;
        }
        next = es_write_slew(s->core.station, role, from, value, es_seconds(SLEW_STEP));
        status = es_virtual_write_now(s, role, next, err);
        if (status == ES_OK && next == value) {
            *acted = es_virtual_now(s->v);
            break;
        }
        from = next;
        transit = SLEW_STEP;
    }
    return status;
}

static void set_tick(struct es_virtual_station *s)
{
    es_time fastest = ES_VIRTUAL_LOOK;
    for (unsigned left = s->core.recorder.running; left; left &= left - 1) {
        const struct es_recording *rec = &s->core.recorder.items[__builtin_ctz(left)];
        fastest = rec->interval < fastest ? rec->interval : fastest;
    }
    s->tick = fastest;
}

/* What is read was computed up to the last whole step, and steps end on a grid of their own. Read in between,
 * it would be older than its time stamp says, by the same time throughout a recording. */
static enum es_status on_grid(struct es_virtual_station *s, struct es_error *err)
{
    const es_time now = es_virtual_now(s->v), beyond = now % STEP_GRID;
    if (beyond > 0) {
        es_virtual_pass(s, now - beyond + STEP_GRID, true);
    }
    return settle(s, err);
}

static enum es_status port_record_start(void *self, const char *name, const enum es_role *roles, size_t count,
                                        double rate, int *handle, struct es_error *err)
{
    struct es_virtual_station *s = self;
    enum es_status status = on_grid(s, err);
    if (status != ES_OK) {
        return status;
    }
    es_time now = es_virtual_now(s->v);
    status = es_recorder_start(&s->core.recorder, name, roles, count, rate, now, handle, err);
    if (status != ES_OK) {
        return status;
    }
    es_virtual_new_act(s->v);
    struct es_journal *j = es_core_journal(&s->core);
    if (j) {
        es_journal_recording(j, now, name, roles, count);
    }
    set_tick(s);
    s->next_tick = now + s->tick;
    es_virtual_sample_recorded(s, now);
    return settle(s, err);
}

static const struct es_trace *port_record_look(void *self, int handle)
{
    struct es_virtual_station *s = self;
    return es_recorder_look(&s->core.recorder, handle, es_virtual_now(s->v));
}

static enum es_status port_record_stop(void *self, int handle, struct es_trace **out, struct es_error *err)
{
    struct es_virtual_station *s = self;
    es_time now = es_virtual_now(s->v);
    struct es_journal *j = es_core_journal(&s->core);
    const struct es_trace *t = es_recorder_look(&s->core.recorder, handle, now);
    if (t && j) {
        es_journal_text(j, ES_JOURNAL_STOP, now, t->name);
        enum es_status status = es_journal_flush(j, err);
        if (status != ES_OK) {
            return status;
        }
    }
    enum es_status status = es_recorder_stop(&s->core.recorder, handle, now, out, err);
    set_tick(s);
    return status;
}

static bool give_up(const void *self)
{
    const struct es_virtual_station *s = self;
    return es_core_stopped(&s->core);
}

static enum es_status port_ask(void *self, const struct es_question *q, struct es_answer *a,
                               struct es_error *err)
{
    struct es_virtual_station *s = self;
    const struct es_run_watch *watch = s->core.order ? s->core.order->watch : NULL;
    if (!watch || !watch->ask) {
        return es_fail(err, ES_DISABLED, "nobody is there to answer: %s", q->text);
    }
    enum es_status status = watch->ask(watch->self, q, a, give_up, s, err);
    enum es_status now = es_core_status(&s->core, status == ES_OK ? err : NULL);
    return status != ES_OK ? status : now;
}

static void port_event(void *self, const struct es_event *event)
{
    struct es_virtual_station *s = self;
    const struct es_run_watch *watch = s->core.order ? s->core.order->watch : NULL;
    struct es_journal *j = es_core_journal(&s->core);
    if (j) {
        es_journal_text(j, ES_JOURNAL_EVENT, es_virtual_now(s->v), event->text ? event->text : event->name);
    }
    if (watch && watch->event) {
        watch->event(watch->self, event);
    }
}

static enum es_status port_rest(void *self, struct es_error *err)
{
    struct es_virtual_station *s = self;
    enum es_status status = settle(s, err);
    if (status != ES_OK) {
        return status;
    }
    make_safe(s, es_virtual_now(s->v), "rest before a procedure");
    status = settle(s, err);
    if (status == ES_OK && !s->core.safe.report.reached) {
        return es_fail(err, ES_INTERLOCK, "%s", s->core.safe.report.sentence);
    }
    return status;
}

static bool port_has_role(void *self, enum es_role role, enum es_dimension *dimension)
{
    return es_core_has_role(&((struct es_virtual_station *)self)->core, role, dimension);
}

/* ---- The site ---- */

static enum es_status site_begin(void *self, const struct es_site_order *order, struct es_error *err)
{
    struct es_virtual_station *s = self;
    make_safe(s, es_virtual_now(s->v), "before the run");
    if (!s->core.safe.report.reached) {
        return es_fail(err, ES_INTERLOCK, "%s", s->core.safe.report.sentence);
    }
    es_virtual_sample_all(s, es_virtual_now(s->v));
    if (s->core.lock.state == ES_LOCK_TRIPPED) {
        /* Nobody stands at a virtual bench to say that it was looked at. */
        enum es_status status = es_interlock_reset(&s->core.lock, es_virtual_now(s->v), err);
        if (status != ES_OK) {
            return status;
        }
    }
    return es_core_begin(&s->core, order, es_virtual_now(s->v), err);
}

static void site_end(void *self, struct es_safe_report *report)
{
    struct es_virtual_station *s = self;
    if (s->core.lock.state == ES_LOCK_ARMED) {
        make_safe(s, es_virtual_now(s->v),
                  es_core_stopped(&s->core) ? s->core.stop_reason : "the run has ended");
    }
    if (s->core.lock.state == ES_LOCK_TRIPPING) {
        (void)settle(s, NULL); /* tripped on the way out */
    }
    if (s->core.lock.state == ES_LOCK_ARMED) {
        es_interlock_disarm(&s->core.lock, s->core.safe.report.reached);
    }
    if (report) {
        *report = s->core.safe.report;
    }
    es_core_end(&s->core);
}

static void site_stop(void *self, const char *reason)
{
    struct es_virtual_station *s = self;
    es_core_stop(&s->core, reason);
}

static void site_identity(void *self, size_t instrument, char *out, size_t size)
{
    const struct es_virtual_station *s = self;
    snprintf(out, size, "virtual instrument \"%s\"", s->core.bench->instruments[instrument].name);
}

static double site_tripped(void *self, char *cause, size_t size)
{
    const struct es_virtual_station *s = self;
    snprintf(cause, size, "%s", s->core.trip_cause);
    return s->core.trip_seconds;
}

static void init_site(struct es_virtual_station *s)
{
    s->site = (struct es_site){.self = s,
                               .bench = s->core.bench,
                               .station = s->core.station,
                               .is_virtual = true,
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

static size_t find_instrument(const struct es_bench *bench, const char *name)
{
    for (size_t i = 0; name && i < bench->instrument_count; i++) {
        if (!strcmp(bench->instruments[i].name, name)) {
            return i;
        }
    }
    return SIZE_MAX;
}

enum es_status es_virtual_station_open(const struct es_bench *bench, const struct es_bench_station *station,
                                       struct es_virtual *virtual_bench,
                                       const struct es_virtual_station_options *options,
                                       struct es_virtual_station **out, struct es_error *err)
{
    static const struct es_virtual_station_options none = {0};
    options = options ? options : &none;
    struct es_virtual_station *s = calloc(1, sizeof *s);
    if (!s) {
        return es_fail(err, ES_NO_MEMORY, "no memory for a virtual station");
    }
    s->asked_until = calloc(bench->instrument_count + 1, sizeof *s->asked_until);
    if (!s->asked_until) {
        free(s);
        return es_fail(err, ES_NO_MEMORY, "no memory for a virtual station");
    }
    es_core_init(&s->core, bench, station);
    s->v = virtual_bench;
    s->silent_instrument = find_instrument(bench, options->silent_instrument);
    s->silent_from = es_virtual_now(s->v) + es_from_seconds(options->silent_from);
    for (int i = 0; i < ES_ROLE_COUNT; i++) {
        const struct es_bench_channel *c = s->core.channels[i];
        if (c && !c->writable) {
            s->inputs[s->input_count++] = c->role;
        } else if (c && c->watched) {
            s->watched[s->watched_count++] = c->role;
        }
    }
    if (s->core.channels[ES_ROLE_WATCHDOG]) {
        s->kick_interval = es_from_seconds(station->watchdog_period / 4);
    }
    struct es_safe_hands hands = {s, safe_post, safe_outcome, safe_newest, safe_bus_up};
    es_safe_init(&s->core.safe, station, &hands);
    init_site(s);
    *out = s;
    return ES_OK;
}

void es_virtual_station_close(struct es_virtual_station *s)
{
    if (s) {
        es_core_free(&s->core);
        free(s->asked_until);
        free(s);
    }
}

const struct es_site *es_virtual_station_site(struct es_virtual_station *s)
{
    return &s->site;
}
