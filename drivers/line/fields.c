#include <string.h>

#include "drivers/line/fields.h"
#include "drivers/line/pattern.h"
#include "drivers/transport/beside.h"

#define BUS(member)        offsetof(struct es_line_bus, member)
#define INSTRUMENT(member) offsetof(struct es_line_instrument, member)
#define CHANNEL(member)    offsetof(struct es_line_channel, member)

static const char *const modes[] = {"serial", "tcp", NULL};
static const char *const parities[] = {"even", "odd", "none", NULL};
static const char *const flows[] = {"none", "rts/cts", "xon/xoff", NULL};

const struct es_field es_line_bus_fields[ES_LINE_BUS_FIELDS] = {
    {"mode", ES_FIELD_CHOICE, false, BUS(mode), 0, 0, 0, "serial", modes, "what carries the lines"},
    {"device", ES_FIELD_TEXT, false, BUS(device), 0, 1, 1000, NULL, NULL,
     "serial: path of the port, relative to this file; best a name that stays (/dev/serial/by-id/...)"},
    {"adapter", ES_FIELD_TEXT, false, BUS(adapter), 0, 1, 120, NULL, NULL,
     "serial: USB serial number of the adapter, which is then found under whatever name, instead of device"},
    {"baud", ES_FIELD_INTEGER, false, BUS(baud), 0, 300, 4000000, "9600", NULL, "serial: bits per second"},
    {"data bits", ES_FIELD_INTEGER, false, BUS(data_bits), 0, 7, 8, "8", NULL, "serial: data bits"},
    {"parity", ES_FIELD_CHOICE, false, BUS(parity), 0, 0, 0, "none", parities, "serial: parity"},
    {"stop bits", ES_FIELD_INTEGER, false, BUS(stop_bits), 0, 1, 2, "1", NULL, "serial: stop bits"},
    {"flow control", ES_FIELD_CHOICE, false, BUS(flow), 0, 0, 0, "none", flows, "serial: flow control"},
    {"host", ES_FIELD_TEXT, false, BUS(host), 0, 1, 255, NULL, NULL, "tcp: address, best as a number"},
    {"port", ES_FIELD_INTEGER, false, BUS(port), 0, 1, 65535, "5025", NULL, "tcp: port"},
    {"echo", ES_FIELD_BOOL, false, BUS(echo), 0, 0, 0, "false", NULL,
     "the instrument sends every character of a command back before it answers"},
    {"gap", ES_FIELD_QUANTITY, false, BUS(gap), ES_DIM_TIME, 0, 10, "0 s", NULL,
     "rest before each command, counted from the end of what went before"},
    {"byte trace", ES_FIELD_TEXT, false, BUS(byte_trace), 0, 1, 1000, NULL, NULL,
     "file, relative to this one, to which every byte of the line is appended; for finding faults"},
};

const struct es_field es_line_instrument_fields[ES_LINE_INSTRUMENT_FIELDS] = {
    {"command end", ES_FIELD_TEXT, false, INSTRUMENT(command_end), 0, 0, 4, "\n", NULL,
     "characters that end a command, \"\\n\", \"\\r\\n\""},
    {"answer end", ES_FIELD_TEXT, false, INSTRUMENT(answer_end), 0, 1, 4, "\n", NULL,
     "characters that end an answer; blanks and line ends around an answer are ignored"},
    {"identify", ES_FIELD_TEXT, false, INSTRUMENT(identify), 0, 0, 120, "*IDN?", NULL,
     "command that asks who it is (IEEE 488.2, 10.14); \"\": it has none"},
    {"start", ES_FIELD_TEXT, false, INSTRUMENT(start), 0, 1, 200, NULL, NULL,
     "command without an answer, sent before all others and again after a hang-up"},
    {"error query", ES_FIELD_TEXT, false, INSTRUMENT(error_query), 0, 1, 120, NULL, NULL,
     "command sent after each setting, that asks whether it was understood"},
    {"error free", ES_FIELD_TEXT, false, INSTRUMENT(error_free), 0, 1, 200, "0,{any}", NULL,
     "pattern of the answer to it when there is no error"},
};

