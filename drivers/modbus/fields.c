#include "drivers/modbus/fields.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/modbus/plan.h"
#include "drivers/transport/beside.h"

#define BUS(member)        offsetof(struct es_modbus_bus, member)
#define INSTRUMENT(member) offsetof(struct es_modbus_instrument, member)
#define CHANNEL(member)    offsetof(struct es_modbus_channel, member)

static const char *const modes[] = {"rtu", "tcp", NULL};
static const char *const parities[] = {"even", "odd", "none", NULL};
static const char *const write_forms[] = {"shortest", "multiple", NULL};
static const char *const identify_kinds[] = {"re-read", "register", "server id", NULL};
static const char *const identity_tables[] = {"holding register", "input register", NULL};
static const char *const tables[] = {"coil", "discrete input", "holding register", "input register", NULL};
static const char *const types[] = {"bit", "int16", "uint16", "int32", "uint32", "float32", "float64", NULL};
static const char *const byte_orders[] = {"high first", "low first", NULL};

const struct es_field es_modbus_bus_fields[ES_MODBUS_BUS_FIELDS] = {
    {"mode", ES_FIELD_CHOICE, true, BUS(mode), 0, 0, 0, NULL, modes,
     "rtu: on a serial line; tcp: over the network"},
    {"device", ES_FIELD_TEXT, false, BUS(device), 0, 1, 1000, NULL, NULL,
     "rtu: path of the serial port, relative to this file; best a name that stays (/dev/serial/by-id/...)"},
    {"adapter", ES_FIELD_TEXT, false, BUS(adapter), 0, 1, 120, NULL, NULL,
     "rtu: USB serial number of the adapter, which is then found under whatever name, instead of device"},
    {"baud", ES_FIELD_INTEGER, false, BUS(baud), 0, 300, 4000000, "19200", NULL, "rtu: bits per second"},
    {"parity", ES_FIELD_CHOICE, false, BUS(parity), 0, 0, 0, "even", parities,
     "rtu: parity; the specification's own is even"},
    {"stop bits", ES_FIELD_INTEGER, false, BUS(stop_bits), 0, 0, 2, "0", NULL,
     "rtu: 1 or 2; 0: what makes a character 11 bits (1 with parity, 2 without)"},
    {"silence", ES_FIELD_QUANTITY, false, BUS(silence), ES_DIM_TIME, 0, 1, "0 s", NULL,
     "rtu: rest before each request; 0 s: 3.5 characters, 1.75 ms above 19200 baud"},
    {"host", ES_FIELD_TEXT, false, BUS(host), 0, 1, 255, NULL, NULL, "tcp: address, best as a number"},
    {"port", ES_FIELD_INTEGER, false, BUS(port), 0, 1, 65535, "502", NULL, "tcp: port"},
    {"connect timeout", ES_FIELD_QUANTITY, false, BUS(connect_timeout), ES_DIM_TIME, 0.01, 4, "2 s", NULL,
     "tcp: longest wait for a connection"},
    {"byte trace", ES_FIELD_TEXT, false, BUS(byte_trace), 0, 1, 1000, NULL, NULL,
     "file, relative to this one, to which every byte of the line is appended; for finding faults"},
};

const struct es_field es_modbus_instrument_fields[ES_MODBUS_INSTRUMENT_FIELDS] = {
    {"unit", ES_FIELD_INTEGER, false, INSTRUMENT(unit), 0, 0, 255, "1", NULL,
     "unit id: 1 to 247; over tcp also 0 and 255"},
    {"gap", ES_FIELD_INTEGER, false, INSTRUMENT(gap), 0, 0, 120, "8", NULL,
     "most unwanted registers (times 16 for bits) read between two wanted ones to save a request; 0: none"},
    {"max registers", ES_FIELD_INTEGER, false, INSTRUMENT(max_registers), 0, 1, ES_MODBUS_MAX_REGISTERS,
     "125", NULL, "most registers the instrument gives in one answer"},
    {"max bits", ES_FIELD_INTEGER, false, INSTRUMENT(max_bits), 0, 1, ES_MODBUS_MAX_BITS, "2000", NULL,
     "most coils or discrete inputs the instrument gives in one answer"},
    {"unreadable", ES_FIELD_TEXT, false, INSTRUMENT(unreadable), 0, 1, 1000, NULL, NULL,
     "addresses that are never read across, \"100-199, 300\""},
    {"write form", ES_FIELD_CHOICE, false, INSTRUMENT(write_form), 0, 0, 0, "shortest", write_forms,
     "shortest: functions 05 and 06 for one coil or register; multiple: always 0F and 10"},
    {"identify", ES_FIELD_CHOICE, false, INSTRUMENT(identify), 0, 0, 0, "re-read", identify_kinds,
     "how it is known again. register: identity registers; server id: function 11; re-read: only that it "
     "answers "
     "two requests of different length rightly"},
    {"identity table", ES_FIELD_CHOICE, false, INSTRUMENT(identity_table), 0, 0, 0, "holding register",
     identity_tables, "where its identity registers are"},
    {"identity address", ES_FIELD_INTEGER, false, INSTRUMENT(identity_address), 0, 0, 65535, "0", NULL,
     "address of the first identity register, as on the wire, from 0"},
    {"identity count", ES_FIELD_INTEGER, false, INSTRUMENT(identity_count), 0, 1, 60, "1", NULL,
     "number of identity registers"},
};

