/* Instruments that answer text lines: the bench file's commands, seen from the other side. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "drivers/line/pattern.h"
#include "rig/simulator/simulator.h"

struct line {
    const char *text;
    size_t length;
};

static struct line trimmed(const uint8_t *bytes, size_t count)
{
    const char *text = (const char *)bytes;
    while (count > 0 && strchr(" \t\r\n", text[count - 1])) {
        count--;
    }
    while (count > 0 && strchr(" \t", *text)) {
        text++;
        count--;
    }
    return (struct line){text, count};
}

static bool is(struct line l, const char *command)
{
    return command && strlen(command) == l.length && memcmp(command, l.text, l.length) == 0;
}

/* A pattern as the text of an answer. false: it cannot be said. */
static bool say(const char *pattern, double value, long digits, char *out, size_t size)
{
    if (!pattern) {
        *out = '\0';
        return true;
    }
    return es_pattern_fill(pattern, value, (int)digits, out, size);
}

/* As many as the instrument resolves, at least those of its commands. */
static long digits_of(const struct sim_point *p)
{
    const struct es_line_channel *c = p->channel->address;
    const double step = es_to_unit_difference(p->channel->resolution, p->channel->unit);
    long digits = c->digits;
    while (digits < 9 && step > 0 && step < 0.99 * pow(10, (double)-digits)) {
        digits++;
    }
    return digits;
}

/* True when the line was this channel's; `out` is its answer, "" for none. */
static bool channel_answers(struct sim_bus *bus, const struct sim_point *p, struct line l, char *out,
                            size_t size)
{
    const struct es_line_channel *c = p->channel->address;
    struct es_raw raw;
    if (is(l, c->ask) || is(l, c->read_back)) {
        if (!say(c->answer, sim_point_read(p), digits_of(p), out, size)) {
            *out = '\0';
        }
        return true;
    }
    if (!c->set || !es_pattern_match(c->set, l.text, l.length, &raw)) {
        return false;
    }
    sim_point_write(p, raw, &bus->sim->log);
    if (!say(c->set_answer, raw.value, c->digits, out, size)) {
        *out = '\0';
    }
    return true;
}

static bool instrument_answers(struct sim_bus *bus, struct sim_instrument *instrument, struct line l,
                               char *out, size_t size)
{
    const struct es_line_instrument *settings = instrument->about->settings;
    *out = '\0';
    if (is(l, settings->start)) {
        return true;
    }
    if (*settings->identify && is(l, settings->identify)) {
        const char *expected = instrument->about->identity;
        snprintf(out, size, "%s", expected ? expected : "Example Works,virtual instrument,0,1");
        return true;
    }
    if (is(l, settings->error_query)) {
        const char *free_of_error = settings->error_free ? settings->error_free : "0";
        if (instrument->error[0]) {
            snprintf(out, size, "%s", instrument->error);
            instrument->error[0] = '\0';
        } else if (!say(free_of_error, 0, 0, out, size)) {
            snprintf(out, size, "0");
        }
        return true;
    }
    for (size_t i = 0; i < instrument->point_count; i++) {
        if (channel_answers(bus, &instrument->points[i], l, out, size)) {
            return true;
        }
    }
    return false;
}

static bool channel_knows(const struct sim_point *p, struct line l)
{
    const struct es_line_channel *c = p->channel->address;
    struct es_raw raw;
    return is(l, c->ask) || is(l, c->read_back) ||
           (c->set && es_pattern_match(c->set, l.text, l.length, &raw));
}

static bool instrument_knows(const struct sim_instrument *instrument, struct line l)
{
    const struct es_line_instrument *settings = instrument->about->settings;
    bool known = is(l, settings->start) || (*settings->identify && is(l, settings->identify)) ||
                 is(l, settings->error_query);
    for (size_t i = 0; i < instrument->point_count && !known; i++) {
        known = channel_knows(&instrument->points[i], l);
    }
    return known;
}

struct sim_instrument *sim_text_owner(const struct sim_bus *bus, const uint8_t *request, size_t count)
{
    const struct line l = trimmed(request, count);
    for (size_t i = 0; i < bus->about->instrument_count; i++) {
        struct sim_instrument *instrument = &bus->sim->instruments[bus->about->instruments[i]];
        if (instrument_knows(instrument, l)) {
            return instrument;
        }
    }
    return NULL;
}

/* The error queue of IEEE 488.2 and SCPI. */
static void queue_error(struct sim_instrument *instrument, const char *error)
{
    snprintf(instrument->error, sizeof instrument->error, "%s", error);
}

static void nobody_s(struct sim_bus *bus, struct line l)
{
    if (l.length > 0 && bus->about->instrument_count > 0) {
        queue_error(&bus->sim->instruments[bus->about->instruments[0]], "-113,\"Undefined header\"");
        es_log(&bus->sim->log, ES_LOG_WARNING, "bus \"%s\": not a command of its instruments: %.*s",
               bus->about->name, (int)(l.length < 80 ? l.length : 80), l.text);
    }
}

size_t sim_text_answer(struct sim_bus *bus, const uint8_t *request, size_t count,
                       uint8_t answer[static SIM_ANSWER_MAX])
{
    const struct line l = trimmed(request, count);
    char text[SIM_ANSWER_MAX / 2];
    struct sim_instrument *instrument = sim_text_owner(bus, request, count);
    if (!instrument) {
        nobody_s(bus, l);
        return 0;
    }
    const struct es_line_instrument *settings = instrument->about->settings;
    if (sim_troubled(bus, instrument, SIM_REFUSE, es_clock_now()) && !is(l, settings->error_query)) {
        queue_error(instrument, "-200,\"Execution error\"");
        return 0;
    }
    if (!instrument_answers(bus, instrument, l, text, sizeof text) || !text[0]) {
        return 0;
    }
    const int n = snprintf((char *)answer, SIM_ANSWER_MAX, "%s%s", text, settings->answer_end);
    return n > 0 && n < SIM_ANSWER_MAX ? (size_t)n : 0;
}
