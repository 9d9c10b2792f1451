/* The server side of Modbus: a mapping for each instrument, filled from the model just before libmodbus
 * answers from it, and looked at just after it was written to. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "rig/simulator/simulator.h"

static const struct es_modbus_channel *address_of(const struct sim_point *p)
{
    return p->channel->address;
}

static int words_of(const struct es_modbus_channel *a)
{
    const bool bits = a->table == ES_MODBUS_COIL || a->table == ES_MODBUS_DISCRETE;
    return bits || a->type == ES_MODBUS_BIT ? 1 : (int)es_modbus_words((enum es_modbus_type)a->type);
}

enum es_status sim_modbus_map(struct sim_instrument *instrument, struct es_error *err)
{
    struct sim_table *t = instrument->tables;
    for (size_t i = 0; i < instrument->point_count; i++) {
        const struct es_modbus_channel *a = address_of(&instrument->points[i]);
        struct sim_table *table = &t[a->table];
        const int first = (int)a->address, end = first + words_of(a);
        const int old_end = table->first + table->count;
        if (!table->used) {
            *table = (struct sim_table){true, first, end - first};
        } else {
            const int low = first < table->first ? first : table->first;
            *table = (struct sim_table){true, low, (end > old_end ? end : old_end) - low};
        }
    }
    instrument->mapping = modbus_mapping_new_start_address(
        (unsigned)t[ES_MODBUS_COIL].first, (unsigned)t[ES_MODBUS_COIL].count,
        (unsigned)t[ES_MODBUS_DISCRETE].first, (unsigned)t[ES_MODBUS_DISCRETE].count,
        (unsigned)t[ES_MODBUS_HOLDING].first, (unsigned)t[ES_MODBUS_HOLDING].count,
        (unsigned)t[ES_MODBUS_INPUT].first, (unsigned)t[ES_MODBUS_INPUT].count);
    if (!instrument->mapping) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the registers of \"%s\"", instrument->about->name);
    }
    return ES_OK;
}

static uint16_t *registers_of(const struct sim_instrument *instrument, const struct es_modbus_channel *a)
{
    modbus_mapping_t *m = instrument->mapping;
    const int offset = (int)a->address - instrument->tables[a->table].first;
    return (a->table == ES_MODBUS_HOLDING ? m->tab_registers : m->tab_input_registers) + offset;
}

static uint8_t *bit_of(const struct sim_instrument *instrument, const struct es_modbus_channel *a)
{
    modbus_mapping_t *m = instrument->mapping;
    const int offset = (int)a->address - instrument->tables[a->table].first;
    return (a->table == ES_MODBUS_COIL ? m->tab_bits : m->tab_input_bits) + offset;
}

static bool is_bit_table(const struct es_modbus_channel *a)
{
    return a->table == ES_MODBUS_COIL || a->table == ES_MODBUS_DISCRETE;
}

/* The model's number into the mapping. What does not fit the type is held at its nearest end. */
static void publish(struct sim_instrument *instrument, const struct sim_point *p)
{
    const struct es_modbus_channel *a = address_of(p);
    const double raw = sim_point_read(p);
    if (is_bit_table(a)) {
        *bit_of(instrument, a) = raw >= 0.5;
        return;
    }
    uint16_t *words = registers_of(instrument, a);
    if (a->type == ES_MODBUS_BIT) {
        const uint16_t mask = (uint16_t)(1u << a->bit);
        *words = (uint16_t)(raw >= 0.5 ? *words | mask : *words & ~mask);
        return;
    }
    static const double low[] = {[ES_MODBUS_INT16] = -32767, [ES_MODBUS_INT32] = -2147483647.0};
    static const double high[] = {[ES_MODBUS_INT16] = 32767,
                                  [ES_MODBUS_UINT16] = 65534,
                                  [ES_MODBUS_INT32] = 2147483647.0,
                                  [ES_MODBUS_UINT32] = 4294967294.0};
    double held = raw;
    if (a->type != ES_MODBUS_FLOAT32 && a->type != ES_MODBUS_FLOAT64) {
        const double lowest = a->type == ES_MODBUS_UINT16 || a->type == ES_MODBUS_UINT32 ? 0 : low[a->type];
        held = raw < lowest ? lowest : raw > high[a->type] ? high[a->type] : raw;
    }
    if (es_modbus_encode(a, held, words, NULL) != ES_OK) {
        memset(words, 0, sizeof *words * (size_t)words_of(a));
    }
}

