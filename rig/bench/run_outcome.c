/* What the outcome says of order, bench, instruments and surroundings. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/bench/run_parts.h"

bool es_run_copy(char **target, const char *text)
{
    if (!text) {
        return true;
    }
    free(*target);
    *target = strdup(text);
    return *target != NULL;
}

static enum es_status no_memory(struct es_error *err)
{
    return es_fail(err, ES_NO_MEMORY, "no memory for the outcome");
}

bool es_run_copy_all(const struct es_run_text *texts, size_t count)
{
    bool good = true;
    for (size_t i = 0; i < count; i++) {
        good = es_run_copy(texts[i].target, texts[i].text) && good;
    }
    return good;
}

struct overdue_writer {
    struct es_run *run;
    bool good;
};

/* The override of an overdue calibration goes onto the certificate, with the name of who answers for it. */
static void write_overdue(void *self, const struct es_bench_channel *c, const char *why)
{
    struct overdue_writer *w = self;
    struct es_confirmation *k = es_outcome_add_confirmation(w->run->outcome);
    char now[32], text[300];
    (void)c;
    if (!k) {
        w->good = false;
        return;
    }
    es_run_time_of_day(w->run, now);
    snprintf(text, sizeof text, "Certified in spite of this: %s.", why);
    const struct es_run_text texts[] = {{&k->text, text},
                                        {&k->answer, w->run->order->overdue_reason},
                                        {&k->person, w->run->order->person},
                                        {&k->when, now}};
    w->good = ES_RUN_COPY_ALL(texts) && w->good;
}

enum es_status es_run_describe(struct es_run *r, struct es_error *err)
{
    struct es_outcome *o = r->outcome;
    const struct es_run_order *order = r->order;
    char now[32];
    es_run_time_of_day(r, now);
    o->clock_synchronised = r->wall_0 < 0 && es_clock_is_synchronised();
    o->seed = order->seed;
    o->attended = !order->unattended;
    const struct es_run_text texts[] = {{&o->run, r->run},
                                        {&o->began, now},
                                        {&o->plan, r->plan->name},
                                        {&o->plan_version, r->plan->version},
                                        {&o->plan_digest, r->plan->digest},
                                        {&o->plan_title, r->plan->title},
                                        {&o->type, r->type->name},
                                        {&o->type_version, r->type->version},
                                        {&o->type_digest, r->type->digest},
                                        {&o->type_title, r->type->title},
                                        {&o->bench, r->site->bench->name},
                                        {&o->bench_digest, r->site->bench->digest},
                                        {&o->station, r->site->station->name},
                                        {&o->place, r->site->bench->place},
                                        {&o->unit_serial, order->serial},
                                        {&o->unit_tag, order->tag},
                                        {&o->customer, order->customer},
                                        {&o->reason, order->reason},
                                        {&o->state, order->state ? order->state : "as found"},
                                        {&o->parts_replaced, order->parts_replaced},
                                        {&o->person, order->person}};
    bool good = ES_RUN_COPY_ALL(texts);
    if (good && order->overdue_reason) {
        struct overdue_writer w = {r, true};
        es_run_overdue(r, write_overdue, &w);
        good = w.good;
    }
    return good ? ES_OK : no_memory(err);
}

static bool describe_instruments(struct es_run *r)
{
    bool good = true;
    for (size_t i = 0; i < r->site->station->channel_count; i++) {
        const struct es_bench_channel *c = &r->site->station->channels[i];
        if (!r->needed[c->role] || c->state || (c->writable && !c->calibration.number)) {
            continue;
        }
        struct es_instrument_record *record = es_outcome_add_instrument(r->outcome);
        char name[160], identity[160] = "";
        if (!record) {
            return false;
        }
        snprintf(name, sizeof name, "%s: %s", es_role_info(c->role)->name,
                 r->site->bench->instruments[c->instrument].name);
        r->site->identity(r->site->self, c->instrument, identity, sizeof identity);
        const struct es_run_text texts[] = {{&record->name, name},
                                            {&record->identity, *identity ? identity : NULL},
                                            {&record->calibration, c->calibration.number},
                                            {&record->calibrated, c->calibration.date},
                                            {&record->due, c->calibration.due}};
        good = ES_RUN_COPY_ALL(texts) && good;
    }
    return good;
}

/* Mean of the values at the begin and at the end; what lies between them counts as spread (rectangular). */
static bool surrounding(struct es_run *r, enum es_role role, struct es_measured *m)
{
    const struct es_bench_channel *c = es_station_channel(r->site->station, role);
    struct es_reading after = {.quality = ES_FAILED};
    const struct es_reading *before = &r->before[role];
    if (!c || before->quality != ES_GOOD) {
        return false;
    }
    struct es_error err;
    if (r->site->port.read(r->site->port.self, role, &after, &err) != ES_OK || after.quality != ES_GOOD) {
        after = *before;
    }
    struct es_channel_uncertainty u = es_channel_uncertainty(c);
    *m = (struct es_measured){.dimension = c->unit->dimension, .valid = true, .role = role};
    snprintf(m->name, sizeof m->name, "%s", es_role_info(role)->name);
    m->value = (before->value + after.value) / 2;
    m->u_repeat = hypot(fabs(after.value - before->value) / 2 / sqrt(3), u.resolution / sqrt(12));
    m->dof_repeat = INFINITY;
    m->u_common = hypot(u.offset, u.gain * m->value);
    m->dof_common = u.dof;
    es_measured_combine(m);
    return true;
}

enum es_status es_run_describe_end(struct es_run *r, struct es_error *err)
{
    static const enum es_role roles[] = {ES_ROLE_AMBIENT_TEMPERATURE, ES_ROLE_AMBIENT_PRESSURE,
                                         ES_ROLE_AMBIENT_HUMIDITY, ES_ROLE_SUPPLY_DEW_POINT};
    struct es_outcome *o = r->outcome;
    char now[32];
    for (size_t i = 0; i < sizeof roles / sizeof roles[0]; i++) {
        o->environment_count += surrounding(r, roles[i], &o->environment[o->environment_count]);
    }
    es_run_time_of_day(r, now);
    return describe_instruments(r) && es_run_copy(&o->ended, now) ? ES_OK : no_memory(err);
}
