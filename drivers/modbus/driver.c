/* The modbus driver: the half that knows the framework.
 *
 * Trust, the state machine (transitions in brackets):
 *
 *   line  fine --[time-out, garbled: doubt]--> suspect --[settle]--> fine
 *         any  --[hang-up: doubt]------------> lost    --[settle]--> fine
 *   each instrument  doubted (from the start) --[identify]--> known --[doubt]--> doubted
 *
 * A time-out on RTU puts only the silent instrument in doubt: the unit id tells late answers of the others
 * apart. Nothing is read from a doubted instrument; reading one identifies it first. */
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/exchange.h"
#include "drivers/modbus/driver_open.h"
#include "drivers/modbus/fields.h"
#include "drivers/modbus/plan.h"
#include "drivers/modbus/wire.h"

enum line_state { LINE_FINE, LINE_SUSPECT, LINE_LOST };

#define WATCH_TURN_AROUNDS 4 /* after a time-out */

struct instrument {
    const struct es_instrument_common *common;
    const struct es_modbus_instrument *settings;
    struct es_identity identity;
    es_time watch_until; /* RTU: reads are checked until then */
};

struct es_bus {
    const struct es_modbus_bus *settings;
    struct es_modbus_wire *wire;
    enum line_state state;
    double quiet; /* s: longest turn-around of the instruments */
    struct es_instrument_common *commons;
    struct instrument *instruments;
    size_t instrument_count;
    struct es_modbus_plan plan;
};

/* ---- Trust ---- */

static void doubt(struct es_bus *bus, size_t instrument, enum es_status status)
{
    if (status != ES_TIMEOUT && status != ES_GARBLED && status != ES_HANGUP)
        return;
    bus->state = status == ES_HANGUP ? LINE_LOST : LINE_SUSPECT;
    bool rtu = bus->settings->mode == ES_MODBUS_RTU;
    es_time watch_until = es_clock_now() + es_from_seconds(WATCH_TURN_AROUNDS * bus->quiet);
    for (size_t i = 0; i < bus->instrument_count; i++) {
        if (rtu && status == ES_TIMEOUT && i != instrument)
            continue;
        bus->instruments[i].identity.doubted = true;
        bus->instruments[i].watch_until = rtu ? watch_until : 0;
    }
}

static enum es_status bus_settle(struct es_bus *bus, struct es_error *err)
{
    enum es_status status = es_modbus_wire_settle(bus->wire, bus->quiet, err);
    if (status == ES_OK)
        bus->state = LINE_FINE;
    else if (status == ES_HANGUP)
        doubt(bus, 0, status);
    return status;
}

/* One exchange with an instrument, on a line that is fine. */
static enum es_status exchange(struct es_bus *bus, size_t instrument, struct es_modbus_exchange *x,
                               struct es_error *err)
{
    assert(bus->state == LINE_FINE);
    const struct instrument *i = &bus->instruments[instrument];
    x->unit = (uint8_t)i->settings->unit;
    x->timeout = i->common->timeout;
    enum es_status status = es_modbus_wire_exchange(bus->wire, x, err);
    doubt(bus, instrument, status);
    if (status != ES_OK)
        return es_error_context(err, status, "%s", i->common->name);
    return ES_OK;
}

/* As exchange, on whatever line: settles first. Bytes found waiting (noise between frames, an answer given
 * twice) cost one settling more, not the request. */
static enum es_status exchange_settled(struct es_bus *bus, size_t instrument, struct es_modbus_exchange *x,
                                       struct es_error *err)
{
    for (int try = 0;; try++) {
        enum es_status status = ES_OK;
        if (bus->state != LINE_FINE)
            status = bus_settle(bus, err);
        if (status != ES_OK)
            return es_error_context(err, status, "%s", bus->instruments[instrument].common->name);
        x->begun = x->ended = 0;
        status = exchange(bus, instrument, x, err);
        if (status != ES_GARBLED || x->begun != 0 || try > 0)
            return status;
    }
}

/* ---- Times ---- */

/* When the instrument took (or acted on) the value. Serial: the request must have arrived whole; then its own
 * latency. The start's error: the kernel and the UART, some 0.2 ms. TCP: somewhere between, rectangular. */