const struct es_field es_line_channel_fields[ES_LINE_CHANNEL_FIELDS] = {
    {"ask", ES_FIELD_TEXT, false, CHANNEL(ask), 0, 1, 200, NULL, NULL, "command that asks for the value"},
    {"answer", ES_FIELD_TEXT, false, CHANNEL(answer), 0, 1, 200, "{number}", NULL,
     "pattern of the answer with one {number} or {state}; {any} stands for whatever comes there"},
    {"set", ES_FIELD_TEXT, false, CHANNEL(set), 0, 1, 200, NULL, NULL,
     "command that sets the value, with one {value} or {state}"},
    {"set answer", ES_FIELD_TEXT, false, CHANNEL(set_answer), 0, 1, 200, NULL, NULL,
     "pattern of the answer to it, where it gives one"},
    {"digits", ES_FIELD_INTEGER, false, CHANNEL(digits), 0, 0, 12, "3", NULL,
     "digits after the point of {value}"},
    {"read back", ES_FIELD_TEXT, false, CHANNEL(read_back), 0, 1, 200, NULL, NULL,
     "command sent after each setting that asks for what was set; its answer has the pattern \"answer\""},
    {"within", ES_FIELD_NUMBER, false, CHANNEL(within), 0, 0, 1e12, "0", NULL,
     "largest difference between what was set and what is read back, in the instrument's own numbers"},
};

static const cJSON *member(const cJSON *object, const char *name)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);
    return item ? item : object;
}

bool es_line_check_bus(const struct es_document *doc, const cJSON *object, void *settings,
                       struct es_findings *findings)
{
    static const char *const serial_only[] = {"device", "adapter",   "baud",        "data bits",
                                              "parity", "stop bits", "flow control"};
    static const char *const tcp_only[] = {"host", "port"};
    struct es_line_bus *bus = settings;
    bool tcp = bus->mode == ES_LINE_TCP, good = true;
    const char *const *forbidden = tcp ? serial_only : tcp_only;
    size_t count = tcp ? sizeof serial_only / sizeof *serial_only : sizeof tcp_only / sizeof *tcp_only;
    for (size_t i = 0; i < count; i++) {
        const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, forbidden[i]);
        if (!item)
            continue;
        es_document_fault(doc, item, findings, NULL, "no \"%s\" here: it belongs to mode %s", forbidden[i],
                          tcp ? "serial" : "tcp");
        good = false;
    }
    if (tcp && !bus->host) {
        es_document_fault(doc, object, findings, "no \"host\"", "the address of the instrument");
        good = false;
    }
    if (!tcp && !bus->device && !bus->adapter) {
        es_document_fault(doc, object, findings, "neither \"device\" nor \"adapter\"",
                          "the serial port by \"device\" or by \"adapter\"");
        good = false;
    }
    if (!es_path_beside(doc, &bus->device) || !es_path_beside(doc, &bus->byte_trace)) {
        findings->out_of_memory = true;
        good = false;
    }
    return good;
}

/* A pattern member: absent is good. */
static bool check_pattern(const struct es_document *doc, const cJSON *object, const char *name,
                          const char *pattern, size_t numbers, struct es_findings *findings)
{
    const char *fault = pattern ? es_pattern_fault(pattern, numbers) : NULL;
    if (fault)
        es_document_fault(doc, member(object, name), findings, NULL, "%s", fault);
    return !fault;
}

bool es_line_check_instrument(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                              const void *settings, struct es_findings *findings)
{
    const struct es_line_instrument *i = settings;
    (void)bus_settings;
    return check_pattern(doc, object, "error free", i->error_free, 0, findings);
}

bool es_line_check_channel(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                           const void *settings, bool writable, struct es_findings *findings)
{
    const struct es_line_channel *c = settings;
    (void)bus_settings;
    bool good = check_pattern(doc, object, "answer", c->answer, 1, findings);
    good &= check_pattern(doc, object, "set", c->set, 1, findings);
    if (c->set_answer && es_pattern_fault(c->set_answer, 0) && es_pattern_fault(c->set_answer, 1)) {
        es_document_fault(doc, member(object, "set answer"), findings, NULL,
                          "a pattern with at most one {number}");
        good = false;
    }
    if (writable && !c->set) {
        es_document_fault(doc, object, findings, "no \"set\"", "the command that sets this output");
        good = false;
    }
    if (!writable && !c->ask) {
        es_document_fault(doc, object, findings, "no \"ask\"", "the command that asks for this input");
        good = false;
    }
    return good;
}

bool es_line_clash(const void *channel, bool writable, const void *other, bool other_writable)
{
    const struct es_line_channel *a = channel, *b = other;
    return writable && other_writable && a->set && b->set && strcmp(a->set, b->set) == 0;
}
