#include "tests/support/bench/test_driver.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SCRIPTS 16

static pthread_mutex_t scripts_lock = PTHREAD_MUTEX_INITIALIZER;
static struct test_script *scripts[SCRIPTS];

struct test_script *test_script_new(const char *name)
{
    struct test_script *s = calloc(1, sizeof *s);
    snprintf(s->name, sizeof s->name, "%s", name);
    pthread_mutex_init(&s->lock, NULL);
    for (size_t i = 0; i < TEST_INSTRUMENTS; i++) {
        snprintf(s->identity[i], sizeof s->identity[i], "Example Works test instrument %zu", i);
    }
    pthread_mutex_lock(&scripts_lock);
    size_t i = 0;
    while (i < SCRIPTS - 1 && scripts[i]) {
        i++;
    }
    scripts[i] = s;
    pthread_mutex_unlock(&scripts_lock);
    return s;
}

void test_script_free(struct test_script *s)
{
    pthread_mutex_lock(&scripts_lock);
    for (size_t i = 0; i < SCRIPTS; i++) {
        if (scripts[i] == s) {
            scripts[i] = NULL;
        }
    }
    pthread_mutex_unlock(&scripts_lock);
    pthread_mutex_destroy(&s->lock);
    free(s);
}

void test_set(struct test_script *s, size_t instrument, long reg, double raw)
{
    pthread_mutex_lock(&s->lock);
    s->registers[instrument][reg] = raw;
    pthread_mutex_unlock(&s->lock);
}

double test_get(struct test_script *s, size_t instrument, long reg)
{
    pthread_mutex_lock(&s->lock);
    double raw = s->registers[instrument][reg];
    pthread_mutex_unlock(&s->lock);
    return raw;
}

struct bus_settings {
    char *script;
};
struct instrument_settings {
    long unit;
};
struct channel_settings {
    long reg;
    bool told;
};

static const struct es_field bus_fields[] = {{"script", ES_FIELD_TEXT, true,
                                              offsetof(struct bus_settings, script), 0, 1, 30, NULL, NULL,
                                              "name of the script"}};
static const struct es_field instrument_fields[] = {{"unit", ES_FIELD_INTEGER, true,
                                                     offsetof(struct instrument_settings, unit), 0, 0,
                                                     TEST_INSTRUMENTS - 1, NULL, NULL, "which one"}};
static const struct es_field channel_fields[] = {
    {"register", ES_FIELD_INTEGER, true, offsetof(struct channel_settings, reg), 0, 0, TEST_REGISTERS - 1,
     NULL, NULL, "which register"},
    {"told", ES_FIELD_BOOL, false, offsetof(struct channel_settings, told), 0, 0, 0, "false", NULL,
     "the instrument tells what was written"},
};

#define REQUESTS 8

struct es_bus {
    struct test_script *script;
    const struct es_instrument_common *instruments;
    size_t instrument_count;
    struct es_point *points;
    size_t *indices;
    struct es_request requests[REQUESTS];
    size_t request_count;
};

static size_t unit_of(const struct es_bus *bus, size_t instrument)
{
    return (size_t)((const struct instrument_settings *)bus->instruments[instrument].settings)->unit;
}

/* Begins and ends an exchange, sleeping as scripted, without the lock held. */
static void enter(struct es_bus *bus, double seconds)
{
    pthread_mutex_lock(&bus->script->lock);
    bus->script->overlaps += bus->script->in_call;
    bus->script->in_call = true;
    seconds += bus->script->delay;
    pthread_mutex_unlock(&bus->script->lock);
    if (seconds > 0) {
        es_clock_sleep_until(es_clock_now() + es_from_seconds(seconds));
    }
    pthread_mutex_lock(&bus->script->lock);
}

static enum es_status leave(struct es_bus *bus, enum es_status status)
{
    bus->script->in_call = false;
    pthread_mutex_unlock(&bus->script->lock);
    return status;
}

static enum es_status reach(struct es_bus *bus, size_t instrument, struct es_error *err)
{
    struct test_script *s = bus->script;
    if (s->gone) {
        return es_fail(err, ES_HANGUP, "the line is gone");
    }
    if (s->silent[unit_of(bus, instrument)]) {
        double timeout = bus->instruments[instrument].timeout;
        pthread_mutex_unlock(&s->lock);
        es_clock_sleep_until(es_clock_now() + es_from_seconds(timeout));
        pthread_mutex_lock(&s->lock);
        return es_fail(err, ES_TIMEOUT, "no answer from %s", bus->instruments[instrument].name);
    }
    return ES_OK;
}

static enum es_status test_open(const void *settings, const struct es_instrument_common *instruments,
                                size_t count, struct es_bus **out, struct es_error *err)
{
    struct test_script *script = NULL;
    pthread_mutex_lock(&scripts_lock);
    for (size_t i = 0; i < SCRIPTS; i++) {
        if (scripts[i] && !strcmp(scripts[i]->name, ((const struct bus_settings *)settings)->script)) {
            script = scripts[i];
        }
    }
    pthread_mutex_unlock(&scripts_lock);
    if (!script) {
        return es_fail(err, ES_HANGUP, "no such script");
    }
    pthread_mutex_lock(&script->lock);
    bool gone = script->gone;
    script->opens += !gone;
    pthread_mutex_unlock(&script->lock);
    if (gone) {
        return es_fail(err, ES_HANGUP, "the line is not there");
    }
    struct es_bus *bus = calloc(1, sizeof *bus);
    bus->script = script;
    bus->instruments = instruments;
    bus->instrument_count = count;
    *out = bus;
    return ES_OK;
}

