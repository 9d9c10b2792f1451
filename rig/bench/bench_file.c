/* Reads a bench file: its buses and instruments, then its stations. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/bench/bench_reader.h"

static void read_bus(struct es_bench_reader *r, const cJSON *object, struct es_bench_bus *bus)
{
    struct es_bus_text t = {0};
    es_bench_read(r, object, "bus", &t);
    bus->name = t.name;
    t.name = NULL;
    bus->driver = t.driver ? es_driver_find(t.driver) : NULL;
    if (t.driver && !bus->driver) {
        char names[200] = "";
        size_t count;
        const struct es_driver *const *list = es_driver_list(&count);
        for (size_t i = 0; i < count; i++) {
            size_t used = strlen(names);
            snprintf(names + used, sizeof names - used, "%s\"%s\"", i ? ", " : "", list[i]->name);
        }
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, "driver"), r->findings, NULL,
                          "the name of a driver, one of: %s", names);
    }
    if (bus->driver) {
        const struct es_driver *d = bus->driver;
        bus->settings = es_bench_settings(r, object, t.settings, "settings", d->bus_fields,
                                          d->bus_field_count, d->bus_size);
        if (bus->settings && d->check_bus) {
            d->check_bus(r->doc, t.settings ? t.settings : object, bus->settings, r->findings);
        }
    }
    es_bench_rows_free("bus", &t);
}

static void read_buses(struct es_bench_reader *r, const cJSON *array)
{
    struct es_bench *b = r->bench;
    b->buses = es_bench_new(r, (size_t)cJSON_GetArraySize(array), sizeof *b->buses);
    if (!b->buses) {
        return;
    }
    const cJSON *item;
    cJSON_ArrayForEach(item, array)
    {
        struct es_bench_bus *bus = &b->buses[b->bus_count];
        read_bus(r, item, bus);
        for (size_t i = 0; bus->name && i < b->bus_count; i++) {
            if (b->buses[i].name && !strcmp(b->buses[i].name, bus->name)) {
                es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(item, "name"), r->findings, NULL,
                                  "a name of its own for each bus");
            }
        }
        b->bus_count++;
    }
}

static void join_bus(struct es_bench_reader *r, const cJSON *object, const char *name, size_t index,
                     const cJSON *settings)
{
    struct es_bench *b = r->bench;
    for (size_t i = 0; i < b->bus_count; i++) {
        struct es_bench_bus *bus = &b->buses[i];
        if (!bus->name || strcmp(bus->name, name) != 0) {
            continue;
        }
        size_t *more = realloc(bus->instruments, (bus->instrument_count + 1) * sizeof *more);
        if (!more) {
            r->no_memory = true;
            return;
        }
        more[bus->instrument_count++] = index;
        bus->instruments = more;
        b->instruments[index].bus = i;
        if (bus->driver) {
            b->instruments[index].settings =
                es_bench_settings(r, object, settings, "settings", bus->driver->instrument_fields,
                                  bus->driver->instrument_field_count, bus->driver->instrument_size);
            b->instruments[index].common.settings = b->instruments[index].settings;
            if (b->instruments[index].settings && bus->settings && bus->driver->check_instrument) {
                bus->driver->check_instrument(r->doc, settings ? settings : object, bus->settings,
                                              b->instruments[index].settings, r->findings);
            }
        }
        return;
    }
    es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, "bus"), r->findings, NULL,
                      "the name of a bus of this file");
}

static void read_instrument(struct es_bench_reader *r, const cJSON *object, size_t index)
{
    struct es_bench_instrument *in = &r->bench->instruments[index];
    struct es_instrument_text t = {0};
    es_bench_read(r, object, "instrument", &t);
    in->name = t.name;
    in->description = t.description;
    in->identity = t.identity;
    t.name = t.description = t.identity = NULL;
    in->common =
        (struct es_instrument_common){.name = in->name,
                                      .timeout = t.timeout,
                                      .retries = t.retries,
                                      .latency = t.latency,
                                      .u_latency = t.u_latency,
                                      .turn_around = t.turn_around > 0 ? t.turn_around : 2 * t.timeout};
    if (t.bus) {
        join_bus(r, object, t.bus, index, t.settings);
    }
    if (t.turn_around > 0 && t.turn_around < t.timeout) {
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(object, "turn-around"), r->findings, NULL,
                          "at least the timeout: an answer may come as late as that");
    }
    es_bench_rows_free("instrument", &t);
}

static void read_instruments(struct es_bench_reader *r, const cJSON *array)
{
    struct es_bench *b = r->bench;
    b->instruments = es_bench_new(r, (size_t)cJSON_GetArraySize(array), sizeof *b->instruments);
    if (!b->instruments) {
        return;
    }
    const cJSON *item;
    cJSON_ArrayForEach(item, array)
    {
        size_t index = b->instrument_count++;
        read_instrument(r, item, index);
        for (size_t i = 0; b->instruments[index].name && i < index; i++) {
            if (b->instruments[i].name && !strcmp(b->instruments[i].name, b->instruments[index].name)) {
                es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(item, "name"), r->findings, NULL,
                                  "a name of its own for each instrument");
            }
        }
    }
}

static void read_stations(struct es_bench_reader *r, const cJSON *array)
{
    struct es_bench *b = r->bench;
    b->stations = es_bench_new(r, (size_t)cJSON_GetArraySize(array), sizeof *b->stations);
    if (!b->stations) {
        return;
    }
    const cJSON *item;
    cJSON_ArrayForEach(item, array)
    {
        struct es_bench_station *s = &b->stations[b->station_count++];
        es_bench_read_station(r, item, s);
        for (const struct es_bench_station *o = b->stations; s->name && o < s; o++) {
            if (o->name && !strcmp(o->name, s->name)) {
                es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(item, "name"), r->findings, NULL,
                                  "a name of its own for each station");
            }
        }
    }
}

static void read_file(struct es_bench_reader *r, const cJSON *root)
{
    struct es_file_text t = {0};
    const cJSON *format = cJSON_GetObjectItemCaseSensitive(root, "endstop");
    const char *text = cJSON_GetStringValue(format);
    if (text && strcmp(text, "bench/1") != 0) {
        /* Another format's members would only be noise. */
        es_document_fault(r->doc, format, r->findings, NULL,
                          "\"bench/1\": this is not a bench file that "
                          "this version reads");
        return;
    }
    es_bench_read(r, root, "bench file", &t);
    r->bench->name = t.name;
    r->bench->place = t.place;
    r->bench->is_virtual = t.is_virtual;
    t.name = t.place = NULL;
    if (t.buses) {
        read_buses(r, t.buses);
    }
    if (t.instruments) {
        read_instruments(r, t.instruments);
    }
    if (t.stations) {
        read_stations(r, t.stations);
    }
    es_bench_rows_free("bench file", &t);
}

