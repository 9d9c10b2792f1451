#include "rig/simulator/simulator.h"

#include <stdlib.h>
#include <string.h>

#include "rig/bench/virtual_station.h"

static void configure(const struct es_bench_station *about, const struct sim_unit *unit, uint64_t seed,
                      struct es_virtual_config *config)
{
    es_virtual_config_init(config, unit->type);
    es_virtual_config_from_station(about, config);
    config->feedback = !unit->without_feedback;
    config->shutdown_module = unit->shutdown_module;
    config->seed = seed;
}

static struct sim_unit unit_for(const struct sim_setup *setup, const char *station)
{
    struct sim_unit unit = setup->unit;
    for (size_t i = 0; i < setup->other_count; i++) {
        if (strlen(station) == setup->others[i].length &&
            memcmp(station, setup->others[i].station, setup->others[i].length) == 0) {
            unit.type = setup->others[i].type;
        }
    }
    return unit;
}

static enum es_status build_station(struct simulator *sim, struct sim_station *station,
                                    const struct es_bench_station *about, const struct sim_setup *setup,
                                    size_t index, struct es_error *err)
{
    const struct sim_unit unit = unit_for(setup, about->name);
    station->about = about;
    configure(about, &unit, setup->seed + index, &station->config);
    station->config.faults = setup->faults;
    station->config.fault_count = setup->fault_count;
    enum es_status s = es_virtual_new(&station->config, &station->model, err);
    if (s != ES_OK) {
        return s;
    }
    s = es_virtual_supply_join(sim->supply, station->model, err);
    if (s != ES_OK) {
        es_virtual_free(station->model);
    }
    return s;
}

static bool wanted(const struct sim_setup *setup, const struct es_bench_station *about)
{
    return !setup->station || strcmp(setup->station, about->name) == 0;
}

static bool all_known(const struct sim_setup *setup, const struct es_bench *bench, struct es_error *err)
{
    for (size_t i = 0; i < setup->other_count; i++) {
        bool known = false;
        for (size_t k = 0; k < bench->station_count; k++) {
            const char *name = bench->stations[k].name;
            known |= strlen(name) == setup->others[i].length &&
                     memcmp(name, setup->others[i].station, setup->others[i].length) == 0;
        }
        if (!known) {
            (void)es_fail(err, ES_NOT_FOUND, "--unit: the bench file has no station \"%.*s\"",
                          (int)setup->others[i].length, setup->others[i].station);
            return false;
        }
    }
    return true;
}

static enum es_status build_stations(struct simulator *sim, const struct sim_setup *setup,
                                     struct es_error *err)
{
    const struct es_bench *bench = sim->bench;
    if (!all_known(setup, bench, err)) {
        return ES_NOT_FOUND;
    }
    sim->stations = calloc(bench->station_count, sizeof *sim->stations);
    if (!sim->stations) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the stations");
    }
    for (size_t i = 0; i < bench->station_count; i++) {
        if (!wanted(setup, &bench->stations[i])) {
            continue;
        }
        const enum es_status s =
            build_station(sim, &sim->stations[sim->station_count], &bench->stations[i], setup, i, err);
        if (s != ES_OK) {
            return es_error_context(err, s, "station \"%s\"", bench->stations[i].name);
        }
        sim->station_count++;
    }
    if (sim->station_count == 0) {
        return es_fail(err, ES_NOT_FOUND, "the bench file has no station \"%s\"; its first one is \"%s\"",
                       setup->station ? setup->station : "",
                       bench->station_count ? bench->stations[0].name : "");
    }
    return ES_OK;
}

static size_t count_points(const struct simulator *sim, size_t instrument)
{
    size_t count = 0;
    for (size_t s = 0; s < sim->station_count; s++) {
        const struct es_bench_station *about = sim->stations[s].about;
        for (size_t c = 0; c < about->channel_count; c++) {
            count += about->channels[c].instrument == instrument;
        }
    }
    return count;
}

static enum es_status build_instrument(struct simulator *sim, size_t index, struct es_error *err)
{
    struct sim_instrument *instrument = &sim->instruments[index];
    instrument->about = &sim->bench->instruments[index];
    instrument->points = calloc(count_points(sim, index) + 1, sizeof *instrument->points);
    if (!instrument->points) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the instrument \"%s\"", instrument->about->name);
    }
    for (size_t s = 0; s < sim->station_count; s++) {
        const struct sim_station *station = &sim->stations[s];
        for (size_t c = 0; c < station->about->channel_count; c++) {
            if (station->about->channels[c].instrument == index) {
                instrument->points[instrument->point_count++] =
                    (struct sim_point){&station->about->channels[c], station->model};
            }
        }
    }
    const struct es_bench_bus *bus = &sim->bench->buses[instrument->about->bus];
    return strcmp(bus->driver->name, "modbus") == 0 ? sim_modbus_map(instrument, err) : ES_OK;
}

static enum es_status build_instruments(struct simulator *sim, struct es_error *err)
{
    sim->instruments = calloc(sim->bench->instrument_count, sizeof *sim->instruments);
    if (!sim->instruments) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the instruments");
    }
    for (size_t i = 0; i < sim->bench->instrument_count; i++) {
        const enum es_status s = build_instrument(sim, i, err);
        if (s != ES_OK) {
            return s;
        }
    }
    return ES_OK;
}

