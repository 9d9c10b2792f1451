#include "tests/support/wires/modbus_server.h"

#include <string.h>

uint16_t server_crc(const uint8_t *bytes, size_t count)
{
    unsigned crc = 0xFFFF;
    for (size_t i = 0; i < count; i++) {
        crc ^= bytes[i];
        for (int bit = 0; bit < 8; bit++)
            crc = crc & 1 ? crc >> 1 ^ 0xA001 : crc >> 1;
    }
    return (uint16_t)crc;
}

static unsigned word(const uint8_t *at)
{
    return (unsigned)at[0] << 8 | at[1];
}

static size_t exception(uint8_t *answer, uint8_t function, uint8_t code)
{
    answer[0] = function | 0x80;
    answer[1] = code;
    return 2;
}

static size_t read_bits(const bool *table, const uint8_t *request, uint8_t *answer)
{
    unsigned first = word(request + 1), count = word(request + 3);
    if (count < 1 || count > 2000)
        return exception(answer, request[0], 3);
    if (first + count > SERVER_ADDRESSES)
        return exception(answer, request[0], 2);
    answer[0] = request[0];
    answer[1] = (uint8_t)((count + 7) / 8);
    memset(answer + 2, 0, answer[1]);
    for (unsigned i = 0; i < count; i++)
        answer[2 + i / 8] |= (uint8_t)(table[first + i] << (i % 8));
    return 2u + answer[1];
}

static size_t read_words(const struct modbus_server *s, const uint16_t *table, const uint8_t *request,
                         uint8_t *answer)
{
    long first = word(request + 1), count = word(request + 3);
    if (count < 1 || count > 125)
        return exception(answer, request[0], 3);
    bool across = s->unreadable_last >= s->unreadable_first && s->unreadable_last > 0 &&
                  first <= s->unreadable_last && first + count > s->unreadable_first;
    if (first + count > SERVER_ADDRESSES || across)
        return exception(answer, request[0], 2);
    answer[0] = request[0];
    answer[1] = (uint8_t)(2 * count);
    for (long i = 0; i < count; i++) {
        answer[2 + 2 * i] = (uint8_t)(table[first + i] >> 8);
        answer[3 + 2 * i] = (uint8_t)table[first + i];
    }
    return 2u + answer[1];
}

static size_t write_many(struct modbus_server *s, const uint8_t *request, uint8_t *answer)
{
    unsigned first = word(request + 1), count = word(request + 3);
    if (first + count > SERVER_ADDRESSES)
        return exception(answer, request[0], 2);
    for (unsigned i = 0; i < count; i++) {
        if (request[0] == 0x10)
            s->holding[first + i] = (uint16_t)word(request + 6 + 2 * i);
        else
            s->coils[first + i] = (request[6 + i / 8] >> (i % 8)) & 1;
    }
    memcpy(answer, request, 5);
    return 5;
}

static size_t write_one(struct modbus_server *s, const uint8_t *request, uint8_t *answer)
{
    unsigned first = word(request + 1);
    if (first >= SERVER_ADDRESSES)
        return exception(answer, request[0], 2);
    if (request[0] == 6)
        s->holding[first] = (uint16_t)word(request + 3);
    else
        s->coils[first] = request[3] == 0xFF;
    memcpy(answer, request, 5);
    return 5;
}

static size_t answer_pdu(struct modbus_server *s, const uint8_t *request, uint8_t *answer)
{
    static const char id[] = "test server";
    switch (request[0]) {
    case 1:
        return read_bits(s->coils, request, answer);
    case 2:
        return read_bits(s->discrete, request, answer);
    case 3:
        return read_words(s, s->holding, request, answer);
    case 4:
        return read_words(s, s->input, request, answer);
    case 5:
    case 6:
        return write_one(s, request, answer);
    case 0x0F:
    case 0x10:
        return write_many(s, request, answer);
    case 0x11:
        answer[0] = 0x11;
        answer[1] = sizeof id; /* text and run indicator */
        memcpy(answer + 2, id, sizeof id - 1);
        answer[1 + sizeof id] = 0xFF;
        return 2 + sizeof id;
    default:
        return exception(answer, request[0], 1);
    }
}

/* Bytes of the request's PDU, 0 when more are needed to know. */
static size_t request_length(const uint8_t *pdu, size_t count)
{
    if (count < 1)
        return 0;
    if (pdu[0] == 0x11)
        return 1;
    if (pdu[0] == 0x0F || pdu[0] == 0x10)
        return count < 6 ? 0 : 6u + pdu[5];
    return 5;
}

static enum server_act next_act(struct modbus_server *s)
{
    if (s->choose)
        return s->choose(s->choose_self, s->requests);
    return s->act_next < s->act_count ? s->acts[s->act_next++] : SERVER_ANSWER;
}

static size_t frame(const struct modbus_server *s, const uint8_t *request, unsigned unit, const uint8_t *pdu,
                    size_t count, uint8_t *out)
{
    if (s->tcp) {
        memcpy(out, request, 4);
        out[4] = (uint8_t)((count + 1) >> 8);
        out[5] = (uint8_t)(count + 1);
        out[6] = (uint8_t)unit;
        memcpy(out + 7, pdu, count);
        return count + 7;
    }
    out[0] = (uint8_t)unit;
    memcpy(out + 1, pdu, count);
    uint16_t crc = server_crc(out, count + 1);
    out[count + 1] = (uint8_t)crc;
    out[count + 2] = (uint8_t)(crc >> 8);
    return count + 3;
}

