#include "drivers/virtual/common_supply.h"

#include <math.h>
#include <stdlib.h>

#include "drivers/virtual/model.h"

#define SLICE (10 * ES_MS)

struct es_virtual_supply {
    struct es_virtual_supply_config about;
    es_time now;
    double mass, mass_in, mass_out;
    struct member {
        struct es_virtual *v;
        es_time ahead; /* the station's time less the supply's */
        double drawn;  /* of the station's mass_in: what is booked already */
    } members[ES_VIRTUAL_SUPPLY_STATIONS];
    size_t count;
};

void es_virtual_supply_config_init(struct es_virtual_supply_config *config)
{
    *config = (struct es_virtual_supply_config){.mains = 7.5 * ES_BAR,
                                                .conductance = 2 * ES_AIR_DM3_S_BAR,
                                                .volume = 5e-3,
                                                .ambient_pressure = 101325,
                                                .ambient_temperature = 293.15};
}

static enum es_status check(const struct es_virtual_supply_config *c, struct es_error *err)
{
    const double positive[] = {c->mains, c->conductance, c->volume, c->ambient_pressure,
                               c->ambient_temperature};
    for (size_t i = 0; i < sizeof positive / sizeof positive[0]; i++) {
        if (!isfinite(positive[i]) || positive[i] <= 0) {
            return es_fail(err, ES_RANGE,
                           "the common supply needs a mains pressure, a conductance and a volume above zero");
        }
    }
    return ES_OK;
}

/* Pa absolute, of one kilogram in the header. */
static double pressure_of_mass(const struct es_virtual_supply *s)
{
    return ES_AIR_R * s->about.ambient_temperature / s->about.volume;
}

static double gauge(const struct es_virtual_supply *s)
{
    return s->mass * pressure_of_mass(s) - s->about.ambient_pressure;
}

enum es_status es_virtual_supply_new(const struct es_virtual_supply_config *config,
                                     struct es_virtual_supply **out, struct es_error *err)
{
    const enum es_status status = check(config, err);
    if (status != ES_OK) {
        return status;
    }
    struct es_virtual_supply *s = calloc(1, sizeof *s);
    if (!s) {
        return es_fail(err, ES_NO_MEMORY, "no memory for a common supply");
    }
    s->about = *config;
    s->mass = (config->mains + config->ambient_pressure) / pressure_of_mass(s);
    *out = s;
    return ES_OK;
}

void es_virtual_supply_free(struct es_virtual_supply *s)
{
    while (s && s->count > 0) {
        es_virtual_supply_leave(s->members[s->count - 1].v);
    }
    free(s);
}

/* A header cannot be emptier than the surroundings; a station's figure of pressure stays above zero. */
static void tell(const struct es_virtual_supply *s, struct es_virtual *v)
{
    es_virtual_source(v, fmax(1, gauge(s)));
}

enum es_status es_virtual_supply_join(struct es_virtual_supply *s, struct es_virtual *v, struct es_error *err)
{
    if (v->common) {
        return es_fail(err, ES_USAGE, "this station is on a common supply already");
    }
    if (s->count == ES_VIRTUAL_SUPPLY_STATIONS) {
        return es_fail(err, ES_RANGE, "at most %d stations on a common supply", ES_VIRTUAL_SUPPLY_STATIONS);
    }
    s->members[s->count++] = (struct member){v, v->now - s->now, v->air.mass_in};
    v->common = s;
    tell(s, v);
    return ES_OK;
}

void es_virtual_supply_leave(struct es_virtual *v)
{
    struct es_virtual_supply *s = v->common;
    for (size_t i = 0; s && i < s->count; i++) {
        if (s->members[i].v == v) {
            s->members[i] = s->members[--s->count];
        }
    }
    v->common = NULL;
}

enum es_status es_virtual_supply_set(struct es_virtual_supply *s, double mains, double conductance,
                                     struct es_error *err)
{
    struct es_virtual_supply_config wanted = s->about;
    wanted.mains = mains;
    wanted.conductance = conductance;
    const enum es_status status = check(&wanted, err);
    if (status == ES_OK) {
        s->about = wanted;
    }
    return status;
}

static double take_drawn(struct member *m)
{
    const double more = m->v->air.mass_in - m->drawn;
    m->drawn = m->v->air.mass_in;
    return more;
}

/* Linearly implicit in the header's pressure, as air.c is: no ringing however small the header. */
static void refill(struct es_virtual_supply *s, double drawn)
{
    const double T = s->about.ambient_temperature, h = es_seconds(SLICE), K = pressure_of_mass(s);
    const double p = s->mass * K, mains = s->about.mains + s->about.ambient_pressure;
    double dq_dmains, dq_dp;
    const double q = es_air_flow(s->about.conductance, 0.3, mains, T, p, T, &dq_dmains, &dq_dp);
    const double in = h * (q - dq_dp * K * drawn) / (1 - h * K * dq_dp);
    s->mass += in - drawn;
    s->mass_in += in;
    s->mass_out += drawn;
}

static void advance_members(struct es_virtual_supply *s, es_time to)
{
    for (size_t i = 0; i < s->count; i++) {
        struct es_virtual *v = s->members[i].v;
        v->now = to + s->members[i].ahead;
        es_virtual_run(v, v->now);
    }
}

static void update_header(struct es_virtual_supply *s)
{
    double drawn = 0;
    for (size_t i = 0; i < s->count; i++) {
        drawn += take_drawn(&s->members[i]);
    }
    refill(s, drawn);
    for (size_t i = 0; i < s->count; i++) {
        tell(s, s->members[i].v);
    }
}

void es_virtual_supply_advance(struct es_virtual_supply *s, const struct es_virtual *member, es_time when)
{
    es_time ahead = 0;
    for (size_t i = 0; i < s->count; i++) {
        ahead = s->members[i].v == member ? s->members[i].ahead : ahead;
    }
    const es_time target = when - ahead;
    while (s->now < target) {
        const es_time slice = (s->now / SLICE + 1) * SLICE;
        s->now = slice < target ? slice : target;
        advance_members(s, s->now);
        if (s->now == slice) {
            update_header(s);
        }
    }
}

void es_virtual_supply_look(const struct es_virtual_supply *s, struct es_virtual_supply_inner *out)
{
    *out = (struct es_virtual_supply_inner){.pressure = gauge(s),
                                            .mains = s->about.mains,
                                            .conductance = s->about.conductance,
                                            .mass = s->mass,
                                            .mass_in = s->mass_in,
                                            .mass_out = s->mass_out};
}
