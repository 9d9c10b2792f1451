#include "tests/unit/engine/fake_bench.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/judge.h"

#define DEG  (3.14159265358979323846 / 180)
#define STEP 0.002 /* s, of the lags */

static double lag(double y, double target, double h, double tau)
{
    return y + (target - y) * (1 - exp(-h / tau));
}

/* A reproducible small wobble, so that traces are not exactly flat. */
static double wobble(double t, enum es_role role)
{
    return sin(t * 977.0 + (double)role) * cos(t * 613.0);
}

static double full_travel(const struct fake_bench *b)
{
    const struct es_type_quantity *full = es_type_quantity(b->type, "full travel");
    return full != NULL ? full->written.value : 0.03; /* a relay module moves nothing */
}

static void advance_once(struct fake_bench *b, double h)
{
    const double *o = b->out;
    double *i = b->in;
    const double full = full_travel(b);
    const double share = fmin(fmax((o[ES_ROLE_LOOP_DEMAND] - 4e-3) / 16e-3, 0), 1);
    const bool air = i[ES_ROLE_SUPPLY_PRESSURE] > 1e5;
    const double demand = (o[ES_ROLE_LOOP_DEMAND] - 0.004) / 0.016; /* at its ends it fills a shut output */
    const double from = i[ES_ROLE_TRAVEL] / full;

    i[ES_ROLE_SUPPLY_PRESSURE] =
        lag(i[ES_ROLE_SUPPLY_PRESSURE], o[ES_ROLE_SUPPLY_VALVE] > 0.5 ? o[ES_ROLE_SUPPLY_DEMAND] : 0, h, 0.2);
    if (!b->stuck && air && o[ES_ROLE_OUTPUT_1_ISOLATING] > 0.5)
        i[ES_ROLE_TRAVEL] = lag(i[ES_ROLE_TRAVEL], share * full, h, 0.3);
    i[ES_ROLE_SHAFT_ANGLE] = o[ES_ROLE_SHAFT_COUPLING] > 0.5 ? o[ES_ROLE_SHAFT_DRIVE]
                                                             : (b->type->motion == ES_PART_TURN ? 90 : 50) *
                                                                   DEG * (i[ES_ROLE_TRAVEL] / full - 0.5);
    i[ES_ROLE_SENSOR_RATIO] = 0.5 + 0.48 * fmin(fmax(i[ES_ROLE_SHAFT_ANGLE] / (58 * DEG), -1), 1);
    const double flow = b->leak * (i[ES_ROLE_SUPPLY_PRESSURE] + 1e5) / 5e5 * (air ? 1 : 0);
    const double error = air && o[ES_ROLE_LOOP_DEMAND] > 3.6e-3 ? share - from : 0;
    const double driven = fabs(error) > 0.005 ? fmin(fabs(error) * 0.01, 3e-4) : 0;
    i[ES_ROLE_OUTPUT_1_FLOW] = flow + (error > 0 ? driven : 0);
    i[ES_ROLE_OUTPUT_2_FLOW] = b->type->action == ES_DOUBLE_ACTING && error < 0 ? driven : 0;
    if (o[ES_ROLE_OUTPUT_1_VENT] <= 0.5 && o[ES_ROLE_OUTPUT_1_ISOLATING] <= 0.5 && air && demand > 0.9)
        i[ES_ROLE_OUTPUT_1_PRESSURE] = lag(i[ES_ROLE_OUTPUT_1_PRESSURE], i[ES_ROLE_SUPPLY_PRESSURE], h, 0.3);
    if (o[ES_ROLE_OUTPUT_1_VENT] > 0.5)
        i[ES_ROLE_OUTPUT_1_PRESSURE] = lag(i[ES_ROLE_OUTPUT_1_PRESSURE], 0, h, 0.2);
    else
        i[ES_ROLE_OUTPUT_1_PRESSURE] += flow / 250e-6 * 1e5 * h;
    if (o[ES_ROLE_OUTPUT_2_VENT] <= 0.5 && o[ES_ROLE_OUTPUT_2_ISOLATING] <= 0.5 && air && demand < 0.1 &&
        demand > -0.1)
        i[ES_ROLE_OUTPUT_2_PRESSURE] = lag(i[ES_ROLE_OUTPUT_2_PRESSURE], i[ES_ROLE_SUPPLY_PRESSURE], h, 0.3);
    if (o[ES_ROLE_OUTPUT_2_VENT] > 0.5)
        i[ES_ROLE_OUTPUT_2_PRESSURE] = lag(i[ES_ROLE_OUTPUT_2_PRESSURE], 0, h, 0.2);
    i[ES_ROLE_LOOP_CURRENT] = o[ES_ROLE_LOOP_DEMAND];
}