static enum es_status open_buses(struct simulator *sim, bool without_wires, struct es_error *err)
{
    sim->buses = calloc(sim->bench->bus_count, sizeof *sim->buses);
    if (!sim->buses) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the buses");
    }
    for (size_t i = 0; i < sim->bench->bus_count; i++) {
        sim->buses[i].sim = sim;
        sim->buses[i].about = &sim->bench->buses[i];
        sim->bus_count = i + 1;
        const enum es_status s = sim_bus_open(&sim->buses[i], without_wires, err);
        if (s != ES_OK) {
            return s;
        }
    }
    return ES_OK;
}

enum es_status sim_new(const struct es_bench *bench, const struct sim_setup *setup, struct simulator **out,
                       struct es_error *err)
{
    if (!bench->is_virtual) {
        return es_fail(err, ES_REFUSED,
                       "the bench file describes a real bench (it has no \"virtual\": true); a simulated "
                       "result could be "
                       "taken for a real one, so it is not simulated");
    }
    struct simulator *sim = calloc(1, sizeof *sim);
    if (!sim) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the simulator");
    }
    sim->bench = bench;
    sim->speed = setup->speed;
    sim->seed = setup->seed;
    sim->log = es_log_to_stderr(ES_LOG_NOTICE);
    struct es_virtual_supply_config mains;
    es_virtual_supply_config_init(&mains);
    struct es_virtual_supply *supply = NULL;
    enum es_status s = es_virtual_supply_new(&mains, &supply, err);
    if (s == ES_OK) {
        sim->supply = supply;
        s = build_stations(sim, setup, err);
    }
    if (s == ES_OK) {
        s = build_instruments(sim, err);
    }
    if (s == ES_OK) {
        s = open_buses(sim, setup->without_wires, err);
    }
    if (s != ES_OK) {
        sim_free(sim);
        return s;
    }
    sim->start = es_clock_now();
    *out = sim;
    return ES_OK;
}

void sim_free(struct simulator *sim)
{
    if (!sim) {
        return;
    }
    for (size_t i = 0; i < sim->bus_count; i++) {
        sim_bus_close(&sim->buses[i]);
    }
    free(sim->buses);
    for (size_t i = 0; sim->instruments && i < sim->bench->instrument_count; i++) {
        free(sim->instruments[i].points);
        if (sim->instruments[i].mapping) {
            modbus_mapping_free(sim->instruments[i].mapping);
        }
    }
    free(sim->instruments);
    for (size_t i = 0; i < sim->station_count; i++) {
        es_virtual_free(sim->stations[i].model);
    }
    free(sim->stations);
    es_virtual_supply_free(sim->supply);
    free(sim);
}

static es_time virtual_time(const struct simulator *sim, es_time real_now)
{
    return (es_time)((double)(real_now - sim->start) * sim->speed);
}

void sim_advance(struct simulator *sim, es_time real_now)
{
    const es_time to = virtual_time(sim, real_now);
    for (size_t i = 0; i < sim->station_count; i++) {
        es_virtual_advance_to(sim->stations[i].model, sim->stations[i].mounted + to);
    }
}

static void point_at(struct simulator *sim, const struct es_virtual *old, struct es_virtual *model)
{
    for (size_t i = 0; i < sim->bench->instrument_count; i++) {
        for (size_t p = 0; p < sim->instruments[i].point_count; p++) {
            struct sim_point *point = &sim->instruments[i].points[p];
            point->model = point->model == old ? model : point->model;
        }
    }
}

/* What is wrong with the bench stays when another unit is put on it. */
static enum es_status keep_bench_faults(const struct es_virtual *from, struct es_virtual *to,
                                        enum es_virtual_type type, struct es_error *err)
{
    enum es_status s = ES_OK;
    for (int i = 0; i < (int)es_virtual_fault_count() && s == ES_OK; i++) {
        const struct es_virtual_fault_setting setting = {i, es_virtual_fault_severity(from, i), 0};
        if (es_virtual_fault_get(i)->place == ES_VIRTUAL_BENCH && setting.severity > 0 &&
            es_virtual_fault_possible(i, type)) {
            s = es_virtual_fault_set(to, &setting, err);
        }
    }
    return s;
}

enum es_status sim_mount(struct simulator *sim, struct sim_station *station, const struct sim_unit *unit,
                         uint64_t seed, struct es_error *err)
{
    struct es_virtual *model = NULL;
    struct es_virtual_config config;
    configure(station->about, unit, seed, &config);
    enum es_status s = es_virtual_new(&config, &model, err);
    if (s == ES_OK) {
        s = keep_bench_faults(station->model, model, unit->type, err);
    }
    if (s == ES_OK) {
        es_virtual_supply_leave(station->model);
        s = es_virtual_supply_join(sim->supply, model, err);
    }
    if (s != ES_OK) {
        es_virtual_free(model);
        return s;
    }
    point_at(sim, station->model, model);
    es_virtual_free(station->model);
    station->model = model;
    station->config = config;
    station->mounted = -virtual_time(sim, es_clock_now()); /* its time starts at 0 */
    return ES_OK;
}

struct sim_station *sim_station_find(struct simulator *sim, const char *name, size_t length)
{
    for (size_t i = 0; i < sim->station_count; i++) {
        const char *known = sim->stations[i].about->name;
        if (strlen(known) == length && memcmp(known, name, length) == 0) {
            return &sim->stations[i];
        }
    }
    return NULL;
}