static void take(struct sim_bus *bus, const struct sim_instrument *instrument, const struct sim_point *p)
{
    const struct es_modbus_channel *a = address_of(p);
    struct es_raw raw = {.valid = true};
    if (is_bit_table(a)) {
        raw.value = *bit_of(instrument, a) ? 1 : 0;
    } else if (a->type == ES_MODBUS_BIT) {
        raw.value = *registers_of(instrument, a) >> a->bit & 1;
    } else {
        raw = es_modbus_decode(a, registers_of(instrument, a));
    }
    sim_point_write(p, raw, &bus->sim->log);
}

struct request {
    int function, first, count;
    int table;   /* enum es_modbus_table; -1: this function has no addresses */
    bool writes; /* at first..first+count-1 */
};

static int word(const uint8_t *b)
{
    return b[0] << 8 | b[1];
}

static struct request parse(const uint8_t *pdu)
{
    struct request r = {.function = pdu[0], .first = word(pdu + 1), .count = 1, .table = -1};
    switch (r.function) {
    case MODBUS_FC_READ_COILS:
    case MODBUS_FC_READ_DISCRETE_INPUTS:
        r.table = r.function == MODBUS_FC_READ_COILS ? ES_MODBUS_COIL : ES_MODBUS_DISCRETE;
        r.count = word(pdu + 3);
        break;
    case MODBUS_FC_READ_HOLDING_REGISTERS:
    case MODBUS_FC_READ_INPUT_REGISTERS:
        r.table = r.function == MODBUS_FC_READ_HOLDING_REGISTERS ? ES_MODBUS_HOLDING : ES_MODBUS_INPUT;
        r.count = word(pdu + 3);
        break;
    case MODBUS_FC_WRITE_SINGLE_COIL:
    case MODBUS_FC_WRITE_MULTIPLE_COILS:
        r.table = ES_MODBUS_COIL;
        r.writes = true;
        r.count = r.function == MODBUS_FC_WRITE_SINGLE_COIL ? 1 : word(pdu + 3);
        break;
    case MODBUS_FC_WRITE_SINGLE_REGISTER:
    case MODBUS_FC_WRITE_MULTIPLE_REGISTERS:
    case MODBUS_FC_MASK_WRITE_REGISTER:
        r.table = ES_MODBUS_HOLDING;
        r.writes = true;
        r.count = r.function == MODBUS_FC_WRITE_MULTIPLE_REGISTERS ? word(pdu + 3) : 1;
        break;
    default:
        break;
    }
    return r;
}

/* Whether a request is as long as it says (Application Protocol V1.1b3, clause 6): libmodbus reads on behind
 * the end of one that is shorter. Functions that it does not know it refuses by themselves. */
static bool is_whole(const uint8_t *pdu, size_t length)
{
    const size_t count = length > 4 ? (size_t)word(pdu + 3) : 0;
    switch (pdu[0]) {
    case MODBUS_FC_READ_COILS:
    case MODBUS_FC_READ_DISCRETE_INPUTS:
    case MODBUS_FC_READ_HOLDING_REGISTERS:
    case MODBUS_FC_READ_INPUT_REGISTERS:
    case MODBUS_FC_WRITE_SINGLE_COIL:
    case MODBUS_FC_WRITE_SINGLE_REGISTER:
        return length == 5;
    case MODBUS_FC_WRITE_MULTIPLE_COILS:
        return length > 6 && pdu[5] == (count + 7) / 8 && length == 6u + pdu[5];
    case MODBUS_FC_WRITE_MULTIPLE_REGISTERS:
        return length > 6 && pdu[5] == 2 * count && length == 6u + pdu[5];
    case MODBUS_FC_MASK_WRITE_REGISTER:
        return length == 7;
    case MODBUS_FC_WRITE_AND_READ_REGISTERS:
        return length > 10 && pdu[9] == 2u * (unsigned)word(pdu + 7) && length == 10u + pdu[9];
    default:
        return true;
    }
}

static bool covered(const struct sim_table *t, const struct request *r)
{
    return t->used && r->count > 0 && r->first >= t->first && r->first + r->count <= t->first + t->count;
}

static bool touches(const struct request *r, const struct es_modbus_channel *a)
{
    return r->table == a->table && a->address < r->first + r->count && a->address + words_of(a) > r->first;
}

