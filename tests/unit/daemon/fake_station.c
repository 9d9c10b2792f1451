#include "tests/unit/daemon/fake_station.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "rig/bench/run.h"

struct es_station {
    atomic_bool running, stop;
};

struct es_live {
    int unused;
};

static struct es_station the_station;
static struct es_live the_live;
static _Atomic double safe_seconds;
static atomic_int settled;

static struct es_bench_channel channels[2];
static struct es_bench_station described = {.name = "1", .channels = channels, .channel_count = 2};
static struct es_bench bench = {
    .name = "Fake bench", .place = "nowhere", .is_virtual = true, .stations = &described, .station_count = 1};

const struct es_bench *fake_bench(void)
{
    channels[0] = (struct es_bench_channel){
        .role = ES_ROLE_SUPPLY_PRESSURE,
        .unit = es_unit_find("bar", 3),
        .resolution = 100,
        .calibration = {.number = "C-1", .date = "2026-01-01", .due = "2027-01-01"}};
    channels[1] = (struct es_bench_channel){
        .role = ES_ROLE_SUPPLY_VALVE, .unit = es_unit_find("1", 1), .writable = true};
    if (channels[1].unit == NULL)
        channels[1].unit = es_dimension_unit(ES_DIM_NUMBER);
    return &bench;
}

struct es_live *fake_live(void)
{
    return &the_live;
}

void fake_safe_takes(double seconds)
{
    atomic_store(&safe_seconds, seconds);
}

static void nap(double seconds)
{
    es_clock_sleep_until(es_clock_now() + es_from_seconds(seconds));
}

/* ---- station.h ---- */

const char *es_link_state_word(enum es_link_state s)
{
    (void)s;
    return "trusted";
}

const char *es_instrument_state_word(enum es_instrument_state s)
{
    (void)s;
    return "answers";
}

const char *es_interlock_state_word(enum es_interlock_state s)
{
    (void)s;
    return "safe";
}

size_t es_live_bus_count(const struct es_live *live)
{
    (void)live;
    return 1;
}

void es_live_bus_status(const struct es_live *live, size_t bus, struct es_bus_status *out)
{
    (void)live, (void)bus;
    *out =
        (struct es_bus_status){.name = "b", .driver = "modbus", .state = ES_LINK_TRUSTED, .late_worst = NAN};
}

size_t es_live_instrument_count(const struct es_live *live)
{
    (void)live;
    return 1;
}

void es_live_instrument_status(const struct es_live *live, size_t i, struct es_instrument_status *out)
{
    (void)live, (void)i;
    *out = (struct es_instrument_status){.name = "i", .bus = "b", .identity = "\x1b\xff odd \"identity\""};
}

struct es_station *es_live_station(struct es_live *live, const char *name)
{
    (void)live;
    return strcmp(name, "1") == 0 ? &the_station : NULL;
}

static void safe(struct es_safe_report *report)
{
    double seconds = atomic_load(&safe_seconds);
    nap(seconds);
    *report = (struct es_safe_report){.reached = true, .seconds = seconds, .allowed = 5};
    snprintf(report->sentence, sizeof report->sentence, "All outputs are safe.");
}

void es_station_status(struct es_station *station, struct es_station_status *out)
{
    *out = (struct es_station_status){
        .name = "1", .state = ES_LOCK_TRIPPED, .running = atomic_load(&station->running)};
    out->safe.reached = true;
}

size_t es_station_channels(struct es_station *station, struct es_channel_status *out, size_t max)
{
    (void)station;
    for (size_t i = 0; i < 2 && i < max; i++)
        out[i] = (struct es_channel_status){.role = channels[i].role,
                                            .instrument = "i",
                                            .writable = channels[i].writable,
                                            .unit = channels[i].unit,
                                            .newest = {.value = 4e5, .quality = i == 0 ? ES_GOOD : ES_FAILED},
                                            .age = NAN};
    return 2;
}

void es_station_make_safe(struct es_station *station, const char *why, struct es_safe_report *report)
{
    (void)station, (void)why;
    safe(report);
}

enum es_status es_station_reset(struct es_station *station, const char *person, struct es_error *err)
{
    (void)station, (void)person;
    return es_fail(err, ES_INTERLOCK, "the emergency stop is still pressed");
}

static void site_stop(void *self, const char *reason)
{
    struct es_station *station = self;
    (void)reason;
    if (atomic_load(&station->running))
        atomic_store(&station->stop, true);
}

const struct es_site *es_station_site(struct es_station *station)
{
    static struct es_site site;
    site = (struct es_site){.self = station, .bench = &bench, .station = &described, .stop = site_stop};
    return &site;
}

/* ---- run.h ---- */

enum es_status es_run_check(const struct es_run_order *order, const struct es_site *site,
                            const struct es_run_places *places, struct es_findings *findings,
                            struct es_error *err)
{
    (void)site, (void)places;
    if (strcmp(order->serial, "tarry") == 0)
        nap(0.5);
    if (strcmp(order->serial, "refuse") == 0) {
        es_findings_add(findings, "p.json", 3, 4, "this", "that", "Do better.");
        es_findings_add(findings, "p.json", 5, 6, "a", "b", NULL);
        return es_findings_status(findings, err);
    }
    return ES_OK;
}

