/* Held pressure: an output filled into a closed known volume and left alone. What flows back through the flow
 * sensor escapes through the unit; what the volume loses beyond that escapes from the bench itself.
 *
 *   leak back   -(flow less tare), from `settle` after the unit was left alone until the pressure has fallen
 * to 0.6 of what it was then, so that a gross leak is seen while there is something to leak bench leak q_flow
 * - V T0 / (T p0) dp/dt over what is recorded from `late` on, ANR as in measure_relay_leak.c Filling warms
 * the gas; while it cools again the pressure falls without a leak. `late` waits for that, and what the rate
 * still changes over the late part is uncertainty. Own method; common practice, no published source: a shut
 * output holds its pressure. Assumed: relay and vent valve are shut, the volume is as stated. */
#include <math.h>
#include <stddef.h>
#include <stdio.h>

#include "procedures/measures/measures.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/samples.h"

#define T_ANR 293.15 /* K */
#define P_ANR 1e5    /* Pa */
#define NL_H  (1.087440005 / 3.6e6)
#define LEFT  0.6 /* of the pressure held: below, the leak is no longer what it was */
#define LEAST 8   /* samples */

enum { LEAK_BACK, BENCH_LEAK, PRESSURE, OUTPUTS };
enum { SLOT_HELD, SLOT_TARE };

