/* The current loop and the unit's electronics: sampled position control with a tolerance band. */
#include <math.h>

#include "drivers/virtual/model.h"
#include "drivers/virtual/random.h"

#define DEAD_PERIOD (2300 * ES_MS)

/* Source with a highest voltage; the unit takes a nearly constant voltage once it is alive. */
void es_loop_step(struct es_virtual *v, double h)
{
    const struct es_electronics_parameters *e = &v->p.electronics;
    const double told = es_gauge_effect(v, ES_ROLE_LOOP_DEMAND, v->written[ES_ROLE_LOOP_DEMAND]);
    const double wanted = told <= 0 ? 0 : told * (1 + v->p.bench.loop_gain) + v->p.bench.loop_offset;
    const double room = (v->p.bench.compliance - e->burden_voltage) / e->burden_resistance;
    const double target = fmin(wanted, room);
    v->loop += (target - v->loop) * (h >= 0.01 ? 1 : -expm1(-h / 0.002));
    if (fabs(target - v->loop) < 1e-8) {
        v->loop = target;
    }
    const double below = fmin(1, v->loop / e->minimum_current);
    v->loop_voltage = e->burden_voltage * below + e->burden_resistance * v->loop;
    if (es_interrupted(v->t, DEAD_PERIOD, e->dead_share)) { /* only the protecting diode is left */
        v->loop_voltage = v->loop > 0 ? 0.7 + 10 * v->loop : 0;
    }
}

static void power(struct es_virtual *v)
{
    const struct es_electronics_parameters *e = &v->p.electronics;
    struct es_electronics *s = &v->electronics;
    const double need = e->minimum_current - (s->alive ? 0.02e-3 : 0);
    const bool alive = v->loop >= need && !es_interrupted(v->t, DEAD_PERIOD, e->dead_share);
    if (alive && !s->alive) {
        *s = (struct es_electronics){.alive = true, .alive_since = v->t};
        s->demand = NAN;
    }
    if (!alive) {
        *s = (struct es_electronics){0};
    }
}

double es_electronics_angle(const struct es_virtual *v)
{
    const double noise =
        v->p.sensor.noise * es_random_normal(v->seed, ES_STREAM_CONVERTER, (uint64_t)(v->t / ES_MS));
    return (v->ratio + noise - 0.5) * (58 * ES_RAD_PER_DEG / 0.48);
}

/* Sensor angle to share of travel, by the two ends found at adjustment; a lever's tangent is taken out. */
static double measured_position(const struct es_virtual *v)
{
    const struct es_electronics_parameters *e = &v->p.electronics;
    const struct es_adjustment *own = &v->adjustment;
    double angle = es_electronics_angle(v);
    double low = own->known ? own->low : e->adjusted_low;
    double high = own->known ? own->high : e->adjusted_high;
    if (v->p.linkage.lever) {
        const double middle = v->p.linkage.offset;
        angle = tan(angle - middle);
        low = tan(low - middle);
        high = tan(high - middle);
    }
    return fabs(high - low) < 1e-6 ? 0 : (angle - low) / (high - low);
}

/* Leaves the relay at rest within the tolerance, and acts again only outside it. */
static double control(struct es_virtual *v, double demand)
{
    const struct es_electronics_parameters *e = &v->p.electronics;
    struct es_electronics *s = &v->electronics;
    const double off = demand - s->position;
    if (demand < e->cut_low || demand > e->cut_high) {
        s->resting = false;
        return demand < e->cut_low ? -1 : 1;
    }
    if (fabs(off) > e->tolerance) {
        s->resting = false;
    } else if (fabs(off) < e->tolerance / 2) {
        s->resting = true;
    }
    if (s->resting) {
        return 0;
    }
    const double drive = e->gain * off - e->rate_gain * s->rate;
    return copysign(fmin(1, fabs(drive) + e->jump), drive);
}

/* In the place of a positioner: the loop's current drives the coil of a relay module both ways. */
static void adaptor_block(struct es_virtual *v)
{
    const struct es_electronics_parameters *e = &v->p.electronics;
    const double drive = 2 * (v->loop - e->low) / (e->high - e->low) - 1;
    v->electronics.drive = v->electronics.alive ? fmax(-1, fmin(1, drive)) : 0;
}

/* Demand and position of this tick. */
static void see(struct es_virtual *v)
{
    const struct es_electronics_parameters *e = &v->p.electronics;
    struct es_electronics *s = &v->electronics;
    const double tick = es_seconds(ES_ELECTRONICS_TICK);
    const double demand = (v->loop - e->low) / (e->high - e->low);
    const bool first = isnan(s->demand);
    s->demand = first ? demand : s->demand + (demand - s->demand) * 0.5;
    const double position = measured_position(v);
    const double rate = first ? 0 : (position - s->position) / tick;
    s->rate += (rate - s->rate) * 0.4;
    s->position = position;
}

static void act(struct es_virtual *v)
{
    const struct es_electronics_parameters *e = &v->p.electronics;
    struct es_electronics *s = &v->electronics;
    double demand = s->demand;
    if (s->shut_down) {
        s->drive = -1;
        es_adjustment_stop(v);
    } else if (es_seconds(v->t - s->alive_since) < e->start_time || v->ratio < v->p.sensor.dead_low / 2) {
        s->drive = 0; /* starting, or no sensor */
        es_adjustment_stop(v);
    } else if (!es_adjustment_tick(v, &s->drive, &demand)) {
        s->drive = control(v, demand);
    }
}

void es_electronics_tick(struct es_virtual *v)
{
    const struct es_electronics_parameters *e = &v->p.electronics;
    struct es_electronics *s = &v->electronics;
    power(v);
    if (e->adaptor) {
        adaptor_block(v);
        return;
    }
    const bool module_off = e->shutdown_module && v->written[ES_ROLE_AUXILIARY_SUPPLY] == 0;
    s->shut_down = e->shutdown_open || module_off;
    if (!s->alive) {
        s->drive = s->shut_down ? -1 : 0;
        es_adjustment_stop(v);
        return;
    }
    see(v);
    act(v);
}