const struct es_field es_modbus_channel_fields[ES_MODBUS_CHANNEL_FIELDS] = {
    {"table", ES_FIELD_CHOICE, true, CHANNEL(table), 0, 0, 0, NULL, tables, "which of Modbus's four tables"},
    {"address", ES_FIELD_INTEGER, true, CHANNEL(address), 0, 0, 65535, NULL, NULL,
     "as on the wire, from 0 (a manual's 40001 is holding register 0)"},
    {"type", ES_FIELD_CHOICE, false, CHANNEL(type), 0, 0, 0, "bit", types,
     "what the registers hold; bit for coils, discrete inputs and single bits of a register"},
    {"word order", ES_FIELD_TEXT, false, CHANNEL(word_order), 0, 1, 12, NULL, NULL,
     "types of several registers: \"high first\" (the default), \"low first\", or digits, \"2143\": at the "
     "lowest "
     "address the second highest word, then the highest, the lowest, the second lowest"},
    {"byte order", ES_FIELD_CHOICE, false, CHANNEL(byte_order), 0, 0, 0, "high first", byte_orders,
     "within a register; the specification's own is high first"},
    {"bit", ES_FIELD_INTEGER, false, CHANNEL(bit), 0, -1, 15, "-1", NULL,
     "for a bit of a register: which, 0 is the lowest"},
    {"no value", ES_FIELD_TEXT, false, CHANNEL(no_value), 0, 1, 24, NULL, NULL,
     "content that means that there is no value, \"0x8000\" or \"-32768\""},
    {"read back", ES_FIELD_BOOL, false, CHANNEL(read_back), 0, 0, 0, "true", NULL,
     "outputs: read the register again after each write and compare; false when it cannot be read"},
};

/* At the member when it is there, else at the object. */
static const cJSON *member(const cJSON *object, const char *name)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);
    return item ? item : object;
}

static bool forbid(const struct es_document *doc, const cJSON *object, const char *const *names,
                   const char *why, struct es_findings *findings)
{
    bool good = true;
    for (; *names; names++) {
        const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, *names);
        if (!item)
            continue;
        es_document_fault(doc, item, findings, NULL, "no \"%s\" here: %s", *names, why);
        good = false;
    }
    return good;
}

bool es_modbus_check_bus(const struct es_document *doc, const cJSON *object, void *settings,
                         struct es_findings *findings)
{
    static const char *const serial_only[] = {"device",    "adapter", "baud", "parity",
                                              "stop bits", "silence", NULL};
    static const char *const tcp_only[] = {"host", "port", "connect timeout", NULL};
    struct es_modbus_bus *bus = settings;
    bool good;
    if (bus->mode == ES_MODBUS_TCP) {
        good = forbid(doc, object, serial_only, "it belongs to mode rtu", findings);
        if (!bus->host) {
            es_document_fault(doc, object, findings, "no \"host\"",
                              "the address of the instrument or gateway");
            good = false;
        }
    } else {
        good = forbid(doc, object, tcp_only, "it belongs to mode tcp", findings);
        if (!bus->device && !bus->adapter) {
            es_document_fault(doc, object, findings, "neither \"device\" nor \"adapter\"",
                              "the serial port by \"device\" or by \"adapter\"");
            good = false;
        }
    }
    if (!es_path_beside(doc, &bus->device) || !es_path_beside(doc, &bus->byte_trace)) {
        findings->out_of_memory = true;
        good = false;
    }
    return good;
}

