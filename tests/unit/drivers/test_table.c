/* Every driver of the table keeps the contract of driver.h. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/driver.h"
#include "drivers/line/line.h"
#include "drivers/modbus/modbus.h"

Test(table, names_are_unique_and_found)
{
    size_t count;
    const struct es_driver *const *list = es_driver_list(&count);
    cr_expect_geq(count, 2);
    for (size_t i = 0; i < count; i++) {
        cr_expect_eq(es_driver_find(list[i]->name), list[i]);
        cr_expect(strlen(list[i]->summary) > 10 && strlen(list[i]->summary) < 100);
    }
    cr_expect_null(es_driver_find("no such"));
}

Test(table, every_slot_is_set)
{
    size_t count;
    const struct es_driver *const *list = es_driver_list(&count);
    for (size_t i = 0; i < count; i++) {
        const struct es_driver *d = list[i];
        cr_expect(d->check_bus && d->check_instrument && d->check_channel, "%s", d->name);
        cr_expect(d->open && d->probe && d->plan && d->read && d->write && d->settle && d->close, "%s",
                  d->name);
        cr_expect(d->line_limit && d->describe, "%s", d->name);
        cr_expect(d->bus_size && d->instrument_size && d->channel_size, "%s", d->name);
    }
}

static void check_rows(const char *driver, const struct es_field *rows, size_t count, size_t size)
{
    for (size_t i = 0; i < count; i++) {
        cr_expect(rows[i].name && rows[i].meaning, "%s: row %zu", driver, i);
        cr_expect_lt(rows[i].offset, size, "%s: %s", driver, rows[i].name);
        cr_expect(isfinite(rows[i].min) && isfinite(rows[i].max) && rows[i].min <= rows[i].max, "%s: %s",
                  driver, rows[i].name);
        cr_expect(!(rows[i].required && rows[i].fallback), "%s: %s", driver, rows[i].name);
        cr_expect_eq(rows[i].kind == ES_FIELD_CHOICE, rows[i].choices != NULL, "%s: %s", driver,
                     rows[i].name);
        bool number = rows[i].kind == ES_FIELD_INTEGER || rows[i].kind == ES_FIELD_QUANTITY;
        cr_expect(!number || rows[i].max > rows[i].min, "%s: %s has no limits", driver, rows[i].name);
        for (size_t j = 0; j < i; j++)
            cr_expect_str_neq(rows[i].name, rows[j].name, "%s", driver);
    }
}

Test(table, rows_have_limits_and_defaults_that_fit)
{
    size_t count;
    const struct es_driver *const *list = es_driver_list(&count);
    for (size_t i = 0; i < count; i++) {
        const struct es_driver *d = list[i];
        check_rows(d->name, d->bus_fields, d->bus_field_count, d->bus_size);
        check_rows(d->name, d->instrument_fields, d->instrument_field_count, d->instrument_size);
        check_rows(d->name, d->channel_fields, d->channel_field_count, d->channel_size);
    }
}

/* ---- What the bench file's reader does with the rows ---- */

struct read {
    struct es_document *doc;
    struct es_findings findings;
    struct es_error err;
};

static const cJSON *parse(struct read *r, const char *name, const char *text)
{
    memset(r, 0, sizeof *r);
    cr_assert_eq(es_document_parse(name, text, strlen(text), &r->findings, &r->doc, &r->err), ES_OK, "%s",
                 r->err.text);
    return es_document_root(r->doc);
}

static void done(struct read *r)
{
    es_findings_free(&r->findings);
    es_document_free(r->doc);
}

Test(settings, defaults_of_modbus)
{
    const struct es_driver *d = &es_modbus_driver;
    struct read r;
    struct es_modbus_bus bus = {0};
    struct es_modbus_instrument instrument = {0};
    struct es_modbus_channel channel = {0};
    const cJSON *root = parse(&r, "benches/b.json", "{\"mode\": \"rtu\", \"device\": \"line\"}");
    cr_expect(es_fields_read(r.doc, root, d->bus_fields, d->bus_field_count, &bus, &r.findings));
    cr_expect(d->check_bus(r.doc, root, &bus, &r.findings));
    cr_expect_str_eq(bus.device, "benches/line", "%s", bus.device);
    cr_expect_eq(bus.baud, 19200);
    cr_expect_eq(bus.parity, 0);
    es_fields_free(d->bus_fields, d->bus_field_count, &bus);
    done(&r);
    root = parse(&r, "b.json", "{}");
    cr_expect(es_fields_read(r.doc, root, d->instrument_fields, d->instrument_field_count, &instrument,
                             &r.findings));
    cr_expect(d->check_instrument(r.doc, root, &bus, &instrument, &r.findings));
    cr_expect_eq(instrument.unit, 1);
    cr_expect_eq(instrument.max_registers, 125);
    es_fields_free(d->instrument_fields, d->instrument_field_count, &instrument);
    done(&r);
    root = parse(&r, "b.json", "{\"table\": \"input register\", \"address\": 3, \"type\": \"float32\"}");
    cr_expect(es_fields_read(r.doc, root, d->channel_fields, d->channel_field_count, &channel, &r.findings));
    cr_expect(d->check_channel(r.doc, root, &bus, &channel, false, &r.findings));
    cr_expect_eq(channel.bit, -1);
    cr_expect(channel.read_back);
    es_fields_free(d->channel_fields, d->channel_field_count, &channel);
    done(&r);
}

