#include "drivers/virtual/parameters.h"

#include <math.h>

#include "drivers/virtual/air.h"
#include "drivers/virtual/kind.h"
#include "drivers/virtual/random.h"

double es_virtual_leak(double nl_h)
{
    return nl_h * 1.087440005e-3 / 3600 / 601325.0;
}

static const struct es_parameters common = {
    .relay = {.C_supply = 0.40 * ES_AIR_DM3_S_BAR,
              .C_exhaust = 0.45 * ES_AIR_DM3_S_BAR,
              .b = 0.3,
              .lag = 0.012,
              .overlap = 0.04,
              .stick = 0.008,
              .gain = 1,
              .reach_up = 1},
    .sensor = {.slope = 0.48 / (58 * ES_RAD_PER_DEG),
               .dead_low = 0.02,
               .dead_high = 0.98,
               .slack = 0.04 * ES_RAD_PER_DEG,
               .noise = 5e-5,
               .worn_width = 0.5 * ES_RAD_PER_DEG,
               .shaft_stop = 62 * ES_RAD_PER_DEG},
    .electronics = {.minimum_current = 3.55e-3,
                    .burden_voltage = 8.0,
                    .burden_resistance = 60,
                    .low = 4e-3,
                    .high = 20e-3,
                    .tolerance = 0.0045,
                    .jump = 0.05,
                    .cut_low = 0.005,
                    .cut_high = 0.995,
                    .start_time = 0.4},
    .supply = {.source = 7.5 * ES_BAR,
               .C_filter = 6 * ES_AIR_DM3_S_BAR,
               .C_regulator = 3 * ES_AIR_DM3_S_BAR,
               .C_valve = 4 * ES_AIR_DM3_S_BAR,
               .C_relief = 1 * ES_AIR_DM3_S_BAR,
               .band = 0.3 * ES_BAR,
               .lag = 0.15,
               .hA_supply = 0.8,
               .hA_node = 0.8},
    .bench = {.C_isolating = 3 * ES_AIR_DM3_S_BAR,
              .C_vent = 2 * ES_AIR_DM3_S_BAR,
              .valve_lag = 0.008,
              .compliance = 26},
};

struct draw {
    uint64_t seed;
    uint64_t count;
    double spread;
};

/* Normal, cut at 2.5 standard deviations: units beyond are rejected by their maker. */
static double part(struct draw *d)
{
    const double n = es_random_normal(d->seed, 1, d->count++);
    return d->spread * fmax(-2.5, fmin(2.5, n));
}

static double vary(struct draw *d, double nominal, double relative)
{
    return nominal * (1 + relative * part(d));
}

static void spread_relay(struct es_relay_parameters *r, struct draw *d)
{
    r->C_supply = vary(d, r->C_supply, 0.04);
    r->C_exhaust = vary(d, r->C_exhaust, 0.04);
    r->lag = vary(d, r->lag, 0.1);
    r->overlap = vary(d, r->overlap, 0.08);
    r->stick = vary(d, r->stick, 0.2);
    r->gain = vary(d, r->gain, 0.02);
    for (int i = 0; i < 2; i++) {
        r->leak_seat[i] = es_virtual_leak(0.25 * exp(0.45 * part(d)));
        r->leak_exhaust[i] = es_virtual_leak(0.25 * exp(0.45 * part(d)));
    }
    r->leak_between = es_virtual_leak(0.1 * exp(0.45 * part(d)));
    r->bleed = es_virtual_leak(60 * exp(0.1 * part(d)));
}

static void spread_actuator(struct es_actuator_parameters *a, struct draw *d)
{
    a->length = vary(d, a->length, 0.003);
    a->preload = vary(d, a->preload, 0.03);
    a->spring_rate = vary(d, a->spring_rate, 0.02);
    const double friction = vary(d, 1, 0.15);
    a->coulomb *= friction;
    a->adhesion *= friction;
    a->viscous = vary(d, a->viscous, 0.1);
}

static void spread_sensor(struct es_sensor_parameters *s, struct draw *d)
{
    s->slope = vary(d, s->slope, 0.004);
    s->zero = 0.5 * ES_RAD_PER_DEG * part(d);
    s->bow = 0.0012 * part(d);
    s->slack = vary(d, s->slack, 0.3);
    /* Where it would wear: around the place at which the valve mostly stands. */
    s->worn_angle = 15 * ES_RAD_PER_DEG * part(d);
}

static void spread_electronics(struct es_electronics_parameters *e, struct draw *d)
{
    e->minimum_current += 0.02e-3 * part(d);
    e->burden_voltage += 0.1 * part(d);
    e->burden_resistance = vary(d, e->burden_resistance, 0.03);
    e->feedback_offset = 4e-6 * part(d);
    e->feedback_gain = 5e-4 * part(d);
    /* Its own input: adjusted by its maker to 0.05 %. */
    e->low += 2e-6 * part(d);
    e->high += 4e-6 * part(d);
}

void es_parameters_draw(const struct es_virtual_config *config, struct es_parameters *out)
{
    struct draw d = {.seed = config->seed, .spread = config->spread};
    *out = common;
    es_virtual_kind_apply(config->type, out);
    out->supply.source = config->source_pressure;
    out->electronics.shutdown_module = config->shutdown_module;
    out->electronics.feedback = config->feedback && !out->electronics.adaptor;
    spread_relay(&out->relay, &d);
    spread_actuator(&out->actuator, &d);
    if (out->linkage.lever) {
        out->linkage.lever_length = vary(&d, out->linkage.lever_length, 0.008);
    }
    out->linkage.offset = 0.5 * ES_RAD_PER_DEG * part(&d);
    spread_sensor(&out->sensor, &d);
    spread_electronics(&out->electronics, &d);
    es_virtual_kind_settle(out);
    /* The bench is as it is, whatever the units' spread. */
    for (int i = 0; i < 2; i++) {
        out->volume[i] = config->output_volume[i] +
                         config->u_output_volume[i] * es_random_normal(config->seed, 2, (uint64_t)i);
    }
}

double es_linkage_angle(const struct es_linkage_parameters *l, double length, double position)
{
    const double from_middle = position - length / 2;
    return l->offset + (l->lever ? atan(from_middle / l->lever_length) : from_middle);
}
