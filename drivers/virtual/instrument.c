/* Instruments: what stands between what is so and what is read. Lag and refresh are followed while time
 * passes; noise, errors and resolution come on when a reading is taken. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/virtual/model.h"
#include "drivers/virtual/random.h"

#define LAG_KNOWN_TO 0.2 /* half-width of a rectangle; measures count the same */

/* What electrical noise is taken as a share of: the role's usual span, coherent. 0: not analogue. */
static const double usual_span[ES_ROLE_COUNT] = {
    [ES_ROLE_LOOP_CURRENT] = 16e-3,     [ES_ROLE_LOOP_VOLTAGE] = 10,
    [ES_ROLE_FEEDBACK_CURRENT] = 16e-3, [ES_ROLE_SENSOR_RATIO] = 1,
    [ES_ROLE_SUPPLY_PRESSURE] = 10e5,   [ES_ROLE_OUTPUT_1_PRESSURE] = 10e5,
    [ES_ROLE_OUTPUT_2_PRESSURE] = 10e5, [ES_ROLE_OUTPUT_1_FLOW] = 0.3e-3,
    [ES_ROLE_OUTPUT_2_FLOW] = 0.3e-3,   [ES_ROLE_TRAVEL] = 0.05,
    [ES_ROLE_SUPPLY_FLOW] = 0.3e-3,
};

static double input(const struct es_virtual *v, enum es_role role)
{
    double x = v->truth[role];
    switch (role) {
    case ES_ROLE_SHAFT_ANGLE:
        return v->shaft.encoder;
    case ES_ROLE_OUTPUT_1_FLOW:
    case ES_ROLE_OUTPUT_2_FLOW:
        return x * (1 + v->p.bench.flow_gain) + v->p.bench.flow_offset;
    default:
        return x;
    }
}

static enum es_status copy_table(struct es_gauge *g, struct es_error *err)
{
    const size_t size = g->about.point_count * sizeof(double);
    if (size == 0) {
        return ES_OK;
    }
    g->readings = malloc(size);
    g->corrections = malloc(size);
    if (!g->readings || !g->corrections) {
        return es_fail(err, ES_NO_MEMORY, "no memory for an instrument's correction table");
    }
    memcpy(g->readings, g->about.readings, size);
    memcpy(g->corrections, g->about.corrections, size);
    return ES_OK;
}

enum es_status es_gauge_init(struct es_virtual *v, enum es_role role,
                             const struct es_virtual_instrument *about, struct es_error *err)
{
    struct es_gauge *g = &v->gauges[role];
    const uint64_t stream = ES_STREAM_INSTRUMENT + (uint64_t)role;
    g->about = *about;
    g->offset = about->u_offset * es_random_normal(v->seed, stream, 0);
    g->gain = about->u_gain * es_random_normal(v->seed, stream, 1);
    /* A response time is stated from a data sheet: it is known to a fifth (common practice, no published
     * source). */
    g->about.lag *= 1 + LAG_KNOWN_TO * (2 * es_random_uniform(v->seed, stream, 3) - 1);
    g->refresh = es_from_seconds(about->refresh);
    if (g->refresh > 0) { /* instruments do not start together */
        g->next = (es_time)(es_random_uniform(v->seed, stream, 2) * (double)g->refresh);
    }
    g->direct = about->lag <= 0 && g->refresh <= 0;
    for (int i = 0; i < 3; i++) {
        g->follow[i] = about->lag > 0 ? -expm1(-es_seconds(es_paces[i]) / g->about.lag) : 1;
    }
    return copy_table(g, err);
}

void es_gauge_free(struct es_gauge *g)
{
    free(g->readings);
    free(g->corrections);
}

static void gauge_step(struct es_virtual *v, enum es_role role, struct es_gauge *g, double h)
{
    const double x = input(v, role), was = g->before;
    g->before = x;
    if (g->about.lag <= 0) {
        g->seen = x;
    } else {
        /* exact for an input that moves steadily within the step; held at its end value, it would be followed
         * half a step too early */
        const double follow = v->pace >= 0 ? g->follow[v->pace] : -expm1(-h / g->about.lag);
        g->seen = x + (g->seen - was) * (1 - follow) - (x - was) * g->about.lag / h * follow;
    }
    if (v->t < g->next) {
        return;
    }
    g->held = g->seen;
    g->taken = v->t;
    if (g->refresh > 0) {
        g->next += ((v->t - g->next) / g->refresh + 1) * g->refresh;
    }
}

void es_gauges_step(struct es_virtual *v, double h)
{
    for (int i = 0; i < v->lagging_count; i++) {
        gauge_step(v, v->lagging[i], &v->gauges[v->lagging[i]], h);
    }
}

/* The correction that belongs to a reading: linear between the points, the end's beyond. */
static double correction(const struct es_gauge *g, double reading)
{
    const size_t n = g->about.point_count;
    if (n == 0) {
        return 0;
    }
    size_t i = 0;
    while (i < n && g->readings[i] < reading) {
        i++;
    }
    if (i == 0) {
        return g->corrections[0];
    }
    if (i == n) {
        return g->corrections[n - 1];
    }
    const double share = (reading - g->readings[i - 1]) / (g->readings[i] - g->readings[i - 1]);
    return g->corrections[i - 1] + share * (g->corrections[i] - g->corrections[i - 1]);
}

/* The reading r for which r + correction(r) is x. */
static double uncorrected(const struct es_gauge *g, double x)
{
    double r = x;
    if (g->about.point_count > 0) {
        for (int i = 0; i < 4; i++) {
            r = x - correction(g, r);
        }
    }
    return r;
}

/* Its steps first: a reading never lies beyond the range, not even by rounding. */
static double bounded(const struct es_virtual_instrument *a, double x)
{
    const double y = a->resolution > 0 ? a->resolution * nearbyint(x / a->resolution) : x;
    return a->low < a->high ? fmax(a->low, fmin(a->high, y)) : y;
}

double es_gauge_reading(const struct es_virtual *v, enum es_role role, es_time *taken)
{
    const struct es_gauge *g = &v->gauges[role];
    const struct es_virtual_instrument *a = &g->about;
    const uint64_t stream = ES_STREAM_INSTRUMENT + (uint64_t)role;
    const bool analogue = !es_role_info(role)->is_state;
    *taken = g->direct ? v->t : g->taken;
    const double x = g->direct ? input(v, role) : g->held;
    if (!analogue) {
        return x;
    }
    /* what refreshes by itself repeats its noise with its value; all others have it anew at each look */
    const uint64_t tick = (uint64_t)((g->refresh > 0 ? *taken : v->now) / ES_MS);
    const double disturbance = v->p.bench.noise * usual_span[role];
    const double noise = sqrt(a->noise * a->noise + disturbance * disturbance);
    double y = x * (1 + g->gain) + g->offset;
    if (noise > 0) {
        y += noise * es_random_normal(v->seed, stream + ES_STREAM_END, tick);
    }
    if (a->repeatability > 0) {
        y += a->repeatability * es_random_normal(v->seed, stream + 2 * ES_STREAM_END, v->act);
    }
    return bounded(a, uncorrected(g, y));
}

double es_gauge_effect(const struct es_virtual *v, enum es_role role, double written)
{
    const struct es_gauge *g = &v->gauges[role];
    const double reading = bounded(&g->about, written);
    return (reading + correction(g, reading)) * (1 + g->gain) + g->offset;
}
