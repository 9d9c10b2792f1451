/* Everything that can be known before anything moves. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "rig/bench/run_parts.h"
#include "rig/bench/station_view.h"

/* A fact by measurement replaces the one that the file states. */
static void measured_fact(struct es_run *r, enum es_role role, const char *name)
{
    const struct es_bench_channel *c = es_station_channel(r->site->station, role);
    const struct es_reading *reading = &r->before[role];
    if (!c || reading->quality != ES_GOOD) {
        return;
    }
    struct es_channel_uncertainty u = es_channel_uncertainty(c);
    struct es_fact fact = {name, c->unit->dimension, reading->value,
                           hypot(hypot(u.offset, u.gain * reading->value), u.resolution / sqrt(12)), u.dof};
    for (size_t i = 0; i < r->fact_count; i++) {
        if (!strcmp(r->facts[i].name, name)) {
            r->facts[i] = fact;
            return;
        }
    }
    if (r->fact_count < ES_RUN_FACTS) {
        r->facts[r->fact_count++] = fact;
    }
}

static void fill_view(struct es_run *r)
{
    const struct es_bench_station *station = r->site->station;
    static const enum es_role surroundings[] = {ES_ROLE_AMBIENT_PRESSURE, ES_ROLE_AMBIENT_TEMPERATURE,
                                                ES_ROLE_AMBIENT_HUMIDITY, ES_ROLE_SUPPLY_DEW_POINT};
    es_station_view_fill(r->site->bench, station, &r->view);
    for (size_t i = 0; i < 4; i++) {
        struct es_error err;
        r->before[surroundings[i]].quality = ES_FAILED;
        if (es_station_channel(station, surroundings[i]) &&
            r->site->port.read(r->site->port.self, surroundings[i], &r->before[surroundings[i]], &err) !=
                ES_OK) {
            r->before[surroundings[i]].quality = ES_FAILED;
        }
    }
    r->fact_count = station->fact_count < ES_RUN_FACTS ? station->fact_count : ES_RUN_FACTS;
    if (r->fact_count) {
        memcpy(r->facts, station->facts, r->fact_count * sizeof *r->facts);
    }
    measured_fact(r, ES_ROLE_AMBIENT_PRESSURE, "ambient pressure");
    measured_fact(r, ES_ROLE_AMBIENT_TEMPERATURE, "ambient temperature");
    r->view.facts = (struct es_facts){r->facts, r->fact_count};
}

static void find_needed(struct es_run *r)
{
    for (size_t i = 0; i < r->plan->entry_count; i++) {
        const struct es_procedure *p = r->plan->entries[i].procedure;
        for (size_t k = 0; k < p->need_count; k++) {
            const struct es_need *need = &p->needs[k];
            if (es_when_applies(need->when, r->type) && es_station_channel(r->site->station, need->role)) {
                r->needed[need->role] = true;
            }
        }
    }
}

void es_run_overdue(const struct es_run *r,
                    void (*found)(void *self, const struct es_bench_channel *c, const char *why), void *self)
{
    char now[32], why[200];
    es_run_time_of_day(r, now);
    for (size_t i = 0; i < r->site->station->channel_count; i++) {
        const struct es_bench_channel *c = &r->site->station->channels[i];
        if (!r->needed[c->role] || c->writable || c->state) {
            continue;
        }
        if (!c->calibration.number) {
            snprintf(why, sizeof why, "\"%s\" has no calibration", es_role_info(c->role)->name);
        } else if (es_calibration_days_left(&c->calibration, now) < 0) {
            snprintf(why, sizeof why, "the calibration %s of \"%s\" was due on %s", c->calibration.number,
                     es_role_info(c->role)->name, c->calibration.due);
        } else {
            continue;
        }
        found(self, c, why);
    }
}

struct overdue_finder {
    struct es_findings *findings;
    const char *bench;
};

static void refuse_overdue(void *self, const struct es_bench_channel *c, const char *why)
{
    struct overdue_finder *f = self;
    (void)c;
    es_findings_add(f->findings, f->bench, 0, 0, why, "a valid calibration",
                    "Have it calibrated, or let a named person give the reason why it may be used; the "
                    "certificate carries both.");
}