static void deliver(struct modbus_server *s, struct peer *p, const uint8_t *bytes, size_t count,
                    es_time arrived, es_time request_end)
{
    if (s->baud <= 0) {
        peer_send(p, bytes, count, arrived + es_from_seconds(s->turn_around));
        return;
    }
    double character = 11 / s->baud;
    double silence = s->baud > 19200 ? 0.00175 : 3.5 * character;
    es_time begin = request_end + es_from_seconds(silence + s->turn_around);
    s->line_free = peer_send_paced(p, bytes, count, begin, character);
}

static void act_on(struct modbus_server *s, struct peer *p, const uint8_t *request, unsigned unit,
                   const uint8_t *pdu_in, es_time arrived, es_time request_end)
{
    static const uint8_t noise[] = {0x5A, 0x00, 0xFF, 0x13};
    uint8_t pdu[256], adu[300];
    s->sampled = request_end;
    if (s->counting)
        s->holding[0]++, s->input[0]++;
    size_t n = answer_pdu(s, pdu_in, pdu);
    enum server_act act = next_act(s);
    s->requests++;
    if (act == SERVER_EXCEPTION)
        n = exception(pdu, pdu_in[0], 4);
    if (act == SERVER_OTHER_FUNCTION)
        pdu[0] = pdu[0] == 3 ? 4 : 3;
    if (act == SERVER_OTHER_LENGTH && n > 4)
        n -= 2, pdu[1] = (uint8_t)(pdu[1] - 2);
    size_t count = frame(s, request, act == SERVER_OTHER_UNIT ? unit + 1 : unit, pdu, n, adu);
    switch (act) {
    case SERVER_SILENT:
        return;
    case SERVER_LATE:
        peer_send(p, adu, count, arrived + es_from_seconds(s->delay));
        return;
    case SERVER_TRUNCATE:
        count /= 2;
        break;
    case SERVER_CORRUPT:
        adu[s->tcp ? count - 1 : 3] ^= 0x10;
        if (s->tcp)
            adu[5] ^=
                0x40; /* TCP carries no check sum of its own: what shows is a header that does not fit */
        break;
    case SERVER_NOISE_BEFORE:
        peer_send(p, noise, sizeof noise, arrived);
        break;
    case SERVER_NOISE_AFTER:
        peer_send(p, noise, sizeof noise, arrived + es_from_seconds(s->turn_around + 0.004));
        break;
    case SERVER_TWICE:
        deliver(s, p, adu, count, arrived, request_end);
        break;
    default:
        break;
    }
    deliver(s, p, adu, count, arrived, request_end);
}

/* Paced: when the request ended on the line, and whether it kept its distance. */
static bool keep_line(struct modbus_server *s, size_t count, es_time arrived, es_time *end)
{
    *end = arrived;
    if (s->baud <= 0)
        return true;
    double character = 11 / s->baud;
    double silence = s->baud > 19200 ? 0.00175 : 3.5 * character;
    bool kept = arrived - s->line_free >= es_from_seconds(silence);
    *end = arrived + es_from_seconds((double)count * character);
    s->line_free = *end;
    if (!kept)
        s->short_silences++;
    return kept;
}

static size_t received(void *self, struct peer *p, const uint8_t *bytes, size_t count, es_time arrived)
{
    struct modbus_server *s = self;
    size_t head = s->tcp ? 6 : 0;
    if (count < head + 2)
        return 0;
    size_t pdu = request_length(bytes + head + 1, count - head - 1);
    size_t whole = head + 1 + pdu + (s->tcp ? 0 : 2);
    if (!pdu || count < whole)
        return 0;
    unsigned unit = bytes[head];
    if (!s->tcp && server_crc(bytes, whole - 2) != (bytes[whole - 2] | bytes[whole - 1] << 8))
        return count; /* not ours: wait for silence */
    es_time end;
    bool kept = keep_line(s, whole, arrived, &end);
    if (kept && (s->units[unit / 64] >> (unit % 64) & 1)) {
        if (!s->choose && s->act_next < s->act_count && s->acts[s->act_next] == SERVER_HANGUP) {
            s->act_next++;
            s->requests++;
            return SIZE_MAX; /* see peer.c */
        }
        act_on(s, p, bytes, unit, bytes + head + 1, arrived, end);
    }
    return whole;
}

void server_add_unit(struct modbus_server *s, unsigned unit)
{
    s->units[unit / 64] |= UINT64_C(1) << (unit % 64);
}

void server_start(struct modbus_server *s, bool tcp)
{
    s->tcp = tcp;
    bool any = false;
    for (int i = 0; i < 4; i++)
        any |= s->units[i] != 0;
    if (!any)
        server_add_unit(s, 1);
    s->peer = peer_start(tcp ? PEER_TCP : PEER_TERMINAL, received, s);
}

void server_stop(struct modbus_server *s)
{
    peer_stop(s->peer);
}

void server_script(struct modbus_server *s, unsigned count, const enum server_act *acts)
{
    memcpy(s->acts, acts, count * sizeof *acts);
    s->act_next = 0;
    s->act_count = count;
}