enum es_status es_bench_from_document(const struct es_document *doc, struct es_findings *findings,
                                      struct es_bench **out, struct es_error *err)
{
    struct es_bench_reader r = {.doc = doc, .findings = findings};
    size_t before = findings->count;
    r.bench = es_bench_new(&r, 1, sizeof *r.bench);
    enum es_status status;
    if (!r.bench) {
        status = es_fail(err, ES_NO_MEMORY, "no memory for the bench file");
        goto fail;
    }
    es_document_digest(doc, r.bench->digest);
    read_file(&r, es_document_root(doc));
    if (r.no_memory || findings->out_of_memory) {
        status = es_fail(err, ES_NO_MEMORY, "no memory for the bench file");
        goto fail;
    }
    if (findings->count > before) {
        status = es_findings_status(findings, err);
        goto fail;
    }
    *out = r.bench;
    return ES_OK;

fail:
    es_bench_free(r.bench);
    return status;
}

enum es_status es_bench_load(const char *path, struct es_findings *findings, struct es_bench **out,
                             struct es_error *err)
{
    struct es_document *doc;
    enum es_status status = es_document_load(path, findings, &doc, err);
    if (status != ES_OK) {
        return status;
    }
    status = es_bench_from_document(doc, findings, out, err);
    es_document_free(doc);
    return status;
}