static double noise_of(enum es_role role)
{
    switch (role) {
    case ES_ROLE_TRAVEL:
        return 2e-6;
    case ES_ROLE_SHAFT_ANGLE:
        return 2e-5;
    case ES_ROLE_SENSOR_RATIO:
        return 2e-5;
    case ES_ROLE_OUTPUT_1_FLOW:
    case ES_ROLE_OUTPUT_2_FLOW:
        return 1.4e-8;
    default:
        return es_role_info(role)->dimension == ES_DIM_PRESSURE ? 10 : 0;
    }
}

static double reading(const struct fake_bench *b, enum es_role role)
{
    if (es_role_info(role)->direction == ES_OUT)
        return b->out[role];
    return b->in[role] + noise_of(role) * wobble(b->now, role);
}

static void sample(struct fake_bench *b)
{
    for (size_t k = 0; k < FAKE_RECORDS_MAX; k++) {
        struct fake_recording *r = &b->recordings[k];
        if (!r->used || b->now + 1e-9 < r->next)
            continue;
        r->next += r->interval;
        if (r->count == FAKE_SAMPLES_MAX)
            continue;
        r->t[r->count] = b->now - r->began;
        for (size_t i = 0; i < r->role_count; i++)
            r->y[r->count * r->role_count + i] = reading(b, r->roles[i]);
        r->count++;
    }
}

static void advance(struct fake_bench *b, double to)
{
    while (b->now < to) {
        const double h = fmin(STEP, to - b->now);
        advance_once(b, h);
        b->now = h < STEP ? to : b->now + h;
        sample(b);
    }
}

/* True when this call has to fail. */
static bool fails(struct fake_bench *b, enum es_status *s, struct es_error *err)
{
    b->calls++;
    if (b->failed)
        b->calls_after_failure++;
    if (b->calls != b->fail_call)
        return false;
    b->failed = true;
    *s = es_fail(err, b->fail_with, "call %zu was made to fail", b->calls);
    return true;
}

static es_time now(void *self)
{
    const struct fake_bench *b = self;
    return es_from_seconds(b->now);
}

static enum es_status sleep_until(void *self, es_time deadline, struct es_error *err)
{
    struct fake_bench *b = self;
    enum es_status s;

    if (fails(b, &s, err))
        return s;
    advance(b, es_seconds(deadline));
    return ES_OK;
}

static enum es_status read_role(void *self, enum es_role role, struct es_reading *out, struct es_error *err)
{
    struct fake_bench *b = self;
    enum es_status s;

    if (fails(b, &s, err))
        return s;
    *out = (struct es_reading){reading(b, role), b->quality[role], es_from_seconds(b->now), 1e-4};
    return ES_OK;
}

static enum es_status write_role(void *self, enum es_role role, double value, es_time *acted,
                                 struct es_error *err)
{
    struct fake_bench *b = self;
    enum es_status s;

    if (b->failed)
        b->writes_after_failure++;
    if (fails(b, &s, err))
        return s;
    cr_assert(b->fitted[role], "%s written on a bench that has it not", es_role_info(role)->name);
    advance(b, b->now + b->write_time);
    for (size_t k = 0; k < FAKE_RECORDS_MAX; k++) {
        struct fake_recording *r = &b->recordings[k];
        if (r->used && r->command_count < FAKE_COMMANDS_MAX)
            r->commands[r->command_count++] =
                (struct es_command){role, b->now - r->began, 1e-4, b->out[role], value};
    }
    b->out[role] = value;
    cr_assert(b->write_count < FAKE_WRITES_MAX);
    b->writes[b->write_count++] = (struct fake_write){role, value, b->now};
    *acted = es_from_seconds(b->now);
    return ES_OK;
}