static bool is_blank(const char *text)
{
    return !text || text[strspn(text, " \t")] == 0;
}

static enum es_status check_order(const struct es_run_order *o, struct es_error *err)
{
    if (is_blank(o->person)) {
        return es_fail(err, ES_USAGE, "a run needs the name of the person who runs it");
    }
    if (is_blank(o->serial)) {
        return es_fail(err, ES_USAGE, "a run needs the unit's serial number");
    }
    if (o->state && strcmp(o->state, "as found") != 0 && strcmp(o->state, "as left") != 0) {
        return es_fail(err, ES_USAGE, "the unit's state is \"as found\" or \"as left\", not \"%s\"",
                       o->state);
    }
    if (o->overdue_reason && is_blank(o->overdue_reason)) {
        return es_fail(err, ES_USAGE, "the reason for using an overdue calibration is empty");
    }
    return ES_OK;
}

/* "2026-02-03T10:11:12.345Z" -> ns since 1970; -1 when it is none. */
static es_time wall_time(const char *text)
{
    struct tm tm = {0};
    char *rest = strptime(text, "%Y-%m-%dT%H:%M:%S", &tm);
    if (!rest) {
        return -1;
    }
    double fraction = *rest == '.' ? strtod(rest, NULL) : 0;
    return (es_time)timegm(&tm) * ES_NS_PER_S + es_from_seconds(fraction);
}

void es_run_time_of_day(const struct es_run *r, char out[static 32])
{
    if (r->wall_0 < 0) {
        es_clock_wall_text(out);
        return;
    }
    es_time at = r->wall_0 + r->site->port.now(r->site->port.self) - r->began;
    time_t seconds = (time_t)(at / ES_NS_PER_S);
    struct tm tm;
    gmtime_r(&seconds, &tm);
    size_t used = strftime(out, 32, "%Y-%m-%dT%H:%M:%S", &tm);
    snprintf(out + used, 32 - used, ".%03dZ", (int)(at % ES_NS_PER_S / 1000000));
}

enum es_status es_run_prepare(struct es_run *r, struct es_findings *findings, struct es_error *err)
{
    const struct es_run_order *o = r->order;
    struct es_check_report report = {0};
    size_t before = findings->count;
    r->wall_0 = r->places && r->places->now ? wall_time(r->places->now) : -1;
    r->began = r->site->port.now(r->site->port.self);
    enum es_status status = check_order(o, err);
    if (status != ES_OK) {
        return status;
    }
    /* Faults of plan and type sheet are told in one go. */
    enum es_status type_status = es_type_load(o->type_path, findings, &r->type, err);
    status = es_plan_load_any(o->plan_path, findings, &r->plan, type_status == ES_OK ? err : NULL);
    if (type_status != ES_OK || status != ES_OK) {
        es_run_unprepare(r);
        return type_status != ES_OK ? type_status : status;
    }
    fill_view(r);
    find_needed(r);
    status = (o->unattended ? es_plan_check_unattended : es_plan_check)(r->plan, &r->view, r->type, findings,
                                                                        &report, err);
    es_check_report_free(&report);
    if (!o->overdue_reason) {
        es_run_overdue(r, refuse_overdue, &(struct overdue_finder){findings, r->site->bench->name});
    }
    if (status == ES_OK && findings->count > before) {
        status = es_findings_status(findings, err);
    }
    if (status != ES_OK) {
        es_run_unprepare(r);
    }
    return status;
}

void es_run_unprepare(struct es_run *r)
{
    es_plan_free(r->plan);
    es_type_free(r->type);
    r->plan = NULL;
    r->type = NULL;
}

enum es_status es_run_check(const struct es_run_order *order, const struct es_site *site,
                            const struct es_run_places *places, struct es_findings *findings,
                            struct es_error *err)
{
    struct es_run *r = calloc(1, sizeof *r);
    if (!r) {
        return es_fail(err, ES_NO_MEMORY, "no memory for a run");
    }
    r->order = order;
    r->site = site;
    r->places = places;
    enum es_status status = es_run_prepare(r, findings, err);
    if (status == ES_OK) {
        es_run_unprepare(r);
    }
    free(r);
    return status;
}
