/* Requests are answered when they are due, answers leave when they have passed the wire; between them stands
 * whatever is wrong with the bus at the moment. */
#include <errno.h>
#include <math.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "rig/simulator/simulator.h"

/* A pause in the middle of an RTU request: what came before is thrown away. Longer than the standard's 1.5
 * characters, because a pseudo-terminal's other end may be held up by the machine. */
#define RTU_PAUSE (50 * ES_NS_PER_S / 1000)

static bool is_serial(const struct sim_bus *bus)
{
    return bus->wire == SIM_MODBUS_RTU || bus->wire == SIM_TEXT_SERIAL;
}

/* The fault "slow bus" of the slowest station. */
static double slowness(const struct sim_bus *bus)
{
    double slowest = 0;
    for (size_t i = 0; i < bus->sim->station_count; i++) {
        slowest = fmax(slowest, es_virtual_bus_delay(bus->sim->stations[i].model));
    }
    return slowest;
}

/* Serial lines: when the last character has arrived and the instrument has thought about it. */
static es_time due_time(const struct sim_bus *bus, size_t count, es_time now)
{
    double latency = 0;
    if (bus->about->instrument_count > 0) {
        latency = bus->sim->bench->instruments[bus->about->instruments[0]].common.latency;
    }
    return now + es_from_seconds(sim_wire_time(bus, count) + latency + slowness(bus));
}

static void take_request(struct sim_bus *bus, struct sim_line *line, es_time now)
{
    if (line->request.count > 0 || line->have == 0) {
        return;
    }
    const int length = sim_frame(bus, line->in, line->have);
    if (length == 0 && line->have < sizeof line->in) {
        return;
    }
    if (length <= 0 || (size_t)length > sizeof line->request.bytes) { /* garbage, or endless */
        if (is_serial(bus)) {
            line->have = 0;
        } else {
            sim_line_close(line);
        }
        return;
    }
    const size_t n = (size_t)length;
    memcpy(line->request.bytes, line->in, n);
    line->request.count = n;
    line->request.due = due_time(bus, n, now);
    memmove(line->in, line->in + n, line->have - n);
    line->have -= n;
    bus->requests++;
}

void sim_line_readable(struct sim_bus *bus, struct sim_line *line, es_time now)
{
    if (bus->wire == SIM_MODBUS_RTU && line->have > 0 && now - line->last_byte > RTU_PAUSE) {
        line->have = 0;
    }
    const size_t room = sizeof line->in - line->have;
    const ssize_t got = room > 0 ? read(line->fd, line->in + line->have, room) : 0;
    if (got < 0 && (errno == EAGAIN || errno == EINTR)) {
        return;
    }
    if (got <= 0) {
        if (is_serial(bus)) {
            line->have = 0;
        } else {
            sim_line_close(line);
        }
        return;
    }
    line->have += (size_t)got;
    line->last_byte = now;
    take_request(bus, line, now);
}

static bool is_modbus(const struct sim_bus *bus)
{
    return bus->wire == SIM_MODBUS_TCP || bus->wire == SIM_MODBUS_RTU;
}

static size_t answer(struct sim_bus *bus, const struct sim_bytes *request, uint8_t *out)
{
    if (is_modbus(bus)) {
        return sim_modbus_answer(bus, request->bytes, request->count, out);
    }
    return sim_text_answer(bus, request->bytes, request->count, out);
}

static void corrupt(const struct sim_bus *bus, struct sim_bytes *b)
{
    /* TCP: behind the length, so that the answer still ends where it should. */
    const size_t at = bus->wire == SIM_MODBUS_TCP ? 7 : b->count / 2;
    b->bytes[at < b->count ? at : 0] ^= 0x55;
}

static const struct sim_instrument *owner(const struct sim_bus *bus, const struct sim_bytes *request)
{
    return is_modbus(bus) ? sim_modbus_owner(bus, request->bytes, request->count)
                          : sim_text_owner(bus, request->bytes, request->count);
}

static void spoil(const struct sim_bus *bus, const struct sim_instrument *from, struct sim_bytes *out,
                  es_time now)
{
    const struct sim_trouble *late = sim_troubled(bus, from, SIM_LATE, now);
    if (late) {
        out->due += late->late_by;
    }
    if (sim_troubled(bus, from, SIM_CORRUPT, now)) {
        corrupt(bus, out);
    }
    if (sim_troubled(bus, from, SIM_CUT, now)) {
        out->count = (out->count + 1) / 2;
    }
}

static void do_request(struct sim_bus *bus, struct sim_line *line, es_time now)
{
    const struct sim_instrument *to = owner(bus, &line->request);
    struct sim_bytes *out = &line->pending[line->pending_count];
    sim_advance(bus->sim, now);
    if (line->pending_count == SIM_PENDING_MAX || sim_troubled(bus, to, SIM_SILENT, now)) {
        line->request.count = 0;
        return;
    }
    out->count = answer(bus, &line->request, out->bytes);
    line->request.count = 0;
    if (out->count > 0) {
        out->due = now + es_from_seconds(sim_wire_time(bus, out->count));
        spoil(bus, to, out, now);
        line->pending_count++;
    }
}

static bool send_first(struct sim_bus *bus, struct sim_line *line)
{
    const struct sim_bytes *b = &line->pending[0];
    const ssize_t all = (ssize_t)b->count;
    const ssize_t sent = is_serial(bus) ? write(line->fd, b->bytes, b->count)
                                        : send(line->fd, b->bytes, b->count, MSG_DONTWAIT | MSG_NOSIGNAL);
    bus->answers++;
    line->pending_count--;
    memmove(&line->pending[0], &line->pending[1], line->pending_count * sizeof line->pending[0]);
    return is_serial(bus) || sent == all;
}

static es_time line_work(struct sim_bus *bus, struct sim_line *line, es_time now)
{
    es_time next = INT64_MAX;
    while (line->request.count > 0 && line->request.due <= now) {
        do_request(bus, line, now);
        take_request(bus, line, now);
    }
    if (line->request.count > 0) {
        next = line->request.due;
    }
    while (line->pending_count > 0 && line->pending[0].due <= now) {
        if (!send_first(bus, line)) { /* a client that does not read */
            sim_line_close(line);
            return INT64_MAX;
        }
    }
    if (line->pending_count > 0 && line->pending[0].due < next) {
        next = line->pending[0].due;
    }
    return next;
}

static void come_back(struct sim_bus *bus)
{
    struct es_error err;
    bus->away_until = 0;
    if (sim_bus_hang_up(bus, &err) != ES_OK) {
        es_log(&bus->sim->log, ES_LOG_ERROR, "%s", err.text);
    }
}

es_time sim_bus_work(struct sim_bus *bus, es_time now)
{
    es_time next = INT64_MAX;
    if (bus->away_until > 0) {
        if (now < bus->away_until) {
            return bus->away_until;
        }
        come_back(bus);
    }
    for (size_t i = 0; i < SIM_LINES_MAX; i++) {
        if (bus->lines[i].fd >= 0) {
            const es_time at = line_work(bus, &bus->lines[i], now);
            next = at < next ? at : next;
        }
    }
    return next;
}