static enum es_status record_start(void *self, const char *name, const enum es_role *roles, size_t count,
                                   double rate, int *handle, struct es_error *err)
{
    struct fake_bench *b = self;
    enum es_status s;

    if (fails(b, &s, err))
        return s;
    for (int k = 0; k < FAKE_RECORDS_MAX; k++) {
        struct fake_recording *r = &b->recordings[k];
        if (r->used)
            continue;
        *r =
            (struct fake_recording){.used = true, .role_count = count, .began = b->now, .interval = 1 / rate};
        (void)snprintf(r->name, sizeof r->name, "%s", name);
        memcpy(r->roles, roles, count * sizeof *roles);
        for (size_t i = 0; i < count; i++)
            cr_assert(b->fitted[roles[i]]);
        r->next = b->now;
        r->t = calloc(FAKE_SAMPLES_MAX, sizeof *r->t);
        r->y = calloc(FAKE_SAMPLES_MAX * count, sizeof *r->y);
        cr_assert(r->t != NULL && r->y != NULL);
        b->recordings_begun++;
        *handle = k;
        return ES_OK;
    }
    return es_fail(err, ES_INTERNAL, "too many recordings");
}

static void make_trouble(const struct fake_trouble *trouble, const char *recording, struct es_series *s)
{
    size_t kept = 0;

    if (trouble->recording == NULL || strcmp(trouble->recording, recording) != 0 || s->role != trouble->role)
        return;
    for (size_t k = 0; k < s->count; k++) {
        const bool hit = s->t[k] >= trouble->from && s->t[k] <= trouble->to;
        if (hit && trouble->silent)
            continue;
        s->t[kept] = s->t[k];
        s->y[kept] = hit ? trouble->value : s->y[k];
        s->quality[kept++] = hit ? (uint8_t)trouble->quality : s->quality[k];
    }
    s->count = kept;
}

/* A channel that is slower than the recording gives fewer samples. */
static void thin_out(struct es_series *s, double rate, double interval)
{
    const size_t every = rate > 0 && rate * interval < 1 ? (size_t)ceil(1 / (rate * interval) - 1e-9) : 1;
    size_t kept = 0;

    for (size_t k = 0; k < s->count; k += every, kept++) {
        s->t[kept] = s->t[k];
        s->y[kept] = s->y[k];
        s->quality[kept] = s->quality[k];
    }
    s->count = kept;
}

static struct es_trace *make_trace(const struct fake_bench *b, const struct fake_recording *r)
{
    struct es_trace *t = calloc(1, sizeof *t);

    t->name = strdup(r->name);
    t->duration = b->now - r->began;
    t->series = calloc(r->role_count, sizeof *t->series);
    t->series_count = r->role_count;
    for (size_t i = 0; i < r->role_count; i++) {
        struct es_series *s = &t->series[i];
        enum es_dimension d = es_role_info(r->roles[i])->dimension;
        (void)b->port.has_role(b->port.self, r->roles[i], &d);
        *s = (struct es_series){.role = r->roles[i], .dimension = d, .count = r->count};
        s->t = calloc(r->count + 1, sizeof *s->t);
        s->y = calloc(r->count + 1, sizeof *s->y);
        s->quality = calloc(r->count + 1, 1);
        s->u = b->view.roles[r->roles[i]].u;
        for (size_t k = 0; k < r->count; k++) {
            s->t[k] = r->t[k];
            s->y[k] = r->y[k * r->role_count + i];
        }
        thin_out(s, b->view.roles[r->roles[i]].rate, r->interval);
        make_trouble(&b->trouble, r->name, s);
    }
    t->commands = calloc(r->command_count + 1, sizeof *t->commands);
    memcpy(t->commands, r->commands, r->command_count * sizeof *t->commands);
    t->command_count = r->command_count;
    return t;
}