static bool in_unreadable(const struct sim_instrument *instrument, const struct request *r)
{
    const struct es_modbus_instrument *settings = instrument->about->settings;
    const char *text = settings->unreadable;
    while (text && *text) {
        char *end;
        const long low = strtol(text, &end, 10);
        const long high = *end == '-' ? strtol(end + 1, &end, 10) : low;
        if (end == text) {
            return false;
        }
        if (r->first <= high && r->first + r->count > low) {
            return true;
        }
        text = end + strspn(end, ", ");
    }
    return false;
}

static struct sim_instrument *addressed(const struct sim_bus *bus, int unit)
{
    for (size_t i = 0; i < bus->about->instrument_count; i++) {
        struct sim_instrument *instrument = &bus->sim->instruments[bus->about->instruments[i]];
        const struct es_modbus_instrument *settings = instrument->about->settings;
        if (settings->unit == unit) {
            return instrument;
        }
    }
    return NULL;
}

struct sim_instrument *sim_modbus_owner(const struct sim_bus *bus, const uint8_t *request, size_t count)
{
    const size_t at = bus->wire == SIM_MODBUS_TCP ? 6 : 0;
    return at < count ? addressed(bus, request[at]) : NULL;
}

/* What libmodbus wrote as its answer. */
static size_t collect(struct sim_bus *bus, uint8_t *answer)
{
    const ssize_t got = recv(bus->pair[1], answer, SIM_ANSWER_MAX, MSG_DONTWAIT);
    return got > 0 ? (size_t)got : 0;
}

static size_t refuse(struct sim_bus *bus, const uint8_t *request, unsigned code, uint8_t *answer)
{
    if (modbus_reply_exception(bus->library, request, code) < 0) {
        return 0;
    }
    return collect(bus, answer);
}

static size_t reply(struct sim_bus *bus, struct sim_instrument *instrument, const uint8_t *request,
                    size_t count, const struct request *r, uint8_t *answer)
{
    for (size_t i = 0; i < instrument->point_count; i++) {
        if (touches(r, address_of(&instrument->points[i])) || r->table < 0) {
            publish(instrument, &instrument->points[i]);
        }
    }
    if (modbus_reply(bus->library, request, (int)count, instrument->mapping) < 0) {
        es_log(&bus->sim->log, ES_LOG_WARNING, "bus \"%s\": no answer could be made: %s", bus->about->name,
               modbus_strerror(errno));
        return 0;
    }
    const size_t length = collect(bus, answer);
    const size_t function_at = bus->wire == SIM_MODBUS_TCP ? 7 : 1;
    const bool refused = length > function_at && answer[function_at] & 0x80;
    for (size_t i = 0; r->writes && !refused && i < instrument->point_count; i++) {
        if (touches(r, address_of(&instrument->points[i])) && instrument->points[i].channel->writable) {
            take(bus, instrument, &instrument->points[i]);
        }
    }
    return length;
}

size_t sim_modbus_answer(struct sim_bus *bus, const uint8_t *request, size_t count,
                         uint8_t answer[static SIM_ANSWER_MAX])
{
    const bool tcp = bus->wire == SIM_MODBUS_TCP;
    const int unit = request[tcp ? 6 : 0];
    uint8_t pdu[SIM_REQUEST_MAX] = {0}; /* zeros behind the end: a short request reads nothing of another */
    const size_t length = count - (tcp ? 7 : 3);
    memcpy(pdu, request + (tcp ? 7 : 1), length);
    const struct request r = parse(pdu);
    struct sim_instrument *instrument = addressed(bus, unit);
    if (!instrument) {
        return tcp ? refuse(bus, request, MODBUS_EXCEPTION_GATEWAY_TARGET, answer) : 0;
    }
    if (modbus_set_slave(bus->library, unit) < 0) {
        return 0;
    }
    if (sim_troubled(bus, instrument, SIM_REFUSE, es_clock_now())) {
        return refuse(bus, request, MODBUS_EXCEPTION_SLAVE_OR_SERVER_FAILURE, answer);
    }
    if (!is_whole(pdu, length)) {
        return refuse(bus, request, MODBUS_EXCEPTION_ILLEGAL_DATA_VALUE, answer);
    }
    if (r.table >= 0 && (!covered(&instrument->tables[r.table], &r) || in_unreadable(instrument, &r))) {
        return refuse(bus, request, MODBUS_EXCEPTION_ILLEGAL_DATA_ADDRESS, answer);
    }
    return reply(bus, instrument, request, count, &r, answer);
}