static struct es_stamp stamp_of(const struct es_bus *bus, size_t instrument,
                                const struct es_modbus_exchange *x)
{
    const struct es_instrument_common *c = bus->instruments[instrument].common;
    double length = es_seconds(x->ended - x->begun);
    struct es_stamp stamp;
    if (bus->settings->mode == ES_MODBUS_TCP)
        return es_stamp_between(x->begun, x->ended);
    double arrived = es_modbus_wire_time(bus->settings->baud, x->request_count + 3);
    double latest = length - es_modbus_wire_time(bus->settings->baud, x->answer_count + 3);
    double at = arrived + c->latency;
    if (latest > arrived && at > latest) /* it had begun to answer by then */
        at = latest;
    stamp.taken = x->begun + es_from_seconds(at);
    stamp.u_time = c->u_latency > 0.0002 ? c->u_latency : 0.0002;
    return stamp;
}

/* ---- Identifying ---- */

struct place {
    int table;
    uint16_t address, count;
};

/* Where to read for a check: the identity registers, or what the plan reads anyway. */
static struct place check_place(const struct es_bus *bus, size_t instrument)
{
    const struct es_modbus_instrument *s = bus->instruments[instrument].settings;
    struct place p = {s->identity_table ? ES_MODBUS_INPUT : ES_MODBUS_HOLDING, (uint16_t)s->identity_address,
                      (uint16_t)s->identity_count};
    if (s->identify != ES_MODBUS_IDENTIFY_REREAD)
        return p;
    for (size_t b = 0; b < bus->plan.block_count; b++) {
        const struct es_modbus_block *block = &bus->plan.blocks[b];
        if (block->instrument == instrument)
            return (struct place){block->table, block->address, block->count};
    }
    return p;
}

/* strict: bytes found waiting are a failure. */
static enum es_status read_place(struct es_bus *bus, size_t instrument, struct place p, bool strict,
                                 struct es_modbus_exchange *x, struct es_error *err)
{
    uint8_t pdu[ES_MODBUS_PDU_MAX];
    x->request = pdu;
    x->request_count = es_modbus_ask_read(p.table, p.address, p.count, pdu);
    enum es_status status =
        strict ? exchange(bus, instrument, x, err) : exchange_settled(bus, instrument, x, err);
    x->request = NULL;
    return status;
}

static void text_of_registers(const struct es_modbus_exchange *x, struct place p, char *out, size_t size)
{
    int n = snprintf(out, size, "register%s %u:", p.count > 1 ? "s" : "", p.address);
    for (size_t i = 0; i < p.count && n > 0 && (size_t)n < size; i++)
        n += snprintf(out + n, size - (size_t)n, " %u", es_modbus_answer_word(x->answer, i));
}

static enum es_status ask_server_id(struct es_bus *bus, size_t instrument, char *out, size_t size,
                                    struct es_error *err)
{
    uint8_t pdu[ES_MODBUS_PDU_MAX];
    struct es_modbus_exchange x = {.request = pdu, .request_count = es_modbus_ask_server_id(pdu)};
    enum es_status status = exchange_settled(bus, instrument, &x, err);
    if (status != ES_OK)
        return status;
    int n = snprintf(out, size, "server id:");
    for (size_t i = 2; i < x.answer_count && n > 0 && (size_t)n + 5 < size; i++) {
        uint8_t c = x.answer[i];
        bool plain = c > ' ' && c < 0x7f;
        n += plain ? snprintf(out + n, size - (size_t)n, "%s%c", i == 2 ? " " : "", c)
                   : snprintf(out + n, size - (size_t)n, " %02x", c);
    }
    return ES_OK;
}

/* Two reads of different length, so that an answer one request behind cannot pass for either. */
static enum es_status check_in_step(struct es_bus *bus, size_t instrument, bool strict, char *out,
                                    size_t size, struct es_error *err)
{
    struct place p = check_place(bus, instrument);
    bool bits = p.table == ES_MODBUS_COIL || p.table == ES_MODBUS_DISCRETE;
    uint16_t step = bits ? 8 : 1; /* bits: lengths differ by whole bytes only */
    struct place other = p;
    other.count = p.count > step ? 1 : (uint16_t)(p.count + step);
    if ((long)other.address + other.count > 65536)
        other.address = (uint16_t)(other.address - step);
    struct es_modbus_exchange x = {0};
    bool must_read = bus->instruments[instrument].settings->identify == ES_MODBUS_IDENTIFY_REGISTER;
    enum es_status status = read_place(bus, instrument, other, strict, &x, err);
    if (status == ES_OK || status == ES_REFUSED) { /* an exception is an answer too */
        status = read_place(bus, instrument, p, strict, &x, err);
        if (status == ES_REFUSED && !must_read) {
            es_error_clear(err);
            status = ES_OK;
        }
    }
    if (status == ES_OK && must_read)
        text_of_registers(&x, p, out, size);
    else if (status == ES_OK)
        snprintf(out, size, "unit %ld answers", bus->instruments[instrument].settings->unit);
    return status;
}