static const struct es_trace *record_look(void *self, int handle)
{
    struct fake_bench *b = self;

    es_trace_free(b->looked);
    b->looked = make_trace(b, &b->recordings[handle]);
    return b->looked;
}

static enum es_status record_stop(void *self, int handle, struct es_trace **out, struct es_error *err)
{
    struct fake_bench *b = self;
    struct fake_recording *r = &b->recordings[handle];
    enum es_status s;

    cr_assert(r->used, "a recording was stopped twice");
    const bool failing = fails(b, &s, err);
    if (!failing)
        *out = make_trace(b, r);
    free(r->t);
    free(r->y);
    r->used = false;
    b->recordings_ended++;
    return failing ? s : ES_OK;
}

static enum es_status ask(void *self, const struct es_question *q, struct es_answer *a, struct es_error *err)
{
    struct fake_bench *b = self;
    enum es_status s;

    if (fails(b, &s, err))
        return s;
    cr_assert(q->timeout > 0);
    if (b->asked_count < FAKE_ANSWERS_MAX) {
        (void)snprintf(b->asked[b->asked_count], sizeof b->asked[0], "%s", q->text);
        (void)snprintf(b->if_no[b->asked_count], sizeof b->if_no[0], "%s", q->if_no != NULL ? q->if_no : "");
        b->asked_number[b->asked_count] = q->number;
        b->asked_of[b->asked_count] = q->of;
    }
    b->asked_count++;
    advance(b, b->now + 1);
    *a = (struct es_answer){.yes = b->asked_count != b->refuse_confirm_number,
                            .choice = b->choice,
                            .number = b->number,
                            .person = "Test Person"};
    return ES_OK;
}

static void event(void *self, const struct es_event *e)
{
    struct fake_bench *b = self;

    cr_assert(e->elapsed >= b->last_elapsed - 1e-9);
    b->last_elapsed = e->elapsed;
    b->worst_sum = fmax(b->worst_sum, e->elapsed + e->remaining);
    b->least_remaining = fmin(b->least_remaining, e->remaining);
    if (b->event_count == 400)
        return;
    b->event_kinds[b->event_count] = e->kind;
    b->event_role_counts[b->event_count] = e->role_count;
    b->event_roles[b->event_count] = e->role_count > 0 ? e->roles[0] : ES_ROLE_NONE;
    (void)snprintf(b->events[b->event_count++], sizeof b->events[0], "%s: %s", e->name, e->text);
}

static enum es_status rest(void *self, struct es_error *err)
{
    struct fake_bench *b = self;
    enum es_status s;

    if (fails(b, &s, err))
        return s;
    for (size_t i = 0; i < ES_ROLE_COUNT; i++)
        if (b->view.roles[i].safe_known)
            b->out[i] = b->view.roles[i].safe;
    advance(b, b->now + 1);
    b->rests++;
    return ES_OK;
}

static bool has_role(void *self, enum es_role role, enum es_dimension *dimension)
{
    const struct fake_bench *b = self;

    if (dimension != NULL)
        *dimension = role == ES_ROLE_TRAVEL && b->type->motion == ES_PART_TURN
                         ? ES_DIM_ANGLE
                         : es_role_info(role)->dimension;
    return b->fitted[role];
}

static const struct es_fact facts[] = {
    {"output 1 volume", ES_DIM_VOLUME, 250e-6, 0.5e-6, INFINITY},
    {"output 2 volume", ES_DIM_VOLUME, 250e-6, 0.5e-6, INFINITY},
    {"ambient pressure", ES_DIM_PRESSURE, 101325, 30, INFINITY},
    {"ambient temperature", ES_DIM_TEMPERATURE, 293.15, 0.2, INFINITY},
};

