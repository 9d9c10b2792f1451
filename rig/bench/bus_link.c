/* Keeping a bus's link: opening, identifying, settling, backing off. All on the bus's thread. */
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "rig/bench/bus_thread.h"

#define REOPEN_FIRST 0.25 /* s */
#define REOPEN_MOST  5.0
#define ASK_FIRST    1.0
#define ASK_MOST     60.0

const char *es_link_state_word(enum es_link_state s)
{
    static const char *const words[] = {"closed", "opening", "trusted", "suspect"};
    return words[s];
}

const char *es_instrument_state_word(enum es_instrument_state s)
{
    static const char *const words[] = {"not asked yet", "answers", "silent", "wrong instrument"};
    return words[s];
}

void es_bus_link_say(struct es_bus_thread *t, const char *format, ...)
{
    char text[512];
    va_list args;
    if (!t->options.log) {
        return;
    }
    int used = snprintf(text, sizeof text, "bus \"%s\": ", t->about->name);
    va_start(args, format);
    vsnprintf(text + used, sizeof text - (size_t)used, format, args);
    va_end(args);
    t->options.log(t->options.log_self, text);
}

static void set_state(struct es_bus_thread *t, enum es_link_state state)
{
    pthread_mutex_lock(&t->lock);
    enum es_link_state before = t->status.state;
    t->status.state = state;
    pthread_mutex_unlock(&t->lock);
    if (state == ES_LINK_TRUSTED) {
        atomic_store(&t->away_since, 0);
    } else if (atomic_load(&t->away_since) == 0) {
        atomic_store(&t->away_since, es_clock_now());
    }
    if (state != before && (state == ES_LINK_CLOSED || before == ES_LINK_OPEN)) {
        es_bus_link_say(t, "%s", es_link_state_word(state));
    }
}

static void note(struct es_bus_thread *t, enum es_status status, const struct es_error *err)
{
    pthread_mutex_lock(&t->lock);
    t->status.timeouts += status == ES_TIMEOUT;
    t->status.hangups += status == ES_HANGUP || status == ES_IO;
    t->status.refused += status == ES_REFUSED;
    t->status.garbled += status == ES_GARBLED;
    snprintf(t->status.text, sizeof t->status.text, "%.250s", err->text);
    pthread_mutex_unlock(&t->lock);
}

static void lost(struct es_bus_thread *t, const struct es_error *err)
{
    pthread_mutex_lock(&t->lock);
    es_bus_fail_jobs(t, ES_HANGUP, err->text, false);
    t->reopen_at = es_clock_now() + es_from_seconds(t->reopen_wait);
    t->reopen_wait = t->reopen_wait * 2 < REOPEN_MOST ? t->reopen_wait * 2 : REOPEN_MOST;
    pthread_mutex_unlock(&t->lock);
    set_state(t, ES_LINK_CLOSED);
}

void es_bus_link_open(struct es_bus_thread *t)
{
    struct es_error err = {0};
    enum es_status status;
    if (t->reopen_wait <= 0) {
        t->reopen_wait = REOPEN_FIRST;
    }
    if (t->bus) {
        status = t->about->driver->settle(t->bus, &err); /* finds an adapter under another name too */
    } else {
        status =
            t->about->driver->open(t->about->settings, t->commons, t->about->instrument_count, &t->bus, &err);
    }
    if (status != ES_OK) {
        note(t, status == ES_TIMEOUT ? ES_TIMEOUT : ES_HANGUP, &err);
        lost(t, &err);
        return;
    }
    pthread_mutex_lock(&t->lock);
    t->status.opens++;
    t->reopen_wait = REOPEN_FIRST;
    pthread_mutex_unlock(&t->lock);
    t->identify_next = 0;
    set_state(t, ES_LINK_OPEN);
}

static void set_instrument(struct es_bus_thread *t, size_t i, enum es_instrument_state state,
                           const char *text)
{
    struct es_bus_instrument *in = &t->instruments[i];
    pthread_mutex_lock(&t->lock);
    enum es_instrument_state before = in->state;
    in->state = state;
    if (state == ES_INSTRUMENT_ANSWERS) {
        in->failures = 0;
        in->wait = 0;
        in->text[0] = 0;
    } else {
        snprintf(in->text, sizeof in->text, "%.250s", text);
        in->wait = in->wait <= 0 ? ASK_FIRST : in->wait * 2 < ASK_MOST ? in->wait * 2 : ASK_MOST;
        in->retry_at = es_clock_now() + es_from_seconds(in->wait);
    }
    pthread_mutex_unlock(&t->lock);
    if (state != before) {
        es_bus_link_say(t, "%s: %s%s%s", t->bench->instruments[t->about->instruments[i]].name,
                        es_instrument_state_word(state), *text ? ": " : "", text);
    }
}

