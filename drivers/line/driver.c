/* The line driver: one command, one answer, line by line.
 *
 * Trust, the state machine (transitions in brackets):
 *
 *   line  fine --[time-out, garbled: doubt]--> suspect --[settle]--> fine
 *         any  --[hang-up: doubt]------------> lost    --[settle]--> fine
 *   each instrument  doubted (from the start) --[identify]--> known --[doubt]--> doubted
 *
 * Lines carry no unit id: whatever goes wrong puts every instrument of the line in doubt. */
#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/exchange.h"
#include "drivers/line/driver_open.h"
#include "drivers/line/fields.h"
#include "drivers/line/pattern.h"
#include "drivers/line/talk.h"
#include "drivers/transport/transport.h"

#define CONNECT_WITHIN 2.0 /* s */

enum line_state { LINE_FINE, LINE_SUSPECT, LINE_LOST };

struct instrument {
    const struct es_instrument_common *common;
    const struct es_line_instrument *settings;
    struct es_identity identity;
    bool started;
};

struct es_bus {
    const struct es_line_bus *settings;
    struct es_transport *transport;
    enum line_state state;
    double quiet;      /* s: longest turn-around of the instruments */
    es_time last_byte; /* for the gap */
    struct es_instrument_common *commons;
    struct instrument *instruments;
    size_t instrument_count;
    const struct es_point *points; /* copies, of the plan */
    size_t *order;
    struct es_request *requests;
    size_t request_count;
};

/* ---- Trust ---- */

static void doubt(struct es_bus *bus, enum es_status status)
{
    if (status != ES_TIMEOUT && status != ES_GARBLED && status != ES_HANGUP)
        return;
    bus->state = status == ES_HANGUP ? LINE_LOST : LINE_SUSPECT;
    for (size_t i = 0; i < bus->instrument_count; i++) {
        bus->instruments[i].identity.doubted = true;
        if (status == ES_HANGUP)
            bus->instruments[i].started = false;
    }
}

static enum es_status bus_settle(struct es_bus *bus, struct es_error *err)
{
    bool renew =
        bus->state == LINE_LOST || (bus->state == LINE_SUSPECT && bus->settings->mode == ES_LINE_TCP);
    enum es_status status = ES_OK;
    if (renew)
        status = es_transport_reopen(bus->transport, es_clock_now() + 5 * ES_NS_PER_S, err);
    if (status == ES_OK) {
        es_time deadline = es_clock_now() + es_from_seconds(10 * bus->quiet + 1);
        status = es_transport_settle(bus->transport, bus->quiet, deadline, NULL, err);
    }
    bus->last_byte = es_clock_now();
    if (status == ES_OK)
        bus->state = LINE_FINE;
    else
        doubt(bus, status);
    return status;
}

/* ---- One command and its answer ---- */

static enum es_status exchange(struct es_bus *bus, size_t instrument, struct es_line_talk *x,
                               struct es_error *err)
{
    assert(bus->state == LINE_FINE);
    const struct instrument *i = &bus->instruments[instrument];
    es_clock_sleep_until(bus->last_byte + es_from_seconds(bus->settings->gap));
    enum es_status status =
        es_line_talk(bus->transport, bus->settings, i->settings, i->common->timeout, x, err);
    bus->last_byte = es_clock_now();
    doubt(bus, status);
    return status == ES_OK ? ES_OK : es_error_context(err, status, "%s", i->common->name);
}

/* Settles first where needed; bytes found waiting cost one settling more, not the command. */
static enum es_status exchange_settled(struct es_bus *bus, size_t instrument, struct es_line_talk *x,
                                       struct es_error *err)
{
    for (int try = 0;; try++) {
        enum es_status status = bus->state == LINE_FINE ? ES_OK : bus_settle(bus, err);
        if (status != ES_OK)
            return es_error_context(err, status, "%s", bus->instruments[instrument].common->name);
        x->begun = 0;
        status = exchange(bus, instrument, x, err);
        if (status != ES_GARBLED || x->begun != 0 || try > 0)
            return status;
    }
}