static bool give_up(const void *self)
{
    return atomic_load(&((struct es_station *)(uintptr_t)self)->stop);
}

static void tell(const struct es_run_watch *watch, int count)
{
    struct es_reading values[ES_ROLE_COUNT] = {0};
    values[ES_ROLE_SUPPLY_PRESSURE] = (struct es_reading){.value = 4e5, .quality = ES_GOOD};
    for (int i = 0; i < count; i++) {
        watch->event(watch->self,
                     &(struct es_event){.kind = ES_EVENT_STEP, .text = "a step", .remaining = count - i});
        watch->values(watch->self, values);
    }
}

static enum es_status ask(const struct es_run_watch *watch, struct es_station *station, struct es_error *err)
{
    struct es_question q = {
        .kind = ES_ASK_CONFIRM, .text = "Is it so?", .caution = "Mind it.", .timeout = 30};
    struct es_answer a = {0};
    enum es_status s = watch->ask(watch->self, &q, &a, give_up, station, err);
    return s == ES_OK && !a.yes ? es_fail(err, ES_CANCELLED, "not confirmed") : s;
}

static void fill(struct es_outcome *o, const struct es_run_order *order, const struct es_run_places *places,
                 const char *because)
{
    const char *const texts[] = {
        places->run,   "2026-03-01T10:00:00Z", "2026-03-01T10:00:01Z",        "p", "t", "Fake bench", "1",
        order->serial, order->person,          because != NULL ? because : ""};
    char **const targets[] = {&o->run,   &o->began,   &o->ended,       &o->plan,   &o->type,
                              &o->bench, &o->station, &o->unit_serial, &o->person, &o->ended_because};
    for (size_t i = 0; i < sizeof targets / sizeof targets[0]; i++)
        *targets[i] = strdup(texts[i]);
    if (because == NULL) {
        free(o->ended_because);
        o->ended_because = NULL;
    }
    o->completed = because == NULL;
    o->safe_state_time = because != NULL ? 0.25 : NAN;
    o->verdict = because == NULL ? ES_PASS : ES_NOT_TESTED;
    o->lines = calloc(1, sizeof *o->lines);
    o->line_count = 1;
    struct es_line *line = o->lines;
    line->procedure = strdup("p");
    line->measurand = strdup("m");
    line->limit = (struct es_limit){.name = strdup("l"),
                                    .lower = -INFINITY,
                                    .upper = 1e5,
                                    .unit = es_unit_find("bar", 3),
                                    .decimals = 2,
                                    .required = true};
    line->value = (struct es_measured){
        .dimension = ES_DIM_PRESSURE, .valid = true, .value = 5e4, .u = 100, .dof = 50, .k = 2, .U = 200};
    line->verdict = ES_PASS;
}

enum es_status es_run_execute(const struct es_run_order *order, const struct es_site *site,
                              const struct es_run_places *places, const struct es_run_watch *watch,
                              struct es_findings *findings, struct es_outcome *outcome,
                              struct es_safe_report *report, struct es_error *err)
{
    struct es_station *station = site->self;
    struct es_error local = {0};
    enum es_status s = ES_OK;
    (void)findings, (void)err;
    atomic_store(&station->stop, false);
    atomic_store(&station->running, true);
    tell(watch, strcmp(order->serial, "flood") == 0 ? 10000 : 20);
    if (strcmp(order->serial, "ask") == 0)
        s = ask(watch, station, &local);
    while (strcmp(order->serial, "hang") == 0 && !atomic_load(&station->stop))
        nap(0.002);
    if (atomic_load(&station->stop))
        s = es_fail(&local, ES_CANCELLED, "stopped");
    safe(report);
    atomic_store(&station->running, false);
    fill(outcome, order, places, s == ES_OK ? NULL : local.text);
    outcome->recordings_lost = strcmp(order->serial, "lost") == 0;
    return ES_OK;
}

enum es_status es_run_settle(const struct es_run_places *places, const char *run, struct es_error *err)
{
    (void)err;
    cr_expect_not_null(strstr(places->journals, run));
    atomic_fetch_add(&settled, 1);
    return ES_OK;
}

int fake_settled(void)
{
    return atomic_load(&settled);
}

enum es_status es_run_interrupted(const char *folder, struct es_interrupted **out, size_t *count,
                                  struct es_error *err)
{
    (void)folder, (void)err;
    *out = NULL;
    *count = 0;
    return ES_OK;
}

void es_run_interrupted_free(struct es_interrupted *items, size_t count)
{
    (void)items, (void)count;
}

enum es_status es_run_interrupted_outcome(const struct es_interrupted *item, const char *recordings,
                                          struct es_outcome *outcome, struct es_error *err)
{
    (void)item, (void)recordings, (void)outcome;
    return es_fail(err, ES_INTERNAL, "no journals here");
}

enum es_status es_run_interrupted_settle(const struct es_interrupted *item, struct es_error *err)
{
    (void)item;
    return es_fail(err, ES_INTERNAL, "no journals here");
}