/* Asks one instrument who it is. False when the line is lost or suspect again. */
static bool identify(struct es_bus_thread *t, size_t i)
{
    struct es_error err = {0};
    char text[128] = "";
    const struct es_bench_instrument *about = &t->bench->instruments[t->about->instruments[i]];
    enum es_status status = t->about->driver->probe(t->bus, i, text, sizeof text, &err);
    if (status == ES_HANGUP || status == ES_IO) {
        note(t, status, &err);
        lost(t, &err);
        return false;
    }
    if (status != ES_OK) {
        note(t, status, &err);
        set_instrument(t, i, ES_INSTRUMENT_SILENT, err.text);
        return false;
    }
    pthread_mutex_lock(&t->lock);
    snprintf(t->instruments[i].identity, sizeof t->instruments[i].identity, "%s", text);
    pthread_mutex_unlock(&t->lock);
    if (about->identity && !strstr(text, about->identity)) {
        char why[256];
        snprintf(why, sizeof why, "it says \"%.100s\", the bench file wants \"%.100s\"", text,
                 about->identity);
        set_instrument(t, i, ES_INSTRUMENT_WRONG, why);
        return true;
    }
    set_instrument(t, i, ES_INSTRUMENT_ANSWERS, "");
    return true;
}

/* One instrument a call, so that urgent writes come in between. */
void es_bus_link_identify(struct es_bus_thread *t)
{
    struct es_error err;
    if (t->identify_next < t->about->instrument_count) {
        size_t i = t->identify_next++;
        if (!identify(t, i) && t->status.state == ES_LINK_OPEN &&
            t->about->driver->settle(t->bus, &err) != ES_OK) {
            lost(t, &err);
        }
    } else {
        set_state(t, ES_LINK_TRUSTED);
    }
}

void es_bus_link_settle(struct es_bus_thread *t)
{
    struct es_error err = {0};
    enum es_status status = t->about->driver->settle(t->bus, &err);
    if (status != ES_OK) {
        note(t, status, &err);
        lost(t, &err);
        return;
    }
    pthread_mutex_lock(&t->lock);
    size_t i = t->suspect;
    bool given_up = t->instruments[i].state == ES_INSTRUMENT_SILENT;
    pthread_mutex_unlock(&t->lock);
    if (!given_up && !identify(t, i) && t->status.state == ES_LINK_SUSPECT) {
        /* Silent now, and the question has made the line suspect once more. */
        status = t->about->driver->settle(t->bus, &err);
        if (status != ES_OK) {
            lost(t, &err);
            return;
        }
    }
    if (t->status.state == ES_LINK_SUSPECT) {
        bool all = t->identify_next >= t->about->instrument_count;
        set_state(t, all ? ES_LINK_TRUSTED : ES_LINK_OPEN);
    }
}

void es_bus_link_failed(struct es_bus_thread *t, size_t instrument, enum es_status status,
                        const struct es_error *err)
{
    note(t, status, err);
    if (status == ES_HANGUP || status == ES_IO) {
        lost(t, err);
        return;
    }
    if (status == ES_REFUSED || status == ES_RANGE || status == ES_USAGE) {
        return; /* it answered, and said no */
    }
    struct es_bus_instrument *in = &t->instruments[instrument];
    unsigned tries = (unsigned)t->commons[instrument].retries + 1;
    pthread_mutex_lock(&t->lock);
    in->failures++;
    bool silent = in->failures >= tries;
    t->suspect = instrument;
    pthread_mutex_unlock(&t->lock);
    if (silent) {
        set_instrument(t, instrument, ES_INSTRUMENT_SILENT, err->text);
    }
    set_state(t, ES_LINK_SUSPECT);
}

void es_bus_link_answered(struct es_bus_thread *t, size_t instrument)
{
    if (t->instruments[instrument].failures || t->instruments[instrument].state == ES_INSTRUMENT_SILENT) {
        set_instrument(t, instrument, ES_INSTRUMENT_ANSWERS, "");
    }
}

bool es_bus_link_ask_again(struct es_bus_thread *t, es_time now)
{
    if (atomic_load(&t->busy) > 0) {
        return false;
    }
    for (size_t i = 0; i < t->about->instrument_count; i++) {
        const struct es_bus_instrument *in = &t->instruments[i];
        if ((in->state != ES_INSTRUMENT_SILENT && in->state != ES_INSTRUMENT_WRONG) || now < in->retry_at) {
            continue;
        }
        if (!identify(t, i) && t->status.state == ES_LINK_TRUSTED) {
            struct es_error err;
            if (t->about->driver->settle(t->bus, &err) != ES_OK) {
                lost(t, &err);
            }
        }
        return true;
    }
    return false;
}
