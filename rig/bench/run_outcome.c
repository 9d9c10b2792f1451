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
    w->good &= es_run_copy(&k->text, text) & es_run_copy(&k->answer, w->run->order->overdue_reason) &
               es_run_copy(&k->person, w->run->order->person) & es_run_copy(&k->when, now);
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
    bool good =
        es_run_copy(&o->run, r->run) & es_run_copy(&o->began, now) & es_run_copy(&o->plan, r->plan->name) &
        es_run_copy(&o->plan_version, r->plan->version) & es_run_copy(&o->plan_digest, r->plan->digest) &
        es_run_copy(&o->plan_title, r->plan->title) & es_run_copy(&o->type, r->type->name) &
        es_run_copy(&o->type_version, r->type->version) & es_run_copy(&o->type_digest, r->type->digest) &
        es_run_copy(&o->type_title, r->type->title) & es_run_copy(&o->bench, r->site->bench->name) &
        es_run_copy(&o->bench_digest, r->site->bench->digest) &
        es_run_copy(&o->station, r->site->station->name) & es_run_copy(&o->place, r->site->bench->place) &
        es_run_copy(&o->unit_serial, order->serial) & es_run_copy(&o->unit_tag, order->tag) &
        es_run_copy(&o->customer, order->customer) & es_run_copy(&o->reason, order->reason) &
        es_run_copy(&o->state, order->state ? order->state : "as found") &
        es_run_copy(&o->parts_replaced, order->parts_replaced) & es_run_copy(&o->person, order->person);
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
        good &= es_run_copy(&record->name, name) &
                es_run_copy(&record->identity, *identity ? identity : NULL) &
                es_run_copy(&record->calibration, c->calibration.number) &
                es_run_copy(&record->calibrated, c->calibration.date) &
                es_run_copy(&record->due, c->calibration.due);
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
