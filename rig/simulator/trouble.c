/* What is wrong with a bus, or with one instrument on it: the commands that say so, and the question whether
 * it hits a request. */
#include "drivers/virtual/random.h"
#include "rig/base/text.h"
#include "rig/simulator/simulator.h"
#include "rig/simulator/words.h"

#define STREAM_TROUBLE 9000

static const char *const names[SIM_TROUBLES] = {[SIM_SILENT] = "silence",
                                                [SIM_LATE] = "delay",
                                                [SIM_CORRUPT] = "corrupt",
                                                [SIM_CUT] = "cut",
                                                [SIM_REFUSE] = "refuse"};

/* The same answer however often it is asked of one request; the same seed hits the same requests. */
static bool hits(const struct sim_bus *bus, const struct sim_trouble *t, enum sim_trouble_kind kind,
                 es_time now)
{
    return now < t->of[kind].until && es_random_uniform(bus->sim->seed, STREAM_TROUBLE + (uint64_t)kind,
                                                        bus->requests) < t->of[kind].share;
}

const struct sim_trouble *sim_troubled(const struct sim_bus *bus, const struct sim_instrument *instrument,
                                       enum sim_trouble_kind kind, es_time now)
{
    if (instrument && hits(bus, &instrument->trouble, kind, now)) {
        return &instrument->trouble;
    }
    return hits(bus, &bus->trouble, kind, now) ? &bus->trouble : NULL;
}

struct where {
    struct sim_bus *bus; /* NULL: an instrument */
    struct sim_trouble *trouble;
};

static enum es_status take_where(struct simulator *sim, struct words *w, struct where *out,
                                 struct es_error *err)
{
    const struct word name = next_word(w);
    for (size_t i = 0; i < sim->bus_count; i++) {
        if (word_names(name, sim->buses[i].about->name)) {
            *out = (struct where){&sim->buses[i], &sim->buses[i].trouble};
            return ES_OK;
        }
    }
    for (size_t i = 0; i < sim->bench->instrument_count; i++) {
        if (word_names(name, sim->instruments[i].about->name)) {
            *out = (struct where){NULL, &sim->instruments[i].trouble};
            return ES_OK;
        }
    }
    return es_fail(err, ES_NOT_FOUND, "there is no bus or instrument \"%.*s\"; \"show buses\" lists them",
                   (int)name.length, name.text);
}

static enum es_status take_seconds(struct words *w, double *seconds, struct es_error *err)
{
    if (!take_number(w, seconds)) {
        return es_fail(err, ES_USAGE, "for how many seconds? A number is missing");
    }
    return *seconds >= 0 && *seconds <= 1e6 ? ES_OK : es_fail(err, ES_RANGE, "0 to 1000000 seconds");
}

static es_time until(double seconds)
{
    return seconds > 0 ? es_clock_now() + es_from_seconds(seconds) : 0;
}

/* "by SECONDS", for a delay only. */
static enum es_status take_delay(struct words *w, es_time *by, struct es_error *err)
{
    double seconds;
    const struct word middle = next_word(w);
    if (!(word_is(middle, "by") || word_is(middle, "BY")) || !take_number(w, &seconds) ||
        !(seconds >= 0 && seconds <= 3600)) {
        return es_fail(err, ES_USAGE, "\"delay WHERE SECONDS by SECONDS [SHARE]\", the second at most 3600");
    }
    *by = es_from_seconds(seconds);
    return ES_OK;
}

/* Nothing: every answer. */
static enum es_status take_share(struct words *w, double *share, struct es_error *err)
{
    *share = 1;
    if (!at_end(w) && (!take_number(w, share) || !(*share > 0 && *share <= 1))) {
        return es_fail(err, ES_USAGE,
                       "the share of the answers that it hits lies above 0 and up to 1, not \"%s\"", w->at);
    }
    return end_of(w, err);
}

