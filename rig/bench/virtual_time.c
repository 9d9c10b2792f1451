#include "rig/bench/virtual_time.h"

#include <math.h>

#include "drivers/virtual/random.h"
#include "rig/bench/run.h"

#define SHOW     (ES_NS_PER_S / 10) /* values to the watch */
#define SETTINGS (ES_NS_PER_S / 5)

enum { STREAM_STAMPS = 4000, STREAM_CLOCK }; /* of es_random_*; the virtual bench's own end before 3200 */

static bool is_silent(const struct es_virtual_station *s, const struct es_bench_channel *c)
{
    return c->instrument == s->silent_instrument && es_virtual_now(s->v) >= s->silent_from;
}

static double u_time(const struct es_virtual_station *s)
{
    return ES_VIRTUAL_U_TIME + es_virtual_bus_delay(s->v) / sqrt(12); /* anywhere in the exchange, evenly */
}

static void take_sample(struct es_virtual_station *s, enum es_role role, es_time now)
{
    double value = 0;
    enum es_quality q =
        es_channel_judge(s->core.channels[role], es_virtual_reading(s->v, role).value, &value);
    es_core_sample(&s->core, role, q, value, now, u_time(s));
}

/* A slow bus: while an instrument is being asked it cannot be asked again. All its channels come with one
 * exchange. */
static void exchange(struct es_virtual_station *s, size_t instrument, double delay, es_time now)
{
    if (now < s->asked_until[instrument]) {
        return;
    }
    s->asked_until[instrument] = now + es_from_seconds(delay);
    for (size_t i = 0; i < s->input_count; i++) {
        if (s->core.channels[s->inputs[i]]->instrument == instrument) {
            take_sample(s, s->inputs[i], now);
        }
    }
}

void es_virtual_sample(struct es_virtual_station *s, enum es_role role, es_time now)
{
    const struct es_bench_channel *c = s->core.channels[role];
    const double delay = es_virtual_bus_delay(s->v);
    if (is_silent(s, c)) {
        return;
    }
    if (delay > 0) {
        exchange(s, c->instrument, delay, now);
    } else {
        take_sample(s, role, now);
    }
}

static void journal_scan(struct es_virtual_station *s, const enum es_role *roles, size_t count, es_time now)
{
    struct es_journal *j = es_core_journal(&s->core);
    if (!j || !count) {
        return;
    }
    struct es_journal_value values[ES_ROLE_COUNT];
    for (size_t i = 0; i < count; i++) {
        const struct es_reading *r = &s->core.newest[roles[i]];
        values[i] = (struct es_journal_value){roles[i], r->quality, r->value};
    }
    es_journal_scan(j, now, u_time(s), values, count);
}

void es_virtual_sample_all(struct es_virtual_station *s, es_time now)
{
    for (size_t i = 0; i < s->input_count; i++) {
        es_virtual_sample(s, s->inputs[i], now);
    }
    journal_scan(s, s->inputs, s->input_count, now);
    es_core_tick(&s->core, now);
}

void es_virtual_sample_recorded(struct es_virtual_station *s, es_time now)
{
    enum es_role roles[ES_ROLE_COUNT];
    size_t count = 0;
    for (size_t i = 0; i < s->input_count; i++) {
        enum es_role role = s->inputs[i];
        for (unsigned left = s->core.recorder.running; left; left &= left - 1) {
            if (s->core.recorder.items[__builtin_ctz(left)].slot[role]) {
                es_virtual_sample(s, role, now);
                roles[count++] = role;
                break;
            }
        }
    }
    journal_scan(s, roles, count, now);
}

/* As a bus does during a run: the settings of the outputs, five times a second. */
static void ask_settings(struct es_virtual_station *s, es_time now)
{
    if (s->core.lock.state != ES_LOCK_ARMED || now < s->next_setting) {
        return;
    }
    s->next_setting = now + SETTINGS;
    for (size_t i = 0; i < s->watched_count; i++) {
        const struct es_bench_channel *c = s->core.channels[s->watched[i]];
        struct es_raw raw = {.valid = true};
        if (is_silent(s, c)) {
            continue;
        }
        if (es_channel_reading_raw(c, es_virtual_reading(s->v, c->role).value, &raw.value, NULL) != ES_OK) {
            raw.valid = false;
        }
        es_core_setting(&s->core, c->role, raw, now);
    }
}

static void kick(struct es_virtual_station *s, es_time now)
{
    struct es_error err;
    if (s->kick_interval && now >= s->next_kick) {
        s->kicks += 1;
        if (es_virtual_write(s->v, ES_ROLE_WATCHDOG, s->kicks, &err) == ES_OK) {
            s->next_kick = now + s->kick_interval;
        }
    }
}

static void show(struct es_virtual_station *s, es_time now)
{
    const struct es_run_watch *watch = s->core.order ? s->core.order->watch : NULL;
    if (!watch || !watch->values || now < s->next_show) {
        return;
    }
    struct es_reading by_role[ES_ROLE_COUNT];
    es_core_readings(&s->core, now, by_role);
    watch->values(watch->self, by_role);
    s->next_show = now + SHOW;
}

void es_virtual_pass(struct es_virtual_station *s, es_time deadline, bool run)
{
    es_time now = es_virtual_now(s->v);
    while (now < deadline) {
        es_time next = deadline < s->next_look ? deadline : s->next_look;
        if (s->core.recorder.running && s->next_tick < next) {
            next = s->next_tick;
        }
        es_virtual_advance_to(s->v, next);
        now = next;
        bool looked = now >= s->next_look;
        if (looked) {
            s->next_look = now + ES_VIRTUAL_LOOK;
            kick(s, now);
            ask_settings(s, now);
            es_virtual_sample_all(s, now);
            show(s, now);
        }
        if (s->core.recorder.running && now >= s->next_tick) {
            s->next_tick += s->tick;
            if (!looked) {
                es_virtual_sample_recorded(s, now);
            }
        }
        if (run && (s->core.lock.state != ES_LOCK_ARMED || es_core_stopped(&s->core))) {
            return;
        }
    }
}

/* When a write seems to have acted. What is stated of time stamps is drawn: that of readings, common to all
 * of a run, and that of each write. Only what lies between the two is ever used, so that writes carry both.
 */
static es_time acted(struct es_virtual_station *s)
{
    const uint64_t seed = es_virtual_seed(s->v);
    const double off = ES_VIRTUAL_U_TIME * (es_random_normal(seed, STREAM_STAMPS, s->writes) -
                                            es_random_normal(seed, STREAM_CLOCK, 0));
    s->writes++;
    return es_virtual_now(s->v) + es_from_seconds(off);
}

enum es_status es_virtual_write_now(struct es_virtual_station *s, enum es_role role, double value,
                                    struct es_error *err)
{
    const struct es_bench_channel *c = s->core.channels[role];
    enum es_status status;
    if (is_silent(s, c)) {
        status = es_fail(err, ES_TIMEOUT, "%s does not answer; nobody knows whether \"%s\" was written",
                         s->core.bench->instruments[c->instrument].name, es_role_info(role)->name);
    } else {
        status = es_virtual_write(s->v, role, es_channel_uncorrected(c, value), err);
    }
    es_core_wrote(&s->core, role, value, status, acted(s), ES_VIRTUAL_U_TIME);
    return status;
}