struct settings {
    int flow_channel, pressure_channel, demand;
    char *volume;
    double settle, late, least, most_bench;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("flow channel", struct settings, flow_channel, false, "output 1 flow", "the flow sensor"),
    ES_ROLE_SETTING("pressure channel", struct settings, pressure_channel, false, "output 1 pressure",
                    "the pressure in the closed volume"),
    ES_ROLE_SETTING("demand", struct settings, demand, false, "loop demand",
                    "its last command leaves the unit alone"),
    ES_TEXT_SETTING("volume", struct settings, volume, "output 1 volume", "fact: the closed volume"),
    ES_QUANTITY_SETTING("settle", struct settings, settle, ES_DIM_TIME, 0, 60, "1 s",
                        "from the command until the relay is shut and the flow sensor has followed"),
    ES_QUANTITY_SETTING("late", struct settings, late, ES_DIM_TIME, 0, 3600, "18 s",
                        "from the command until the gas has cooled: six times its time constant (common "
                        "practice, no published source)"),
    ES_QUANTITY_SETTING("least pressure", struct settings, least, ES_DIM_PRESSURE, 1e3, 1e7, "1 bar",
                        "held pressure below which nothing is said"),
    ES_QUANTITY_SETTING("most bench leak", struct settings, most_bench, ES_DIM_FLOW, 0, 1, "4 Nl/h",
                        "the bench's own leak above which it has to be tightened first"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [LEAK_BACK] = {"leak back", ES_DIM_FLOW, "what flows from the filled volume back into the unit"},
    [BENCH_LEAK] = {"bench leak", ES_DIM_FLOW, "what the volume loses beyond that: the bench's own fittings"},
    [PRESSURE] = {"pressure", ES_DIM_PRESSURE, "held, at the beginning"},
};

static const char *const trace_names[] = {"recording", "tare", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    const struct settings *s = settings;
    out[0] = (enum es_role)s->flow_channel;
    out[1] = (enum es_role)s->pressure_channel;
    return 2;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    const struct settings *s = settings;
    const struct es_channel_uncertainty *f = u[s->flow_channel], *p = u[s->pressure_channel];
    (void)facts;
    if (output == PRESSURE)
        return p ? p->offset : NAN;
    return f ? hypot(es_resolution_u(f->resolution, 0), f->repeatability) * sqrt(2.0) : NAN;
}

struct job {
    const struct settings *s;
    const struct es_series *flow, *pressure;
    double start; /* s: left alone */
    double tare;  /* m3/s ANR */
    bool tared;   /* else the flow sensor's offset counts */
    struct es_budget tare_budget;
    double held, factor; /* Pa at `start` + settle; m3/Pa: of the amount at ANR per pressure, NAN unknown */
    double u_factor;     /* relative */
};

static double left_alone(const struct settings *s, const struct es_trace *trace, const struct es_series *p)
{
    double at = p->count ? p->t[0] : 0;
    for (size_t i = 0; i < trace->command_count; i++)
        if ((int)trace->commands[i].role == s->demand)
            at = trace->commands[i].t;
    return at;
}

static void know_volume(struct job *j, const struct es_facts *facts)
{
    const struct es_fact *v = es_fact_find(facts, j->s->volume),
                         *T = es_fact_find(facts, "ambient temperature");
    bool known = v && T && T->value > 200;
    j->factor = known ? v->value * T_ANR / (T->value * P_ANR) : NAN;
    j->u_factor = known ? hypot(v->u / v->value, T->u / T->value) : 0;
}

/* Level of the samples in [from, to]; false with a reason. */
static enum es_status level(const struct es_series *series, double from, double to, struct es_plateau *p,
                            bool *good, char reason[static 160], struct es_error *err)
{
    struct es_samples samples;
    enum es_status status = es_samples_take(series, from, to, &samples, err);
    if (status != ES_OK)
        return status;
    const char *why = es_samples_unfit(&samples, LEAST, reason);
    *good = !why && es_plateau_of(samples.t, samples.y, samples.n, p);
    es_samples_free(&samples);
    return ES_OK;
}

/* Until when enough of the pressure is left; sets what was held at first. */
static double held_until(struct job *j)
{
    double from = j->start + j->s->settle, until = from;
    j->held = NAN;
    for (size_t i = 0; i < j->pressure->count; i++) {
        if (j->pressure->t[i] < from || j->pressure->quality[i] != ES_GOOD)
            continue;
        if (!isfinite(j->held))
            j->held = j->pressure->y[i];
        if (j->pressure->y[i] < LEFT * j->held)
            break;
        until = j->pressure->t[i];
    }
    return until;
}

static enum es_status leak_back(const struct job *j, double until, struct es_measured *m,
                                struct es_error *err)
{
    struct es_plateau p;
    struct es_budget b = j->tare_budget;
    char why[160];
    bool good;
    const struct es_channel_uncertainty *u = &j->flow->u;
    enum es_status status = level(j->flow, j->start + j->s->settle, until, &p, &good, why, err);
    if (status != ES_OK)
        return status;
    if (!good) {
        es_measured_refuse(m, "%s", why);
        return ES_OK;
    }
    double value = j->tare - p.mean;
    es_plateau_noise(&b, &p, u, 1);
    es_channel_terms(&b, u, j->tared ? 0 : 1, value, 1);
    es_measured_set(m, value, &b);
    m->role = j->flow->role;
    return ES_OK;
}

/* Where has the pressure gone that is no longer there? */
static enum es_status gone(const struct job *j, double left, struct es_measured *m, struct es_error *err)
{
    struct es_plateau p;
    char why[160];
    bool good;
    double end = j->pressure->t[j->pressure->count - 1], from = j->start + j->s->settle;
    enum es_status status = level(j->flow, from, end, &p, &good, why, err);
    if (status != ES_OK)
        return status;
    double through_unit = good ? (j->tare - p.mean) * (end - from) : 0, lost = j->factor * (j->held - left);
    if (good && through_unit < 0.5 * lost)
        es_measured_refuse(m,
                           "the volume lost its pressure, but not through the unit: the bench's fittings or "
                           "vent valve leak; tighten them first");
    else
        es_measured_refuse(m, "no pressure is left that would show a leak of the bench");
    return ES_OK;
}

static enum es_status bench_leak(const struct job *j, struct es_measured *m, struct es_error *err)
{
    struct es_plateau f, p, half[2];
    char why[160];
    bool good[4] = {false, false, false, false};
    double end = j->pressure->count ? j->pressure->t[j->pressure->count - 1] : 0;
    double from = j->start + j->s->late, middle = 0.5 * (from + end);
    enum es_status status = level(j->flow, from, end, &f, &good[0], why, err);
    if (status == ES_OK)
        status = level(j->pressure, from, middle, &half[0], &good[1], why, err);
    if (status == ES_OK)
        status = level(j->pressure, middle, end, &half[1], &good[2], why, err);
    if (status == ES_OK)
        status = level(j->pressure, from, end, &p, &good[3], why, err);
    if (status != ES_OK)
        return status;
    if (!good[0] || !good[1] || !good[2] || !good[3]) {
        es_measured_refuse(m, "too short after the gas has cooled: %s", why);
        return ES_OK;
    }
    if (!isfinite(j->factor)) {
        es_measured_refuse(m, "the volume or the temperature of the surroundings is not known");
        return ES_OK;
    }
    if (p.mean < 0.5 * j->s->least)
        return gone(j, p.mean, m, err);
    struct es_budget b = j->tare_budget;
    double rise = j->factor * p.drift, value = f.mean - j->tare - rise;
    es_plateau_noise(&b, &f, &j->flow->u, 1);
    es_channel_terms(&b, &j->flow->u, j->tared ? 0 : 1, f.mean - j->tare, 1);
    es_budget_add(&b, ES_TERM_REPEAT, j->factor * p.u_drift, p.dof);
    es_budget_add(&b, ES_TERM_REPEAT, es_rectangular(j->factor * (half[1].drift - half[0].drift)), INFINITY);
    es_budget_add(&b, ES_TERM_COMMON, j->u_factor * rise, INFINITY);
    es_measured_set(m, value, &b);
    m->role = j->pressure->role;
    if (value - m->U > j->s->most_bench)
        es_measured_refuse(
            m,
            "the bench itself leaks %.1f Nl/h behind the flow sensor (fitting, vent or isolating "
            "valve): tighten it first",
            value / NL_H);
    return ES_OK;
}

static enum es_status take_tare(struct job *j, const struct es_trace *tare, char reason[static 160],
                                struct es_error *err)
{
    const struct es_series *series = tare ? es_trace_series(tare, j->flow->role) : NULL;
    struct es_plateau p;
    if (!series)
        return ES_OK;
    enum es_status status = level(series, -INFINITY, INFINITY, &p, &j->tared, reason, err);
    if (status != ES_OK || !j->tared)
        return status;
    j->tare = p.mean;
    es_plateau_noise(&j->tare_budget, &p, &series->u, 1);
    es_budget_add(&j->tare_budget, ES_TERM_REPEAT, series->u.repeatability, INFINITY);
    return ES_OK;
}

static void refuse_all(struct es_measured *out, const char *why)
{
    for (int o = 0; o < OUTPUTS; o++)
        es_measured_refuse(&out[o], "%s", why);
}

/* The pressure held is one reading: its noise is that of the readings after it, taken from neighbours since
 * the pressure falls. */
static enum es_status held_pressure(const struct job *j, double until, struct es_measured *m,
                                    struct es_error *err)
{
    struct es_plateau p = {0};
    struct es_budget b = {0};
    char why[160];
    bool good;
    enum es_status status = level(j->pressure, j->start + j->s->settle, until, &p, &good, why, err);
    if (status != ES_OK)
        return status;
    if (good)
        es_budget_add(&b, ES_TERM_REPEAT, p.neighbours, p.dof);
    es_budget_add(&b, ES_TERM_REPEAT, es_resolution_u(j->pressure->u.resolution, good ? p.neighbours : 0),
                  INFINITY);
    es_channel_terms(&b, &j->pressure->u, 1, j->held, 1);
    es_measured_set(m, j->held, &b);
    m->role = j->pressure->role;
    return ES_OK;
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    const struct settings *s = settings;
    struct job j = {.s = s};
    char why[160] = "";
    for (int o = 0; o < OUTPUTS; o++)
        es_measured_start(&out[o], outputs[o].name, outputs[o].dimension);
    j.flow = es_trace_series(traces[SLOT_HELD], (enum es_role)s->flow_channel);
    j.pressure = es_trace_series(traces[SLOT_HELD], (enum es_role)s->pressure_channel);
    if (!j.flow || !j.pressure) {
        refuse_all(out, j.flow ? "the recording has no series of the pressure"
                               : "the recording has no series of the flow");
        return ES_OK;
    }
    j.start = left_alone(s, traces[SLOT_HELD], j.pressure);
    know_volume(&j, facts);
    enum es_status status = take_tare(&j, traces[SLOT_TARE], why, err);
    if (status != ES_OK)
        return status;
    double until = held_until(&j);
    if (!(j.held >= s->least)) {
        snprintf(why, sizeof why, "the output was not filled: only %.2f bar were held",
                 isfinite(j.held) ? j.held / 1e5 : 0);
        refuse_all(out, why);
        return ES_OK;
    }
    status = held_pressure(&j, until, &out[PRESSURE], err);
    if (status == ES_OK)
        status = leak_back(&j, until, &out[LEAK_BACK], err);
    return status == ES_OK ? bench_leak(&j, &out[BENCH_LEAK], err) : status;
}

const struct es_measure es_measure_held_pressure = {
    .name = "held pressure",
    .meaning = "what escapes from a filled and shut output, through the unit and from the bench",
    .source = "common practice, no published source; ANR: ISO 8778",
    .trace_names = trace_names,
    .facts_needed = es_no_facts,
    .facts_used = (const char *const[]){"ambient temperature", NULL},
    .fact_settings = (const char *const[]){"volume", NULL},
    .settings = rows,
    .setting_count = sizeof rows / sizeof rows[0],
    .setting_size = sizeof(struct settings),
    .outputs = outputs,
    .output_count = OUTPUTS,
    .roles = roles,
    .rate_needed = es_rate_any,
    .expected_u = expected_u,
    .evaluate = evaluate,
};