static enum es_status make_trouble(struct simulator *sim, enum sim_trouble_kind kind, struct words *w,
                                   struct es_error *err)
{
    struct where where = {0};
    double seconds = 0, share = 1;
    es_time by = 0;
    enum es_status s = take_where(sim, w, &where, err);
    if (s == ES_OK) {
        s = take_seconds(w, &seconds, err);
    }
    if (s == ES_OK && kind == SIM_LATE) {
        s = take_delay(w, &by, err);
    }
    if (s == ES_OK) {
        s = take_share(w, &share, err);
    }
    if (s == ES_OK) {
        where.trouble->of[kind].until = until(seconds);
        where.trouble->of[kind].share = share;
        where.trouble->late_by = kind == SIM_LATE ? by : where.trouble->late_by;
    }
    return s;
}

static enum es_status disconnect(struct simulator *sim, struct words *w, struct es_error *err)
{
    struct where where = {0};
    double seconds = 0;
    enum es_status s = take_where(sim, w, &where, err);
    if (s == ES_OK && !at_end(w)) {
        s = take_seconds(w, &seconds, err);
    }
    if (s == ES_OK) {
        s = end_of(w, err);
    }
    if (s == ES_OK && !where.bus) {
        s = es_fail(err, ES_USAGE, "only a whole bus hangs up; an instrument can be silent");
    }
    if (s != ES_OK) {
        return s;
    }
    where.bus->away_until = until(seconds);
    return sim_bus_hang_up(where.bus, err);
}

/* A bus that is away comes back at once (sim_bus_work). */
static enum es_status heal(struct simulator *sim, struct words *w, struct es_error *err)
{
    struct where where = {0};
    if (!at_end(w)) {
        enum es_status s = take_where(sim, w, &where, err);
        s = s == ES_OK ? end_of(w, err) : s;
        if (s != ES_OK) {
            return s;
        }
    }
    for (size_t i = 0; i < sim->bus_count; i++) {
        struct sim_bus *bus = &sim->buses[i];
        if (!where.trouble || where.bus == bus) {
            bus->trouble = (struct sim_trouble){0};
            bus->away_until = bus->away_until > 0 ? 1 : 0;
        }
    }
    for (size_t i = 0; i < sim->bench->instrument_count; i++) {
        struct sim_instrument *instrument = &sim->instruments[i];
        const bool on_bus = where.bus && where.bus->about == &sim->bench->buses[instrument->about->bus];
        if (!where.trouble || on_bus || where.trouble == &instrument->trouble) {
            instrument->trouble = (struct sim_trouble){0};
        }
    }
    return ES_OK;
}

enum es_status sim_trouble_command(struct simulator *sim, const char *verb, struct words *w,
                                   struct es_error *err)
{
    for (int kind = 0; kind < SIM_TROUBLES; kind++) {
        if (strcmp(verb, names[kind]) == 0) {
            return make_trouble(sim, (enum sim_trouble_kind)kind, w, err);
        }
    }
    return strcmp(verb, "disconnect") == 0 ? disconnect(sim, w, err) : heal(sim, w, err);
}

static void show(const struct sim_trouble *t, es_time now, struct es_text *out)
{
    for (int kind = 0; kind < SIM_TROUBLES; kind++) {
        if (now < t->of[kind].until) {
            es_text_printf(out, ", %s for another %.1f s", names[kind], es_seconds(t->of[kind].until - now));
            if (t->of[kind].share < 1) {
                es_text_printf(out, " (%g of the answers)", t->of[kind].share);
            }
        }
    }
}

void sim_show_buses(const struct simulator *sim, struct es_text *out)
{
    const es_time now = es_clock_now();
    for (size_t i = 0; i < sim->bus_count; i++) {
        const struct sim_bus *bus = &sim->buses[i];
        char text[300];
        sim_bus_describe(bus, text, sizeof text);
        es_text_printf(out, "%s, %llu requests, %llu answers", text, (unsigned long long)bus->requests,
                       (unsigned long long)bus->answers);
        show(&bus->trouble, now, out);
        es_text_add(out, bus->away_until > now ? ", hung up\n" : "\n");
        for (size_t n = 0; n < bus->about->instrument_count; n++) {
            const struct sim_instrument *instrument = &sim->instruments[bus->about->instruments[n]];
            es_text_printf(out, "  instrument \"%s\"", instrument->about->name);
            show(&instrument->trouble, now, out);
            es_text_char(out, '\n');
        }
    }
}
