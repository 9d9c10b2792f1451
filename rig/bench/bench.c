/* The bench in memory: look-ups and release. */
#include "rig/bench/bench.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>

#include "rig/bench/bench_reader.h"

const struct es_bench_station *es_bench_find_station(const struct es_bench *bench, const char *name)
{
    for (size_t i = 0; i < bench->station_count; i++) {
        if (!strcmp(bench->stations[i].name, name)) {
            return &bench->stations[i];
        }
    }
    return NULL;
}

const struct es_bench_channel *es_station_channel(const struct es_bench_station *station, enum es_role role)
{
    for (size_t i = 0; i < station->channel_count; i++) {
        if (station->channels[i].role == role) {
            return &station->channels[i];
        }
    }
    return NULL;
}

const struct es_ceiling *es_station_ceiling(const struct es_bench_station *station, enum es_role role)
{
    for (size_t i = 0; i < station->ceiling_count; i++) {
        if (station->ceilings[i].role == role) {
            return &station->ceilings[i];
        }
    }
    return NULL;
}

enum es_role es_role_effect(enum es_role output)
{
    switch (output) {
    case ES_ROLE_LOOP_DEMAND:
        return ES_ROLE_LOOP_CURRENT;
    case ES_ROLE_SUPPLY_DEMAND:
        return ES_ROLE_SUPPLY_PRESSURE;
    case ES_ROLE_SHAFT_DRIVE:
        return ES_ROLE_SHAFT_ANGLE;
    default:
        return ES_ROLE_NONE;
    }
}

int es_calibration_days_left(const struct es_calibration *calibration, const char *today)
{
    long due, now;
    if (!calibration->number || !es_bench_date(calibration->due, &due) || !es_bench_date(today, &now)) {
        return INT_MAX;
    }
    return (int)(due - now);
}

static void free_channel(const struct es_bench *bench, struct es_bench_channel *c)
{
    if (c->address) {
        const struct es_driver *d = bench->buses[bench->instruments[c->instrument].bus].driver;
        es_fields_free(d->channel_fields, d->channel_field_count, c->address);
        free(c->address);
    }
    free(c->table_raw);
    free(c->table_written);
    free(c->calibration.number);
    free(c->calibration.date);
    free(c->calibration.due);
    free(c->calibration.readings);
    free(c->calibration.corrections);
}

static void free_station(const struct es_bench *bench, struct es_bench_station *s)
{
    for (size_t i = 0; i < s->channel_count; i++) {
        free_channel(bench, &s->channels[i]);
    }
    for (size_t i = 0; i < s->fact_count; i++) {
        free((char *)(uintptr_t)s->facts[i].name);
    }
    free(s->facts);
    free(s->channels);
    free(s->ceilings);
    free(s->safe_writes);
    free(s->name);
}

void es_bench_free(struct es_bench *bench)
{
    if (!bench) {
        return;
    }
    for (size_t i = 0; i < bench->station_count; i++) {
        free_station(bench, &bench->stations[i]);
    }
    for (size_t i = 0; i < bench->instrument_count; i++) {
        struct es_bench_instrument *in = &bench->instruments[i];
        if (in->settings) {
            const struct es_driver *d = bench->buses[in->bus].driver;
            es_fields_free(d->instrument_fields, d->instrument_field_count, in->settings);
            free(in->settings);
        }
        free(in->name);
        free(in->description);
        free(in->identity);
    }
    for (size_t i = 0; i < bench->bus_count; i++) {
        struct es_bench_bus *bus = &bench->buses[i];
        if (bus->settings) {
            es_fields_free(bus->driver->bus_fields, bus->driver->bus_field_count, bus->settings);
            free(bus->settings);
        }
        free(bus->instruments);
        free(bus->name);
    }
    free(bench->stations);
    free(bench->instruments);
    free(bench->buses);
    free(bench->name);
    free(bench->place);
    free(bench);
}