static enum es_status identify(struct es_bus *bus, size_t instrument, char *out, size_t size,
                               struct es_error *err)
{
    enum es_status status = check_in_step(bus, instrument, false, out, size, err);
    if (status == ES_OK && bus->instruments[instrument].settings->identify == ES_MODBUS_IDENTIFY_SERVER_ID)
        status = ask_server_id(bus, instrument, out, size, err);
    return status;
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

/* Before a read: a doubted instrument must be the one that it was. */
static enum es_status make_known(struct es_bus *bus, size_t instrument, struct es_error *err)
{
    struct instrument *i = &bus->instruments[instrument];
    char text[ES_IDENTITY_SIZE];
    if (!i->identity.doubted)
        return bus->state == LINE_FINE ? ES_OK : bus_settle(bus, err);
    enum es_status status = identify(bus, instrument, text, sizeof text, err);
    return status == ES_OK ? es_identity_confirm(&i->identity, i->common->name, text, err) : status;
}

/* ---- Reading and writing ---- */

static enum es_status bus_plan(struct es_bus *bus, const struct es_point *points, size_t count,
                               const struct es_request **requests, size_t *request_count,
                               struct es_error *err)
{
    struct es_modbus_plan plan;
    enum es_status status = es_modbus_plan_make(bus->commons, points, count, &plan, err);
    if (status != ES_OK)
        return status;
    es_modbus_plan_free(&bus->plan);
    bus->plan = plan;
    *requests = plan.requests;
    *request_count = plan.block_count;
    return ES_OK;
}

static struct es_raw take_value(const struct es_modbus_block *block, const struct es_modbus_channel *c,
                                const uint8_t *answer)
{
    size_t at = (size_t)(c->address - block->address);
    if (block->table == ES_MODBUS_COIL || block->table == ES_MODBUS_DISCRETE)
        return (struct es_raw){es_modbus_answer_bit(answer, at), true};
    uint16_t words[4] = {0};
    for (size_t w = 0; w < es_modbus_words((enum es_modbus_type)c->type); w++)
        words[w] = es_modbus_answer_word(answer, at + w);
    return es_modbus_decode(c, words);
}

static enum es_status bus_read(struct es_bus *bus, size_t index, struct es_raw *values,
                               struct es_stamp *stamp, struct es_error *err)
{
    if (index >= bus->plan.block_count)
        return es_fail(err, ES_USAGE, "request %zu is not in the plan", index);
    const struct es_modbus_block *block = &bus->plan.blocks[index];
    uint8_t pdu[ES_MODBUS_PDU_MAX];
    struct es_modbus_exchange x = {.request = pdu};
    x.request_count = es_modbus_ask_read(block->table, block->address, block->count, pdu);
    enum es_status status;
    /* Bytes found waiting before it was sent cost a settling and identifying, not the request. */
    for (int try = 0; try < 2; try++) {
        status = make_known(bus, block->instrument, err);
        if (status != ES_OK)
            return status;
        x.begun = 0;
        status = exchange(bus, block->instrument, &x, err);
        if (status != ES_GARBLED || x.begun != 0)
            break;
    }
    char ignored[128];
    if (status == ES_OK && es_clock_now() < bus->instruments[block->instrument].watch_until)
        status = check_in_step(bus, block->instrument, true, ignored, sizeof ignored, err);
    if (status != ES_OK)
        return es_error_context(err, status, "reading %u from %u", block->count, block->address);
    for (size_t p = 0; p < block->points; p++)
        values[p] = take_value(block, bus->plan.channels[bus->plan.order[block->first + p]], x.answer);
    *stamp = stamp_of(bus, block->instrument, &x);
    return ES_OK;
}

static enum es_status make_write(const struct es_modbus_instrument *settings,
                                 const struct es_modbus_channel *c, double raw, uint16_t words[static 4],
                                 uint8_t pdu[static ES_MODBUS_PDU_MAX], size_t *count, struct es_error *err)
{
    bool multiple = settings->write_form == ES_MODBUS_WRITE_MULTIPLE;
    uint16_t address = (uint16_t)c->address;
    if (c->table == ES_MODBUS_COIL) {
        if (raw != 0 && raw != 1)
            return es_fail(err, ES_RANGE, "a coil takes 0 or 1, not %g", raw);
        words[0] = raw != 0;
        *count = es_modbus_ask_write_coil(address, raw != 0, multiple, pdu);
        return ES_OK;
    }
    if (c->table != ES_MODBUS_HOLDING || c->type == ES_MODBUS_BIT)
        return es_fail(err, ES_USAGE, "only coils and whole holding registers can be written");
    enum es_status status = es_modbus_encode(c, raw, words, err);
    if (status == ES_OK)
        *count = es_modbus_ask_write_registers(address, words, es_modbus_words((enum es_modbus_type)c->type),
                                               multiple, pdu);
    return status;
}

static enum es_status compare_back(struct es_bus *bus, const struct es_point *point, const uint16_t *words,
                                   double raw, struct es_error *err)
{
    const struct es_modbus_channel *c = point->address;
    bool coil = c->table == ES_MODBUS_COIL;
    uint16_t count = coil ? 1 : (uint16_t)es_modbus_words((enum es_modbus_type)c->type);
    struct es_modbus_exchange x;
    enum es_status status = read_place(bus, point->instrument,
                                       (struct place){c->table, (uint16_t)c->address, count}, false, &x, err);
    if (status != ES_OK)
        return es_error_context(err, status, "%g was written and confirmed, but cannot be read back", raw);
    uint16_t back[4] = {0};
    for (size_t w = 0; w < count; w++)
        back[w] = coil ? es_modbus_answer_bit(x.answer, 0) : es_modbus_answer_word(x.answer, w);
    if (memcmp(back, words, count * sizeof *words) == 0)
        return ES_OK;
    return es_fail(
        err, ES_REFUSED,
        "%s: %g was written to %ld and confirmed, but %g is read back. Look at the instrument's limits; if "
        "the register cannot be read back, set \"read back\" to false",
        bus->instruments[point->instrument].common->name, raw, c->address,
        coil ? (double)back[0] : es_modbus_decode(c, back).value);
}

static bool shows_setting(const void *channel)
{
    const struct es_modbus_channel *c = channel;
    return c->read_back && (c->table == ES_MODBUS_COIL || c->table == ES_MODBUS_HOLDING);
}

static bool same_setting(const void *channel, double raw, double read)
{
    const struct es_modbus_channel *c = channel;
    uint16_t written[4] = {0}, back[4] = {0};
    if (c->table == ES_MODBUS_COIL)
        return (raw != 0) == (read != 0);
    return es_modbus_encode(c, raw, written, NULL) == ES_OK &&
           es_modbus_encode(c, read, back, NULL) == ES_OK && memcmp(written, back, sizeof written) == 0;
}

static enum es_status bus_write(struct es_bus *bus, const struct es_point *point, double raw,
                                struct es_stamp *acted, struct es_error *err)
{
    const struct es_modbus_channel *c = point->address;
    uint8_t pdu[ES_MODBUS_PDU_MAX];
    uint16_t words[4] = {0};
    struct es_modbus_exchange x = {.request = pdu};
    enum es_status status =
        make_write(bus->instruments[point->instrument].settings, c, raw, words, pdu, &x.request_count, err);
    if (status != ES_OK)
        return es_error_context(err, status, "%s", bus->instruments[point->instrument].common->name);
    /* Outputs need not wait out the quiet time; readers do. A new connection brings no late answers, and on a
     * serial line the confirmation names its own address and value: only what has come is thrown away. */
    bool tcp = bus->settings->mode == ES_MODBUS_TCP, owes_quiet = bus->state != LINE_FINE;
    if (owes_quiet) {
        status = tcp ? es_modbus_wire_mend(bus->wire, err) : es_modbus_wire_settle(bus->wire, 0, err);
        if (status != ES_OK)
            return es_error_context(err, status, "%s", bus->instruments[point->instrument].common->name);
        bus->state = LINE_FINE;
    }
    status = exchange_settled(bus, point->instrument, &x, err);
    if (status == ES_TIMEOUT)
        return es_error_context(err, status, "writing %g to %ld: it may or may not have acted", raw,
                                c->address);
    if (status != ES_OK)
        return es_error_context(err, status, "writing %g to %ld", raw, c->address);
    struct es_stamp stamp = stamp_of(bus, point->instrument, &x);
    if (c->read_back && (tcp || !owes_quiet)) /* a late answer could pass for what is read back */
        status = compare_back(bus, point, words, raw, err);
    if (owes_quiet && bus->state == LINE_FINE)
        bus->state = LINE_SUSPECT;
    if (status == ES_OK)
        *acted = stamp;
    return status;
}

/* ---- Opening and closing ---- */

static void bus_close(struct es_bus *bus)
{
    es_modbus_wire_close(bus->wire);
    es_modbus_plan_free(&bus->plan);
    free(bus->commons);
    free(bus->instruments);
    free(bus);
}

enum es_status es_modbus_open_on(struct es_transport *transport, const struct es_modbus_bus *settings,
                                 const struct es_instrument_common *instruments, size_t count,
                                 struct es_bus **out, struct es_error *err)
{
    size_t room = count ? count : 1;
    struct es_bus *bus = calloc(1, sizeof *bus);
    if (bus) {
        bus->commons = calloc(room, sizeof *bus->commons);
        bus->instruments = calloc(room, sizeof *bus->instruments);
    }
    if (!bus || !bus->commons || !bus->instruments) {
        es_transport_close(transport);
        if (bus)
            bus_close(bus);
        return es_fail(err, ES_NO_MEMORY, "out of memory opening a Modbus bus");
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
    long baud = settings->mode == ES_MODBUS_TCP ? 0 : settings->baud;
    enum es_status status = es_modbus_wire_open(transport, baud, settings->silence, &bus->wire, err);
    if (status != ES_OK) {
        bus_close(bus);
        return status;
    }
    *out = bus;
    return ES_OK;
}

static enum es_status bus_open(const void *bus_settings, const struct es_instrument_common *instruments,
                               size_t instrument_count, struct es_bus **out, struct es_error *err)
{
    const struct es_modbus_bus *s = bus_settings;
    struct es_transport *t = NULL;
    enum es_status status;
    if (s->mode == ES_MODBUS_TCP) {
        status = es_tcp_open(s->host, (int)s->port, s->connect_timeout, &t, err);
    } else {
        int stop = s->stop_bits ? (int)s->stop_bits : s->parity == ES_PARITY_NONE ? 2 : 1;
        const struct es_serial_settings serial = {s->device, s->adapter, s->baud,     8,
                                                  s->parity, stop,       ES_FLOW_NONE};
        status = es_serial_open(&serial, &t, err);
    }
    if (status == ES_OK && s->byte_trace)
        status = es_trace_open(t, s->byte_trace, &t, err);
    if (status != ES_OK)
        return status;
    return es_modbus_open_on(t, s, instruments, instrument_count, out, err);
}

static double bus_line_limit(struct es_bus *bus)
{
    if (bus->settings->mode == ES_MODBUS_TCP || bus->plan.block_count == 0)
        return 0;
    double sum = 0;
    for (size_t b = 0; b < bus->plan.block_count; b++) {
        const struct es_modbus_block *block = &bus->plan.blocks[b];
        uint8_t pdu[ES_MODBUS_PDU_MAX];
        if (block->settings) /* now and then only */
            continue;
        size_t request = es_modbus_ask_read(block->table, block->address, block->count, pdu);
        size_t answer = es_modbus_answer_length(pdu, request);
        sum += es_modbus_wire_time(bus->settings->baud, request + answer + 6) +
               2 * es_modbus_wire_silence(bus->wire) + bus->commons[block->instrument].latency;
    }
    return sum > 0 ? 1 / sum : 0;
}

static void bus_describe(struct es_bus *bus, char *out, size_t size)
{
    es_modbus_wire_describe(bus->wire, out, size);
}

const struct es_driver es_modbus_driver = {
    .name = "modbus",
    .summary = "Modbus RTU on a serial line and Modbus TCP",
    .bus_fields = es_modbus_bus_fields,
    .bus_field_count = ES_MODBUS_BUS_FIELDS,
    .bus_size = sizeof(struct es_modbus_bus),
    .instrument_fields = es_modbus_instrument_fields,
    .instrument_field_count = ES_MODBUS_INSTRUMENT_FIELDS,
    .instrument_size = sizeof(struct es_modbus_instrument),
    .channel_fields = es_modbus_channel_fields,
    .channel_field_count = ES_MODBUS_CHANNEL_FIELDS,
    .channel_size = sizeof(struct es_modbus_channel),
    .check_bus = es_modbus_check_bus,
    .check_instrument = es_modbus_check_instrument,
    .check_channel = es_modbus_check_channel,
    .clash = es_modbus_clash,
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
