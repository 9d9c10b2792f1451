/* A whole driver, as small as one can be: the skeleton of docs/add-a-driver.md. Its instrument answers the
 * letter "?" with one byte, which is the value. Compiled and run by test_skeleton.c. */
#include <stdio.h>
#include <stdlib.h>

#include "drivers/transport/transport.h"
#include "tests/unit/drivers/skeleton_driver.h"

static const struct es_field bus_fields[] = {
    {"device", ES_FIELD_TEXT, true, offsetof(struct skeleton_bus, device), 0, 1, 1000, NULL, NULL,
     "path of the port"},
};
static const struct es_field instrument_fields[] = {
    {"letter", ES_FIELD_TEXT, false, offsetof(struct skeleton_instrument, letter), 0, 1, 1, "?", NULL,
     "what asks it"},
};
static const struct es_field channel_fields[] = {
    {"bit", ES_FIELD_INTEGER, false, offsetof(struct skeleton_channel, bit), 0, -1, 7, "-1", NULL,
     "one bit; -1: all"},
};

struct es_bus {
    struct es_transport *transport;
    const struct es_instrument_common *instrument; /* this skeleton serves one */
    const struct es_point *points;
    size_t point_count, indices[8];
    struct es_request request;
    bool suspect;
};

static bool check_bus(const struct es_document *doc, const cJSON *object, void *settings,
                      struct es_findings *findings)
{
    (void)doc, (void)object, (void)settings, (void)findings;
    return true;
}

static bool check_instrument(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                             const void *settings, struct es_findings *findings)
{
    (void)doc, (void)object, (void)bus_settings, (void)settings, (void)findings;
    return true;
}

static bool check_channel(const struct es_document *doc, const cJSON *object, const void *bus_settings,
                          const void *settings, bool writable, struct es_findings *findings)
{
    (void)bus_settings, (void)settings;
    if (writable)
        es_document_fault(doc, object, findings, NULL, "an input: this instrument takes no orders");
    return !writable;
}

static enum es_status bus_open(const void *bus_settings, const struct es_instrument_common *instruments,
                               size_t instrument_count, struct es_bus **out, struct es_error *err)
{
    const struct skeleton_bus *s = bus_settings;
    const struct es_serial_settings serial = {s->device, NULL, 9600, 8, ES_PARITY_NONE, 1, ES_FLOW_NONE};
    if (instrument_count != 1)
        return es_fail(err, ES_USAGE, "one instrument a line");
    struct es_bus *bus = calloc(1, sizeof *bus);
    if (!bus)
        return es_fail(err, ES_NO_MEMORY, "out of memory opening %s", s->device);
    bus->instrument = instruments;
    enum es_status status = es_serial_open(&serial, &bus->transport, err);
    if (status != ES_OK) {
        free(bus);
        return status;
    }
    *out = bus;
    return ES_OK;
}

static enum es_status bus_settle(struct es_bus *bus, struct es_error *err)
{
    double quiet = bus->instrument->turn_around;
    es_time deadline = es_clock_now() + es_from_seconds(10 * quiet + 1);
    enum es_status status = es_transport_settle(bus->transport, quiet, deadline, NULL, err);
    if (status == ES_HANGUP && es_transport_reopen(bus->transport, deadline, err) == ES_OK)
        status = es_transport_settle(bus->transport, quiet, deadline, NULL, err);
    bus->suspect = status != ES_OK;
    return status;
}

static enum es_status ask(struct es_bus *bus, uint8_t *byte, es_time *begun, struct es_error *err)
{
    const struct skeleton_instrument *s = bus->instrument->settings;
    size_t got;
    enum es_status status = bus->suspect ? bus_settle(bus, err) : ES_OK;
    if (status != ES_OK)
        return status;
    *begun = es_clock_now();
    es_time deadline = *begun + es_from_seconds(bus->instrument->timeout);
    status = es_transport_write(bus->transport, (const uint8_t *)s->letter, 1, deadline, err);
    if (status == ES_OK)
        status = es_transport_read(bus->transport, byte, 1, deadline, &got, err);
    bus->suspect = status != ES_OK;
    return status == ES_OK ? ES_OK : es_error_context(err, status, "%s", bus->instrument->name);
}

static enum es_status bus_probe(struct es_bus *bus, size_t instrument, char *out, size_t size,
                                struct es_error *err)
{
    uint8_t byte;
    es_time begun;
    (void)instrument;
    enum es_status status = ask(bus, &byte, &begun, err);
    if (status == ES_OK)
        snprintf(out, size, "answers");
    return status;
}

static enum es_status bus_plan(struct es_bus *bus, const struct es_point *points, size_t count,
                               const struct es_request **requests, size_t *request_count,
                               struct es_error *err)
{
    if (count > sizeof bus->indices / sizeof bus->indices[0])
        return es_fail(err, ES_USAGE, "at most 8 channels");
    for (size_t i = 0; i < count; i++)
        bus->indices[i] = i;
    bus->points = points;
    bus->request = (struct es_request){0, count, bus->indices};
    *requests = &bus->request;
    *request_count = count ? 1 : 0;
    return ES_OK;
}

static enum es_status bus_read(struct es_bus *bus, size_t index, struct es_raw *values,
                               struct es_stamp *stamp, struct es_error *err)
{
    uint8_t byte;
    es_time begun;
    (void)index; /* there is only one */
    enum es_status status = ask(bus, &byte, &begun, err);
    if (status != ES_OK)
        return status;
    for (size_t i = 0; i < bus->request.count; i++) {
        const struct skeleton_channel *c = bus->points[i].address;
        values[i] = (struct es_raw){c->bit < 0 ? byte : byte >> c->bit & 1, true};
    }
    *stamp = (struct es_stamp){begun + es_from_seconds(bus->instrument->latency), 0.001};
    return ES_OK;
}

static enum es_status bus_write(struct es_bus *bus, const struct es_point *point, double raw,
                                struct es_stamp *acted, struct es_error *err)
{
    (void)bus, (void)point, (void)raw, (void)acted;
    return es_fail(err, ES_USAGE, "this instrument takes no orders");
}

static void bus_close(struct es_bus *bus)
{
    es_transport_close(bus->transport);
    free(bus);
}

static double bus_line_limit(struct es_bus *bus)
{
    (void)bus;
    return 9600.0 / 20; /* two characters of ten bits */
}

static void bus_describe(struct es_bus *bus, char *out, size_t size)
{
    es_transport_describe(bus->transport, out, size);
}

const struct es_driver skeleton_driver = {
    .name = "skeleton",
    .summary = "an instrument that answers a letter with a byte",
    .bus_fields = bus_fields,
    .bus_field_count = 1,
    .bus_size = sizeof(struct skeleton_bus),
    .instrument_fields = instrument_fields,
    .instrument_field_count = 1,
    .instrument_size = sizeof(struct skeleton_instrument),
    .channel_fields = channel_fields,
    .channel_field_count = 1,
    .channel_size = sizeof(struct skeleton_channel),
    .check_bus = check_bus,
    .check_instrument = check_instrument,
    .check_channel = check_channel,
    .open = bus_open,
    .probe = bus_probe,
    .plan = bus_plan,
    .read = bus_read,
    .write = bus_write,
    .settle = bus_settle,
    .close = bus_close,
    .line_limit = bus_line_limit,
    .describe = bus_describe,
};