static size_t faults_of_channel(const struct es_driver *d, const char *text, bool writable)
{
    struct read r;
    void *channel = calloc(1, d->channel_size);
    const struct es_modbus_bus bus = {0};
    const cJSON *root = parse(&r, "b.json", text);
    if (es_fields_read(r.doc, root, d->channel_fields, d->channel_field_count, channel, &r.findings))
        cr_expect_eq(d->check_channel(r.doc, root, &bus, channel, writable, &r.findings),
                     r.findings.count == 0);
    size_t count = r.findings.count;
    es_fields_free(d->channel_fields, d->channel_field_count, channel);
    free(channel);
    done(&r);
    return count;
}

Test(settings, channels_that_cannot_be)
{
    static const struct {
        const char *text;
        bool writable;
        size_t faults;
    } rows[] = {
        {"{\"table\": \"coil\", \"address\": 1}", true, 0},
        {"{\"table\": \"coil\", \"address\": 1, \"type\": \"int16\"}", false, 1},
        {"{\"table\": \"discrete input\", \"address\": 1}", true, 1},
        {"{\"table\": \"holding register\", \"address\": 1}", false, 1},
        {"{\"table\": \"holding register\", \"address\": 1, \"bit\": 3}", false, 0},
        {"{\"table\": \"holding register\", \"address\": 1, \"bit\": 3}", true, 1},
        {"{\"table\": \"holding register\", \"address\": 65535, \"type\": \"float32\"}", false, 1},
        {"{\"table\": \"holding register\", \"address\": 1, \"type\": \"float32\", \"word order\": \"13\"}",
         false, 1},
        {"{\"table\": \"holding register\", \"address\": 1, \"type\": \"int16\", \"no value\": \"abc\"}",
         false, 1},
        {"{\"table\": \"holding register\", \"address\": 1, \"type\": \"int16\", \"bit\": 3}", false, 1},
        {"{\"table\": \"holding register\", \"address\": 70000, \"type\": \"int16\"}", false, 1},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_expect_eq(faults_of_channel(&es_modbus_driver, rows[i].text, rows[i].writable), rows[i].faults,
                     "%s", rows[i].text);
}

Test(settings, lines_that_cannot_be)
{
    cr_expect_eq(faults_of_channel(&es_line_driver, "{\"ask\": \"MEAS?\"}", false), 0);
    cr_expect_eq(faults_of_channel(&es_line_driver, "{\"ask\": \"MEAS?\"}", true), 1);
    cr_expect_eq(faults_of_channel(&es_line_driver, "{\"set\": \"CURR {value}\"}", true), 0);
    cr_expect_eq(faults_of_channel(&es_line_driver, "{\"set\": \"CURR\"}", true), 1);
    cr_expect_eq(faults_of_channel(&es_line_driver, "{\"ask\": \"A?\", \"answer\": \"{num}\"}", false), 1);
}

Test(settings, buses_that_cannot_be)
{
    static const char *const texts[] = {"{\"mode\": \"rtu\"}", "{\"mode\": \"tcp\"}",
                                        "{\"mode\": \"tcp\", \"host\": \"h\", \"baud\": 9600}",
                                        "{\"mode\": \"rtu\", \"device\": \"/d\", \"host\": \"h\"}"};
    const struct es_driver *d = &es_modbus_driver;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct read r;
        struct es_modbus_bus bus = {0};
        const cJSON *root = parse(&r, "b.json", texts[i]);
        cr_expect(es_fields_read(r.doc, root, d->bus_fields, d->bus_field_count, &bus, &r.findings));
        cr_expect_not(d->check_bus(r.doc, root, &bus, &r.findings), "%s", texts[i]);
        cr_expect_eq(r.findings.count, 1, "%s", texts[i]);
        es_fields_free(d->bus_fields, d->bus_field_count, &bus);
        done(&r);
    }
}

Test(table, registers_that_share_a_part_clash)
{
    enum { NEITHER, ONE, BOTH };
    static const struct {
        struct es_modbus_channel a, b;
        int written;
        bool clash;
    } rows[] = {
        {{.type = ES_MODBUS_FLOAT32, .address = 10}, {.type = ES_MODBUS_INT32, .address = 11}, NEITHER, true},
        {{.type = ES_MODBUS_FLOAT32, .address = 10}, {.type = ES_MODBUS_INT16, .address = 11}, NEITHER, true},
        {{.type = ES_MODBUS_FLOAT32, .address = 10}, {.type = ES_MODBUS_INT32, .address = 12}, BOTH, false},
        {{.type = ES_MODBUS_INT32, .address = 10}, {.type = ES_MODBUS_UINT32, .address = 10}, ONE, false},
        {{.type = ES_MODBUS_INT16, .address = 10}, {.type = ES_MODBUS_INT16, .address = 10}, BOTH, true},
        {{.type = ES_MODBUS_BIT, .address = 3, .bit = 1},
         {.type = ES_MODBUS_UINT16, .address = 3},
         ONE,
         false},
        {{.table = 1, .type = ES_MODBUS_INT16}, {.table = 0, .type = ES_MODBUS_INT32}, BOTH, false},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        bool a = rows[i].written != NEITHER, b = rows[i].written == BOTH;
        cr_expect_eq(es_modbus_driver.clash(&rows[i].a, a, &rows[i].b, b), rows[i].clash, "row %zu", i);
        cr_expect_eq(es_modbus_driver.clash(&rows[i].b, b, &rows[i].a, a), rows[i].clash, "row %zu", i);
    }
}

Test(table, one_command_sets_one_output)
{
    char set[] = "SOUR:CURR {value}", same[] = "SOUR:CURR {value}", other[] = "SOUR:VOLT {value}";
    struct es_line_channel a = {.set = set}, b = {.set = same}, c = {.set = other};
    cr_expect(es_line_driver.clash(&a, true, &b, true));
    cr_expect_not(es_line_driver.clash(&a, true, &b, false));
    cr_expect_not(es_line_driver.clash(&a, true, &c, true));
}