bool es_modbus_check_instrument(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                                const void *settings, struct es_findings *findings)
{
    const struct es_modbus_bus *bus = bus_settings;
    const struct es_modbus_instrument *i = settings;
    bool good = true;
    bool unit_good =
        (i->unit >= 1 && i->unit <= 247) || (bus->mode == ES_MODBUS_TCP && (i->unit == 0 || i->unit == 255));
    if (!unit_good) {
        es_document_fault(doc, member(object, "unit"), findings, NULL,
                          bus->mode == ES_MODBUS_TCP ? "a unit id: 1 to 247, 0 or 255"
                                                     : "a unit id: 1 to 247");
        good = false;
    }
    if (i->unreadable && es_modbus_ranges_fault(i->unreadable)) {
        es_document_fault(doc, member(object, "unreadable"), findings, NULL, "%s",
                          es_modbus_ranges_fault(i->unreadable));
        good = false;
    }
    if (i->identity_address + i->identity_count > 65536) {
        es_document_fault(doc, member(object, "identity address"), findings, NULL,
                          "an address whose %ld registers end at 65535 or before", i->identity_count);
        good = false;
    }
    return good;
}

static bool check_type(const struct es_document *doc, const cJSON *object, const struct es_modbus_channel *c,
                       struct es_findings *findings)
{
    bool bits = c->table == ES_MODBUS_COIL || c->table == ES_MODBUS_DISCRETE;
    uint8_t order[ES_MODBUS_WORDS_MAX];
    const char *expected = NULL;
    const char *where = "type";
    if (bits && c->type != ES_MODBUS_BIT) {
        expected = "type \"bit\": coils and discrete inputs hold nothing else";
    } else if (!bits && c->type == ES_MODBUS_BIT && c->bit < 0) {
        expected = "a type (int16, uint16, int32, uint32, float32, float64), or a \"bit\" number";
    } else if (c->bit >= 0 && (bits || c->type != ES_MODBUS_BIT)) {
        where = "bit";
        expected = "no \"bit\" number: it belongs to type \"bit\" of a register";
    } else if (!es_modbus_word_order(c, order)) {
        where = "word order";
        expected =
            "\"high first\", \"low first\", or each digit from 1 to the type's number of registers once";
    }
    if (expected)
        es_document_fault(doc, member(object, where), findings, NULL, "%s", expected);
    return !expected;
}

static bool is_pattern(const char *text)
{
    char *end;
    errno = 0;
    if (text[0] == '-')
        (void)strtoll(text, &end, 0);
    else
        (void)strtoull(text, &end, 0);
    return errno == 0 && end != text && *end == '\0';
}

bool es_modbus_check_channel(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                             const void *settings, bool writable, struct es_findings *findings)
{
    (void)bus_settings;
    const struct es_modbus_channel *c = settings;
    bool good = check_type(doc, object, c, findings);
    if (writable && (c->table == ES_MODBUS_DISCRETE || c->table == ES_MODBUS_INPUT)) {
        es_document_fault(doc, member(object, "table"), findings, NULL,
                          "a coil or a holding register: the others cannot be written");
        good = false;
    }
    if (writable && c->table == ES_MODBUS_HOLDING && c->type == ES_MODBUS_BIT) {
        es_document_fault(
            doc, member(object, "bit"), findings, NULL,
            "a whole register or a coil: a bit of a register cannot be written without its neighbours");
        good = false;
    }
    if (c->no_value && !is_pattern(c->no_value)) {
        es_document_fault(doc, member(object, "no value"), findings, NULL,
                          "a whole number, decimal or with 0x");
        good = false;
    }
    if (c->address + (long)es_modbus_words((enum es_modbus_type)c->type) > 65536) {
        es_document_fault(doc, member(object, "address"), findings, NULL,
                          "an address whose registers end at 65535 or before");
        good = false;
    }
    return good;
}

/* One register may be read as whole and bit by bit, and written here and read there: what is refused is a
 * value that reaches half into another, and two that are written to one place. */
bool es_modbus_clash(const void *channel, bool writable, const void *other, bool other_writable)
{
    const struct es_modbus_channel *a = channel, *b = other;
    long a_words = (long)es_modbus_words((enum es_modbus_type)a->type),
         b_words = (long)es_modbus_words((enum es_modbus_type)b->type);
    if (a->table != b->table || a->address + a_words <= b->address || b->address + b_words <= a->address)
        return false;
    if (writable && other_writable)
        return true;
    bool bits = a->type == ES_MODBUS_BIT || b->type == ES_MODBUS_BIT;
    return !bits && (a->address != b->address || a_words != b_words);
}