static enum es_status mismatch(struct es_bus *bus, const struct es_line_talk *x, const char *pattern,
                               struct es_error *err)
{
    char shown[80];
    es_line_shorten(x->answer, x->length, shown);
    doubt(bus, ES_GARBLED);
    return es_fail(err, ES_GARBLED, "\"%s\" was answered with \"%s\", which is not \"%s\"", x->command, shown,
                   pattern);
}

/* ---- Identifying ---- */

static enum es_status identify(struct es_bus *bus, size_t instrument, char *out, size_t size,
                               struct es_error *err)
{
    struct instrument *i = &bus->instruments[instrument];
    enum es_status status = ES_OK;
    struct es_line_talk x;
    if (bus->state != LINE_FINE)
        status = bus_settle(bus, err);
    if (status == ES_OK && i->settings->start && !i->started) {
        x = (struct es_line_talk){.command = i->settings->start};
        status = exchange_settled(bus, instrument, &x, err);
    }
    if (status != ES_OK)
        return status;
    i->started = true;
    if (!i->settings->identify[0]) {
        snprintf(out, size, "has no identification");
        return ES_OK;
    }
    x = (struct es_line_talk){.command = i->settings->identify, .answers = true};
    status = exchange_settled(bus, instrument, &x, err);
    if (status != ES_OK)
        return status;
    char shown[80];
    es_line_shorten(x.answer, x.length, shown);
    if (!shown[0])
        return mismatch(bus, &x, "an identification", err);
    snprintf(out, size, "%s", shown);
    return ES_OK;
}

static enum es_status bus_probe(struct es_bus *bus, size_t instrument, char *out, size_t size,
                                struct es_error *err)
{
    char text[ES_IDENTITY_SIZE];
    enum es_status status = identify(bus, instrument, text, sizeof text, err);
    if (status != ES_OK)
        return status;
    es_identity_take(&bus->instruments[instrument].identity, text);
    snprintf(out, size, "%s", text);
    return ES_OK;
}

static enum es_status make_known(struct es_bus *bus, size_t instrument, struct es_error *err)
{
    struct instrument *i = &bus->instruments[instrument];
    char text[ES_IDENTITY_SIZE];
    if (!i->identity.doubted && bus->state == LINE_FINE)
        return ES_OK;
    enum es_status status = identify(bus, instrument, text, sizeof text, err);
    if (status == ES_OK) {
        status = es_identity_confirm(&i->identity, i->common->name, text, err);
        doubt(bus, status); /* another one answers: the line is not what it was */
    }
    return status;
}

/* ---- Reading and writing ---- */

static struct es_stamp stamp_of(const struct es_bus *bus, size_t instrument, const struct es_line_talk *x)
{
    const struct es_instrument_common *c = &bus->commons[instrument];
    struct es_stamp stamp;
    if (bus->settings->mode == ES_LINE_TCP)
        return es_stamp_between(x->begun, x->ended);
    stamp.taken = x->begun + es_from_seconds(es_line_character(bus->settings) * (double)x->sent + c->latency);
    if (x->answers && stamp.taken > x->ended)
        stamp.taken = x->ended;
    stamp.u_time = c->u_latency > 0.0002 ? c->u_latency : 0.0002;
    return stamp;
}

/* The question for a value, or for the setting of an output. */
static const char *question_of(const struct es_point *point)
{
    const struct es_line_channel *c = point->address;
    return point->writable && c->read_back ? c->read_back : c->ask;
}