static void make_view(struct fake_bench *b)
{
    struct es_station_role *r = b->view.roles;

    b->view =
        (struct es_station_view){.bench = "fake", .station = "1", .facts = {facts, 4}, .safe_within = 3};
    for (size_t i = 0; i < ES_ROLE_COUNT; i++) {
        const struct es_role_info *info = es_role_info((enum es_role)i);
        r[i] = (struct es_station_role){.present = true,
                                        .dimension = info->dimension,
                                        .lowest = -INFINITY,
                                        .highest = INFINITY,
                                        .slew = INFINITY};
        if (info->direction == ES_OUT) {
            r[i].safe_known = true;
            continue;
        }
        r[i].rate = 200;
        r[i].uncertainty_known = true;
        r[i].u = (struct es_channel_uncertainty){.offset = 5 * noise_of((enum es_role)i),
                                                 .gain = 1e-4,
                                                 .dof = INFINITY,
                                                 .resolution = noise_of((enum es_role)i),
                                                 .time = 1e-4};
    }
    r[ES_ROLE_TRAVEL].dimension = b->type->motion == ES_PART_TURN ? ES_DIM_ANGLE : ES_DIM_LENGTH;
    r[ES_ROLE_OUTPUT_1_ISOLATING].safe = r[ES_ROLE_OUTPUT_2_ISOLATING].safe = 1;
    r[ES_ROLE_OUTPUT_1_VENT].safe = r[ES_ROLE_OUTPUT_2_VENT].safe = 1;
    r[ES_ROLE_SUPPLY_DEMAND].lowest = 0;
    r[ES_ROLE_SUPPLY_DEMAND].highest = 7e5;
    r[ES_ROLE_LOOP_DEMAND].lowest = 0;
    r[ES_ROLE_LOOP_DEMAND].highest = 22e-3;
    r[ES_ROLE_SHAFT_DRIVE].lowest = -75 * DEG;
    r[ES_ROLE_SHAFT_DRIVE].highest = 75 * DEG;
    r[ES_ROLE_SHAFT_DRIVE].slew = 90 * DEG;
}

struct fake_bench *fake_bench_new(const struct es_type *type)
{
    struct fake_bench *b = calloc(1, sizeof *b);

    cr_assert_not_null(b);
    b->type = type;
    make_view(b);
    b->port = (struct es_port){.self = b,
                               .now = now,
                               .sleep_until = sleep_until,
                               .read = read_role,
                               .write = write_role,
                               .record_start = record_start,
                               .record_look = record_look,
                               .record_stop = record_stop,
                               .ask = ask,
                               .event = event,
                               .rest = rest,
                               .has_role = has_role};
    for (size_t i = 0; i < ES_ROLE_COUNT; i++) {
        b->fitted[i] = true;
        b->out[i] = b->view.roles[i].safe;
    }
    b->now = 100;
    b->write_time = 0.002;
    b->least_remaining = INFINITY;
    return b;
}

void fake_bench_free(struct fake_bench *b)
{
    if (b == NULL)
        return;
    for (size_t k = 0; k < FAKE_RECORDS_MAX; k++)
        if (b->recordings[k].used) {
            free(b->recordings[k].t);
            free(b->recordings[k].y);
        }
    es_trace_free(b->looked);
    free(b);
}

struct es_execute_options fake_options(const struct fake_bench *b)
{
    return (struct es_execute_options){.person = "Test Person", .view = &b->view, .facts = b->view.facts};
}

static struct es_type *load_from(const char *folder, const char *name)
{
    struct es_findings f = {0};
    struct es_error err;
    struct es_type *type = NULL;
    char path[512];

    (void)snprintf(path, sizeof path, "%s/%s/%s.json", ES_SOURCE_DIR, folder, name);
    const enum es_status s = es_type_load(path, &f, &type, &err);
    if (s != ES_OK)
        es_findings_print(&f, stderr);
    es_findings_free(&f);
    cr_assert_eq(s, ES_OK);
    return type;
}

struct es_type *load_type(const char *name)
{
    return load_from("tests/unit/engine/types", name);
}

struct es_type *load_shipped_type(const char *name)
{
    return load_from("procedures/types", name);
}

int __lsan_do_recoverable_leak_check(void) __attribute__((weak));

void expect_no_leaks(void)
{
    if (__lsan_do_recoverable_leak_check != NULL)
        cr_expect_eq(__lsan_do_recoverable_leak_check(), 0, "memory was lost");
}