static enum es_status test_probe(struct es_bus *bus, size_t instrument, char *out, size_t size,
                                 struct es_error *err)
{
    enter(bus, 0);
    bus->script->probes++;
    enum es_status status = reach(bus, instrument, err);
    if (status == ES_OK) {
        snprintf(out, size, "%s", bus->script->identity[unit_of(bus, instrument)]);
    }
    return leave(bus, status);
}

/* One request an instrument. */
static enum es_status test_plan(struct es_bus *bus, const struct es_point *points, size_t count,
                                const struct es_request **requests, size_t *request_count,
                                struct es_error *err)
{
    (void)err;
    free(bus->points);
    free(bus->indices);
    bus->points = calloc(count + 1, sizeof *bus->points);
    bus->indices = calloc(count + 1, sizeof *bus->indices);
    if (count) {
        memcpy(bus->points, points, count * sizeof *points);
    }
    bus->request_count = 0;
    size_t used = 0;
    for (size_t i = 0; i < bus->instrument_count; i++) {
        size_t first = used;
        for (size_t p = 0; p < count; p++) {
            if (points[p].instrument == i) {
                bus->indices[used++] = p;
            }
        }
        if (used > first) {
            bus->requests[bus->request_count++] = (struct es_request){i, used - first, &bus->indices[first]};
        }
    }
    *requests = bus->requests;
    *request_count = bus->request_count;
    return ES_OK;
}

static enum es_status test_read(struct es_bus *bus, size_t index, struct es_raw *values,
                                struct es_stamp *stamp, struct es_error *err)
{
    const struct es_request *q = &bus->requests[index];
    enter(bus, 0);
    bus->script->reads++;
    enum es_status status = reach(bus, q->instrument, err);
    if (status != ES_OK) {
        return leave(bus, status);
    }
    size_t unit = unit_of(bus, q->instrument);
    for (size_t i = 0; i < q->count; i++) {
        long reg = ((const struct channel_settings *)bus->points[q->point_index[i]].address)->reg;
        values[i] = (struct es_raw){bus->script->registers[unit][reg], !bus->script->invalid[unit][reg]};
    }
    *stamp = (struct es_stamp){es_clock_now(), 1e-4};
    return leave(bus, ES_OK);
}

static enum es_status test_write_point(struct es_bus *bus, const struct es_point *point, double raw,
                                       struct es_stamp *acted, struct es_error *err)
{
    enter(bus, 0);
    struct test_script *s = bus->script;
    size_t unit = unit_of(bus, point->instrument);
    long reg = ((const struct channel_settings *)point->address)->reg;
    enum es_status status = reach(bus, point->instrument, err);
    if (status == ES_OK && s->refuses_writes[unit]) {
        status = es_fail(err, ES_REFUSED, "the instrument refused the write");
    }
    if (s->write_count < TEST_WRITES) {
        s->writes[s->write_count++] = (struct test_write){unit, reg, raw, es_clock_now(), status != ES_OK};
    }
    if (status != ES_OK) {
        return leave(bus, status);
    }
    if (!s->ignores_writes[unit]) {
        s->registers[unit][reg] = raw;
        if (s->follow[unit][reg]) {
            s->registers[unit][s->follow[unit][reg] - 1] = raw;
        }
    }
    *acted = (struct es_stamp){es_clock_now(), 1e-4};
    return leave(bus, ES_OK);
}

static bool test_shows_setting(const void *channel)
{
    return ((const struct channel_settings *)channel)->told;
}

static bool test_same_setting(const void *channel, double raw, double read)
{
    (void)channel;
    return raw == read;
}

static bool test_clash(const void *channel, bool writable, const void *other, bool other_writable)
{
    const struct channel_settings *a = channel, *b = other;
    return writable && other_writable && a->reg == b->reg;
}

static enum es_status test_settle(struct es_bus *bus, struct es_error *err)
{
    enter(bus, 0);
    bus->script->settles++;
    return leave(bus, bus->script->gone ? es_fail(err, ES_HANGUP, "the line is gone") : ES_OK);
}

static void test_close(struct es_bus *bus)
{
    pthread_mutex_lock(&bus->script->lock);
    bus->script->closes++;
    pthread_mutex_unlock(&bus->script->lock);
    free(bus->points);
    free(bus->indices);
    free(bus);
}

static double test_line_limit(struct es_bus *bus)
{
    (void)bus;
    return 0;
}

static void test_describe(struct es_bus *bus, char *out, size_t size)
{
    snprintf(out, size, "script %s", bus->script->name);
}

const struct es_driver test_driver = {
    .name = "scripted",
    .summary = "instruments in memory, for tests",
    .bus_fields = bus_fields,
    .bus_field_count = 1,
    .bus_size = sizeof(struct bus_settings),
    .instrument_fields = instrument_fields,
    .instrument_field_count = 1,
    .instrument_size = sizeof(struct instrument_settings),
    .channel_fields = channel_fields,
    .channel_field_count = 2,
    .channel_size = sizeof(struct channel_settings),
    .shows_setting = test_shows_setting,
    .same_setting = test_same_setting,
    .clash = test_clash,
    .open = test_open,
    .probe = test_probe,
    .plan = test_plan,
    .read = test_read,
    .write = test_write_point,
    .settle = test_settle,
    .close = test_close,
    .line_limit = test_line_limit,
    .describe = test_describe,
};

/* The table of drivers, for programs that link this instead of es_drivers' own. */
static const struct es_driver *const table[] = {&test_driver};

const struct es_driver *es_driver_find(const char *name)
{
    return strcmp(name, test_driver.name) ? NULL : &test_driver;
}

const struct es_driver *const *es_driver_list(size_t *count)
{
    *count = 1;
    return table;
}