static enum es_status bus_read(struct es_bus *bus, size_t index, struct es_raw *values,
                               struct es_stamp *stamp, struct es_error *err)
{
    if (index >= bus->request_count)
        return es_fail(err, ES_USAGE, "request %zu is not in the plan", index);
    const struct es_request *r = &bus->requests[index];
    struct es_line_talk x = {.command = question_of(&bus->points[r->point_index[0]]), .answers = true};
    enum es_status status;
    for (int try = 0; try < 2; try++) {
        status = make_known(bus, r->instrument, err);
        if (status != ES_OK)
            return status;
        x.begun = 0;
        status = exchange(bus, r->instrument, &x, err);
        if (status != ES_GARBLED || x.begun != 0)
            break;
    }
    if (status != ES_OK)
        return status;
    for (size_t p = 0; p < r->count; p++) {
        const struct es_line_channel *c = bus->points[r->point_index[p]].address;
        struct es_raw ignored;
        if (!es_pattern_match(c->answer, x.answer, x.length, &ignored))
            return es_error_context(err, mismatch(bus, &x, c->answer, err), "%s",
                                    bus->commons[r->instrument].name);
    }
    for (size_t p = 0; p < r->count; p++) {
        const struct es_line_channel *c = bus->points[r->point_index[p]].address;
        (void)es_pattern_match(c->answer, x.answer, x.length, &values[p]); /* it did just before */
    }
    *stamp = stamp_of(bus, r->instrument, &x);
    return ES_OK;
}

static bool shows_setting(const void *channel)
{
    const struct es_line_channel *c = channel;
    return c->read_back && c->answer;
}

/* What was sent was rounded to its digits. */
static bool same_setting(const void *channel, double raw, double read)
{
    const struct es_line_channel *c = channel;
    return fabs(read - raw) <= c->within + 0.5000001 * pow(10, -(double)c->digits);
}

/* Asks whether a setting was understood and what it has become. */
static enum es_status prove(struct es_bus *bus, size_t instrument, const struct es_line_channel *c,
                            double raw, struct es_error *err)
{
    const struct es_line_instrument *s = bus->instruments[instrument].settings;
    char shown[80];
    struct es_raw back = {0};
    struct es_line_talk x;
    if (s->error_query) {
        x = (struct es_line_talk){.command = s->error_query, .answers = true};
        enum es_status status = exchange_settled(bus, instrument, &x, err);
        if (status != ES_OK)
            return es_error_context(err, status, "it was sent, but the error query failed");
        es_line_shorten(x.answer, x.length, shown);
        if (!es_pattern_match(s->error_free, x.answer, x.length, &back))
            return es_fail(err, ES_REFUSED, "the instrument reports \"%s\"", shown);
    }
    if (!c->read_back)
        return ES_OK;
    x = (struct es_line_talk){.command = c->read_back, .answers = true};
    enum es_status status = exchange_settled(bus, instrument, &x, err);
    if (status != ES_OK)
        return es_error_context(err, status, "it was sent, but cannot be read back");
    if (!es_pattern_match(c->answer, x.answer, x.length, &back))
        return mismatch(bus, &x, c->answer, err);
    if (!back.valid || !same_setting(c, raw, back.value))
        return es_fail(err, ES_REFUSED, "%g is read back. Look at the instrument's limits", back.value);
    return ES_OK;
}

static enum es_status set_value(struct es_bus *bus, const struct es_point *point, struct es_line_talk *x,
                                double raw, struct es_error *err)
{
    const struct es_line_channel *c = point->address;
    enum es_status status = exchange_settled(bus, point->instrument, x, err);
    if (status == ES_TIMEOUT)
        return es_error_context(err, status, "it may or may not have acted");
    if (status != ES_OK)
        return status;
    struct es_raw echoed;
    if (c->set_answer && !es_pattern_match(c->set_answer, x->answer, x->length, &echoed)) {
        char shown[80];
        es_line_shorten(x->answer, x->length, shown);
        return es_fail(err, ES_REFUSED, "the instrument answered \"%s\" instead of \"%s\"", shown,
                       c->set_answer);
    }
    return prove(bus, point->instrument, c, raw, err);
}

static enum es_status bus_write(struct es_bus *bus, const struct es_point *point, double raw,
                                struct es_stamp *acted, struct es_error *err)
{
    const struct es_line_channel *c = point->address;
    const char *name = bus->commons[point->instrument].name;
    char command[ES_LINE_COMMAND_MAX];
    if (!c->set)
        return es_fail(err, ES_USAGE, "%s: this channel has no command that sets it", name);
    if (!es_pattern_fill(c->set, raw, (int)c->digits, command, sizeof command))
        return es_fail(err, ES_RANGE, "%s: %g cannot be put into \"%s\"", name, raw, c->set);
    struct instrument *i = &bus->instruments[point->instrument];
    struct es_line_talk x = {.command = i->settings->start};
    enum es_status status = ES_OK;
    if (i->settings->start && !i->started) {
        status = exchange_settled(bus, point->instrument, &x, err);
        i->started = status == ES_OK;
    }
    x = (struct es_line_talk){.command = command, .answers = c->set_answer != NULL};
    if (status == ES_OK)
        status = set_value(bus, point, &x, raw, err);
    if (status != ES_OK)
        return es_error_context(err, status, "%s: sending \"%s\"", name, command);
    *acted = stamp_of(bus, point->instrument, &x);
    return ES_OK;
}

/* ---- Planning ---- */

static bool same_request(const struct es_point *a, const struct es_point *b)
{
    return a->instrument == b->instrument && a->writable == b->writable &&
           strcmp(question_of(a), question_of(b)) == 0;
}

static void forget_plan(struct es_bus *bus)
{
    free((void *)bus->points);
    free(bus->order);
    free(bus->requests);
    bus->points = NULL;
    bus->order = NULL;
    bus->requests = NULL;
    bus->request_count = 0;
}

/* Channels that ask the same command share one request. */
static enum es_status bus_plan(struct es_bus *bus, const struct es_point *points, size_t count,
                               const struct es_request **requests, size_t *request_count,
                               struct es_error *err)
{
    for (size_t i = 0; i < count; i++)
        if (!question_of(&points[i]))
            return es_fail(err, ES_USAGE, "%s: a channel without \"%s\" cannot be read",
                           bus->commons[points[i].instrument].name, points[i].writable ? "read back" : "ask");
    size_t room = count ? count : 1;
    struct es_point *copy = calloc(room, sizeof *copy);
    size_t *order = calloc(room, sizeof *order);
    struct es_request *list = calloc(room, sizeof *list);
    if (!copy || !order || !list) {
        free(copy);
        free(order);
        free(list);
        return es_fail(err, ES_NO_MEMORY, "out of memory planning %zu channels", count);
    }
    size_t used = 0, made = 0;
    for (size_t i = 0; i < count; i++) {
        copy[i] = points[i];
        bool seen = false;
        for (size_t j = 0; j < i && !seen; j++)
            seen = same_request(&points[j], &points[i]);
        if (seen)
            continue;
        size_t start = used;
        for (size_t j = i; j < count; j++)
            if (same_request(&points[i], &points[j]))
                order[used++] = j;
        list[made++] = (struct es_request){points[i].instrument, used - start, order + start};
    }
    forget_plan(bus);
    bus->points = copy;
    bus->order = order;
    bus->requests = list;
    bus->request_count = made;
    *requests = list;
    *request_count = made;
    return ES_OK;
}

/* ---- Opening and closing ---- */

static void bus_close(struct es_bus *bus)
{
    es_transport_close(bus->transport);
    forget_plan(bus);
    free(bus->commons);
    free(bus->instruments);
    free(bus);
}

enum es_status es_line_open_on(struct es_transport *transport, const struct es_line_bus *settings,
                               const struct es_instrument_common *instruments, size_t count,
                               struct es_bus **out, struct es_error *err)
{
    size_t room = count ? count : 1;
    struct es_bus *bus = calloc(1, sizeof *bus);
    if (bus) {
        bus->transport = transport;
        bus->commons = calloc(room, sizeof *bus->commons);
        bus->instruments = calloc(room, sizeof *bus->instruments);
    }
    if (!bus || !bus->commons || !bus->instruments) {
        if (bus)
            bus_close(bus);
        else
            es_transport_close(transport);
        return es_fail(err, ES_NO_MEMORY, "out of memory opening a line");
    }
    bus->settings = settings;
    bus->instrument_count = count;
    for (size_t i = 0; i < count; i++) {
        bus->commons[i] = instruments[i];
        bus->instruments[i] = (struct instrument){
            .common = &bus->commons[i], .settings = instruments[i].settings, .identity.doubted = true};
        if (instruments[i].turn_around > bus->quiet)
            bus->quiet = instruments[i].turn_around;
    }
    *out = bus;
    return ES_OK;
}

static enum es_status bus_open(const void *bus_settings, const struct es_instrument_common *instruments,
                               size_t instrument_count, struct es_bus **out, struct es_error *err)
{
    const struct es_line_bus *s = bus_settings;
    struct es_transport *t = NULL;
    enum es_status status;
    if (s->mode == ES_LINE_TCP) {
        status = es_tcp_open(s->host, (int)s->port, CONNECT_WITHIN, &t, err);
    } else {
        const struct es_serial_settings serial = {s->device, s->adapter,        s->baud, (int)s->data_bits,
                                                  s->parity, (int)s->stop_bits, s->flow};
        status = es_serial_open(&serial, &t, err);
    }
    if (status == ES_OK && s->byte_trace)
        status = es_trace_open(t, s->byte_trace, &t, err);
    if (status != ES_OK)
        return status;
    return es_line_open_on(t, s, instruments, instrument_count, out, err);
}

/* Commands and answers of some 12 characters each way: an upper bound, not a promise. */
static double bus_line_limit(struct es_bus *bus)
{
    double sum = 0;
    for (size_t r = 0; r < bus->request_count; r++) {
        const struct es_point *p = &bus->points[bus->requests[r].point_index[0]];
        const struct es_instrument_common *i = &bus->commons[bus->requests[r].instrument];
        if (p->writable) /* settings: now and then only */
            continue;
        double characters = (double)strlen(question_of(p)) * (bus->settings->echo ? 2 : 1) + 12;
        sum += characters * es_line_character(bus->settings) + bus->settings->gap + i->latency;
    }
    return sum > 0 ? 1 / sum : 0;
}

static void bus_describe(struct es_bus *bus, char *out, size_t size)
{
    es_transport_describe(bus->transport, out, size);
}

const struct es_driver es_line_driver = {
    .name = "line",
    .summary = "instruments that answer text lines (IEEE 488.2, SCPI), serial or TCP",
    .bus_fields = es_line_bus_fields,
    .bus_field_count = ES_LINE_BUS_FIELDS,
    .bus_size = sizeof(struct es_line_bus),
    .instrument_fields = es_line_instrument_fields,
    .instrument_field_count = ES_LINE_INSTRUMENT_FIELDS,
    .instrument_size = sizeof(struct es_line_instrument),
    .channel_fields = es_line_channel_fields,
    .channel_field_count = ES_LINE_CHANNEL_FIELDS,
    .channel_size = sizeof(struct es_line_channel),
    .check_bus = es_line_check_bus,
    .check_instrument = es_line_check_instrument,
    .check_channel = es_line_check_channel,
    .clash = es_line_clash,
    .open = bus_open,
    .probe = bus_probe,
    .plan = bus_plan,
    .read = bus_read,
    .write = bus_write,
    .shows_setting = shows_setting,
    .same_setting = same_setting,
    .settle = bus_settle,
    .close = bus_close,
    .line_limit = bus_line_limit,
    .describe = bus_describe,
};
