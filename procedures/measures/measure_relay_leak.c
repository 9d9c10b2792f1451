/* Relay leak: what escapes from an output, measured in two ways that must agree.
 *
 * By the flow sensor: mean flow with the output open to atmosphere, the tare taken off. By pressure rise: the
 * output shut into a known volume V, amount of gas n = p V / (R T), so that at ANR (ISO 8778: T0 = 293.15 K,
 * p0 = 100 kPa)   q = V T0 / (T p0) (dp/dt - p/T dT/dt),
 * as in 40 CFR 1065.644; dp/dt at the pressure with which the recording began (pressure_rate.h), the tare's
 * rate taken off. Dry air as an ideal gas (compressibility below 1e-3 under 10 bar, from memory).
 * Agreement: E_n = |q1 - q2| / sqrt(U1^2 + U2^2), ISO 13528 and ISO/IEC 17043 as commonly stated, from
 * memory; where both uncertainties are right chance alone gives more than 1 in 5 of 100 cases and more
 * than 1.65 in 1 of 800 (normal distribution: 2 and 3.3 standard deviations). Combined with weights 1/u^2;
 * when E_n > 1 the combined value's uncertainty reaches over both, so that a finding stands only where it
 * does not depend on which of the two is right. One method beyond its reach (flow sensor out of range; rise
 * too quick for a rate) leaves the other to speak; one that failed otherwise leaves a value without its
 * check: refused. Assumed: the gas in the volume has the surroundings' temperature but for the drift that is
 * allowed for. */
#include <math.h>
#include <stddef.h>
#include <stdio.h>

#include "procedures/measures/measures.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/pressure_rate.h"
#include "procedures/measures/propagate.h"
#include "procedures/measures/samples.h"

#define T_ANR 293.15 /* K */
#define P_ANR 1e5    /* Pa */

enum { FLOW, BY_SENSOR, BY_RISE, AGREEMENT, RATE, OUTPUTS };
enum { SLOT_FLOW, SLOT_RISE, SLOT_FLOW_TARE, SLOT_RISE_TARE };
enum { TARE_REQUIRED, TARE_NONE };

#define QUICK  0.2 /* of the driving pressure: a rise by more is no rounding of a volume without leak */
#define SURELY 5.0 /* standard uncertainties: a flow that is there */

/* Of the leak, out of a method's reach. */
struct reach {
    bool beyond, quick; /* the flow sensor's range; a rise that was over too soon for a rate */
};

struct settings {
    int flow_channel, pressure_channel, temperature_channel, supply_channel, tare;
    char *volume;
    double settle, thermal_time, drift, repeatability, driving;
};

static const char *const tares[] = {"required", "none", NULL};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("flow channel", struct settings, flow_channel, false, "output 1 flow", "the flow sensor"),
    ES_ROLE_SETTING("pressure channel", struct settings, pressure_channel, false, "output 1 pressure",
                    "the pressure in the closed volume"),
    ES_ROLE_SETTING("temperature channel", struct settings, temperature_channel, false, "ambient temperature",
                    "used where it was recorded with the rise"),
    ES_ROLE_SETTING("supply channel", struct settings, supply_channel, false, "supply pressure",
                    "what drives the leak, where it was recorded with the rise: for what escapes again"),
    ES_TEXT_SETTING("volume", struct settings, volume, "output 1 volume", "fact: the closed volume"),
    ES_QUANTITY_SETTING("settle", struct settings, settle, ES_DIM_TIME, 0, 3600, "5 s",
                        "left out at the start of each recording"),
    ES_QUANTITY_SETTING("thermal time", struct settings, thermal_time, ES_DIM_TIME, 0, 600, "3 s",
                        "longest plausible time constant of the gas's temperature in the volume (common "
                        "practice, no published source)"),
    ES_QUANTITY_SETTING("temperature drift", struct settings, drift, ES_DIM_TEMPERATURE_DIFFERENCE, 0, 50,
                        "0.02 K", "standard uncertainty of the change of gas temperature over the recording"),
    ES_QUANTITY_SETTING("repeatability", struct settings, repeatability, ES_DIM_FLOW, 0, 1, "0 Nl/h",
                        "standard deviation of the whole act, from the bench's own repeats"),
    ES_QUANTITY_SETTING("driving pressure", struct settings, driving, ES_DIM_PRESSURE, 1e3, 1e7, "0.5 bar",
                        "rise over which a leak may lose all its rate: smaller allows more bend"),
    ES_CHOICE_SETTING("tare", struct settings, tare, tares, "required",
                      "whether the bench's own leak is needed"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [FLOW] = {"flow", ES_DIM_FLOW, "both methods combined, weighted by uncertainty, when they agree"},
    [BY_SENSOR] = {"flow by flow sensor", ES_DIM_FLOW, "mean flow less tare"},
    [BY_RISE] = {"flow by pressure rise", ES_DIM_FLOW, "rise in the known volume less tare"},
    [AGREEMENT] = {"agreement", ES_DIM_NUMBER, "|En|: difference of the two over its expanded uncertainty"},
    [RATE] = {"pressure rate", ES_DIM_PRESSURE_RATE, "rate of change at the beginning, less tare"},
};

static const char *const trace_names[] = {"flow", "rise", "flow tare", "rise tare", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    const struct settings *s = settings;
    out[0] = (enum es_role)s->flow_channel;
    out[1] = (enum es_role)s->pressure_channel;
    return 2;
}

#define EXPECTED_LENGTH 30.0 /* s: a recording's usual length, for what is expected beforehand */

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    const struct settings *s = settings;
    const struct es_channel_uncertainty *f = u[s->flow_channel], *p = u[s->pressure_channel];
    const struct es_fact *volume = es_fact_find(facts, s->volume);
    double by_sensor = NAN, by_rise = NAN, rate = NAN;
    if (f)
        by_sensor = hypot(hypot(es_resolution_u(f->resolution, 0), f->repeatability) * sqrt(2.0),
                          hypot(s->tare == TARE_NONE ? f->offset : 0, s->repeatability));
    if (p) {
        double drift = 101325.0 / T_ANR * s->drift / EXPECTED_LENGTH;
        rate = hypot(es_rectangular(p->resolution / EXPECTED_LENGTH), drift);
    }
    if (p && volume)
        by_rise = hypot(volume->value / P_ANR * rate, s->repeatability);
    switch (output) {
    case BY_SENSOR:
        return by_sensor;
    case BY_RISE:
        return by_rise;
    case RATE:
        return rate;
    case FLOW:
        if (isfinite(by_sensor) && isfinite(by_rise) && by_sensor > 0 && by_rise > 0)
            return 1 / sqrt(1 / (by_sensor * by_sensor) + 1 / (by_rise * by_rise));
        return isfinite(by_sensor) ? by_sensor : by_rise;
    default:
        return NAN;
    }
}

/* ---- By the flow sensor ---- */

static enum es_status mean_flow(const struct settings *s, const struct es_trace *trace, struct es_plateau *p,
                                struct es_measured *m, bool *beyond, bool *good, struct es_error *err)
{
    const struct es_series *series = es_trace_series(trace, (enum es_role)s->flow_channel);
    *good = false;
    if (!series) {
        es_measured_refuse(m, "recording \"%s\" has no series of the flow", trace->name ? trace->name : "");
        return ES_OK;
    }
    struct es_samples samples;
    char text[160];
    double from = series->count ? series->t[0] + s->settle : 0;
    enum es_status status = es_samples_take(series, from, INFINITY, &samples, err);
    if (status != ES_OK)
        return status;
    const char *why = es_samples_unfit(&samples, 5, text);
    size_t outside = 0;
    for (size_t i = 0; i < series->count; i++)
        outside += series->quality[i] == ES_OUT_OF_RANGE ||
                   (series->quality[i] == ES_GOOD && es_at_end(series, series->y[i]));
    *beyond = outside > series->count / 2 || samples.at_end > 0;
    if (*beyond && samples.at_end == 0)
        es_measured_refuse(m, "the flow is beyond the flow sensor's range");
    else if (why)
        es_measured_refuse(m, "%s", why);
    else
        *good = es_plateau_of(samples.t, samples.y, samples.n, p);
    if (*good) {
        m->first = es_samples_index(&samples, 0);
        m->last = es_samples_index(&samples, samples.n - 1);
        m->role = series->role;
    }
    es_samples_free(&samples);
    return ES_OK;
}

static enum es_status by_sensor(const struct settings *s, const struct es_trace *const *traces,
                                struct es_measured *m, bool *beyond, struct es_error *err)
{
    struct es_plateau p, tare = {0};
    bool good = false, tare_beyond;
    *beyond = false;
    if (!traces[SLOT_FLOW]) {
        es_measured_refuse(m, "no recording of the flow");
        return ES_OK;
    }
    if (!traces[SLOT_FLOW_TARE] && s->tare == TARE_REQUIRED) {
        es_measured_refuse(m, "no tare recording: the bench's own leak is not known");
        return ES_OK;
    }
    if (traces[SLOT_FLOW_TARE]) {
        enum es_status status = mean_flow(s, traces[SLOT_FLOW_TARE], &tare, m, &tare_beyond, &good, err);
        if (status != ES_OK || !good)
            return status;
    }
    enum es_status status = mean_flow(s, traces[SLOT_FLOW], &p, m, beyond, &good, err);
    if (status != ES_OK || !good)
        return status;
    const struct es_channel_uncertainty *u = &es_trace_series(traces[SLOT_FLOW], m->role)->u;
    struct es_budget b = {0};
    double value = p.mean - tare.mean;
    es_plateau_noise(&b, &p, u, 1);
    if (traces[SLOT_FLOW_TARE]) { /* reading and tare are two acts */
        es_plateau_noise(&b, &tare, u, 1);
        es_budget_add(&b, ES_TERM_REPEAT, u->repeatability, INFINITY);
    }
    es_channel_terms(&b, u, traces[SLOT_FLOW_TARE] ? 0 : 1, value, 1);
    es_budget_add(&b, ES_TERM_REPEAT, s->repeatability, INFINITY);
    struct es_measured keep = *m;
    es_measured_set(m, value, &b);
    m->first = keep.first;
    m->last = keep.last;
    return ES_OK;
}

/* ---- By pressure rise ---- */

static double ambient_of(const struct es_facts *facts)
{
    const struct es_fact *ambient = es_fact_find(facts, "ambient pressure");
    return ambient && isfinite(ambient->value) ? ambient->value : 101325.0;
}

/* Temperature of the gas, K, and its drift, K/s, with standard uncertainties. */
struct gas {
    double T, u_T, drift, u_drift, pressure;
};

static bool gas_of(const struct settings *s, const struct es_trace *trace, const struct es_facts *facts,
                   double length, struct gas *g, enum es_status *status, struct es_error *err)
{
    const struct es_series *series = es_trace_series(trace, (enum es_role)s->temperature_channel);
    const struct es_fact *fact = es_fact_find(facts, "ambient temperature");
    *g = (struct gas){.T = NAN, .u_drift = s->drift / length, .pressure = ambient_of(facts)};
    if (series) {
        struct es_samples samples;
        struct es_plateau p;
        *status = es_samples_take(series, -INFINITY, INFINITY, &samples, err);
        if (*status != ES_OK)
            return false;
        if (es_plateau_of(samples.t, samples.y, samples.n, &p)) {
            g->T = p.mean;
            g->u_T = hypot(series->u.offset, es_resolution_u(series->u.resolution, p.s));
            double moved = es_plateau_movement(&p);
            g->drift = moved > series->u.resolution && p.length > 0.5 * length ? p.drift : 0;
            g->u_drift = hypot(g->u_drift, g->drift != 0 ? p.u_drift : 0);
        }
        es_samples_free(&samples);
    }
    if (!isfinite(g->T) && fact && isfinite(fact->value)) {
        g->T = fact->value;
        g->u_T = fact->u;
    }
    return isfinite(g->T) && g->T > 200 && g->T < 400;
}

/* Pa gauge: what drives the leak, where it was recorded with the rise; else 0. */
static double driving_supply(const struct settings *s, const struct es_trace *trace)
{
    const struct es_series *supply = es_trace_series(trace, (enum es_role)s->supply_channel);
    double sum = 0;
    size_t n = 0;
    for (size_t i = 0; supply && i < supply->count; i++)
        if (supply->quality[i] == ES_GOOD && isfinite(supply->y[i])) {
            sum += supply->y[i];
            n++;
        }
    return n ? fmax(0, sum / (double)n) : 0;
}

/* Of the tare there is neither heat nor a leak that could go out again. */
static enum es_status rate_of(const struct settings *s, const struct es_trace *trace,
                              const struct es_facts *facts, bool tare, struct es_pressure_rate *r,
                              struct es_error *err)
{
    const struct es_series *series = es_trace_series(trace, (enum es_role)s->pressure_channel);
    *r = (struct es_pressure_rate){0};
    if (!series) {
        snprintf(r->reason, sizeof r->reason, "recording \"%.40s\" has no series of the pressure",
                 trace->name ? trace->name : "");
        return ES_OK;
    }
    struct es_pressure_rate_input in = {series,
                                        s->settle,
                                        s->driving,
                                        tare ? 0 : s->thermal_time,
                                        tare ? 0 : driving_supply(s, trace),
                                        ambient_of(facts)};
    return es_pressure_rate_of(&in, r, err);
}

static void set_rise(const struct settings *s, const struct es_pressure_rate *r,
                     const struct es_pressure_rate *tare, const struct es_series *series, const struct gas *g,
                     const struct es_fact *volume, struct es_measured *flow, struct es_measured *rate)
{
    struct es_budget b = r->budget;
    for (int term = 0; term < 2; term++) {
        b.square[term] += tare->budget.square[term];
        b.fourth_per_dof[term] += tare->budget.fourth_per_dof[term];
    }
    double net = r->rate - tare->rate;
    es_channel_terms(&b, &(struct es_channel_uncertainty){.gain = series->u.gain, .dof = series->u.dof}, 0,
                     net, 1);
    double density = (r->mean + g->pressure) / g->T; /* absolute pressure over temperature */
    net -= density * g->drift;
    es_budget_add(&b, ES_TERM_REPEAT, density * g->u_drift, INFINITY);
    if (tare->valid) /* recorded at another time, with a drift of its own */
        es_budget_add(&b, ES_TERM_REPEAT, g->pressure / g->T * s->drift / tare->length, INFINITY);
    es_measured_set(rate, net, &b);
    rate->role = series->role;
    rate->first = r->first;
    rate->last = r->last;
    if (!volume || !isfinite(volume->value) || !(volume->value > 0)) {
        es_measured_refuse(flow, "the volume is not known: no value for \"%s\"", s->volume);
        return;
    }
    double factor = volume->value * T_ANR / (g->T * P_ANR), value = factor * net;
    for (int term = 0; term < 2; term++) {
        b.square[term] *= factor * factor;
        b.fourth_per_dof[term] *= pow(factor, 4);
    }
    es_budget_add(&b, ES_TERM_COMMON, value * volume->u / volume->value,
                  volume->dof > 0 ? volume->dof : INFINITY);
    es_budget_add(&b, ES_TERM_COMMON, value * g->u_T / g->T, INFINITY);
    es_budget_add(&b, ES_TERM_REPEAT, s->repeatability, INFINITY);
    es_measured_set(flow, value, &b);
    flow->role = series->role;
    flow->first = r->first;
    flow->last = r->last;
}

static void refuse_rise(struct es_measured *out, const char *why)
{
    es_measured_refuse(&out[BY_RISE], "%s", why);
    es_measured_refuse(&out[RATE], "%s", why);
}

/* `quick`: the rise has no rate because it was over too soon. */
static enum es_status by_rise(const struct settings *s, const struct es_trace *const *traces,
                              const struct es_facts *facts, struct es_measured *out, bool *quick,
                              struct es_error *err)
{
    struct es_pressure_rate r, tare = {0};
    struct gas g;
    enum es_status status = ES_OK;
    *quick = false;
    if (!traces[SLOT_RISE]) {
        refuse_rise(out, "no recording of the pressure rise");
        return ES_OK;
    }
    if (!traces[SLOT_RISE_TARE] && s->tare == TARE_REQUIRED) {
        refuse_rise(out, "no tare recording: the bench's own leak is not known");
        return ES_OK;
    }
    if (traces[SLOT_RISE_TARE]) {
        status = rate_of(s, traces[SLOT_RISE_TARE], facts, true, &tare, err);
        if (status != ES_OK)
            return status;
        if (!tare.valid) {
            es_measured_refuse(&out[BY_RISE], "tare: %s", tare.reason);
            es_measured_refuse(&out[RATE], "tare: %s", tare.reason);
            return ES_OK;
        }
    }
    status = rate_of(s, traces[SLOT_RISE], facts, false, &r, err);
    if (status != ES_OK)
        return status;
    if (!r.valid) {
        *quick = r.change > QUICK * s->driving;
        refuse_rise(out, r.reason);
        return ES_OK;
    }
    if (!gas_of(s, traces[SLOT_RISE], facts, r.length, &g, &status, err)) {
        if (status == ES_OK)
            refuse_rise(out, "the temperature of the surroundings is not known");
        return status;
    }
    set_rise(s, &r, &tare, es_trace_series(traces[SLOT_RISE], (enum es_role)s->pressure_channel), &g,
             es_fact_find(facts, s->volume), &out[BY_RISE], &out[RATE]);
    return ES_OK;
}

/* ---- Both ---- */

static void weigh(const struct es_measured *a, const struct es_measured *b, struct es_measured *m)
{
    double wa = 1 / (a->u * a->u), wb = 1 / (b->u * b->u);
    if (!isfinite(wa) || !isfinite(wb)) { /* one without any uncertainty is taken as it stands */
        *m = isfinite(wb) ? *a : *b;
        snprintf(m->name, sizeof m->name, "%s", outputs[FLOW].name);
        return;
    }
    double sum = wa + wb;
    struct es_budget budget = {0};
    const struct es_measured *part[2] = {a, b};
    double share[2] = {wa / sum, wb / sum};
    for (int i = 0; i < 2; i++) {
        es_budget_add(&budget, ES_TERM_REPEAT, share[i] * part[i]->u_repeat, part[i]->dof_repeat);
        es_budget_add(&budget, ES_TERM_COMMON, share[i] * part[i]->u_common, part[i]->dof_common);
    }
    es_measured_set(m, share[0] * a->value + share[1] * b->value, &budget);
}

static void take_one(const struct es_measured *one, struct es_measured *m)
{
    *m = *one;
    snprintf(m->name, sizeof m->name, "%s", outputs[FLOW].name);
}

/* Weighted; where the two differ by more than their uncertainties explain, reaching over both. */
static void cover(const struct es_measured *a, const struct es_measured *b, struct es_measured *m)
{
    weigh(a, b, m);
    struct es_budget budget = {0};
    double far = fmax(fabs(m->value - a->value), fabs(m->value - b->value));
    es_budget_add(&budget, ES_TERM_REPEAT, m->u_repeat, m->dof_repeat);
    es_budget_add(&budget, ES_TERM_COMMON, m->u_common, m->dof_common);
    es_budget_add(&budget, ES_TERM_COMMON, es_rectangular(far), INFINITY);
    es_measured_set(m, m->value, &budget);
    es_model_sum(m, &budget, ES_TERM_COMMON, far);
}

/* Only one method gave a value. `reach`: the other one failed because the leak is beyond it. */
static void alone(const struct es_measured *one, const struct es_measured *other, bool both, bool reach,
                  struct es_measured *out)
{
    if (one->valid && both && reach)
        es_measured_refuse(&out[AGREEMENT], "%s: %s; the other method speaks alone", other->name,
                           other->reason);
    else
        es_measured_refuse(&out[AGREEMENT], "only one of the two methods gave a value");
    if (one->valid && (!both || reach))
        take_one(one, &out[FLOW]);
    else
        es_measured_refuse(&out[FLOW], "%s: %s", both ? other->name : "neither method", other->reason);
}

static void combine(const struct es_trace *const *traces, const struct reach *reach, struct es_measured *out)
{
    const struct es_measured *a = &out[BY_SENSOR], *b = &out[BY_RISE];
    bool both = traces[SLOT_FLOW] && traces[SLOT_RISE];
    if (!a->valid || !b->valid) {
        if (a->valid) /* a rise too quick is believed where the flow sensor shows a flow beyond doubt */
            alone(a, b, both, reach->quick && a->value > SURELY * a->u, out);
        else
            alone(b, a, both, reach->beyond, out);
        return;
    }
    double U = hypot(a->U, b->U), apart = fabs(a->value - b->value);
    struct es_budget budget = {0};
    double en = U > 0 ? apart / U : (apart > 0 ? INFINITY : 0);
    if (isfinite(en)) {
        es_measured_set(&out[AGREEMENT], en, &budget);
        out[AGREEMENT].role = b->role;
    } else {
        es_measured_refuse(&out[AGREEMENT], "neither method has an uncertainty");
    }
    if (en <= 1)
        weigh(a, b, &out[FLOW]);
    else
        cover(a, b, &out[FLOW]);
    if (out[FLOW].valid) {
        out[FLOW].role = b->role;
        out[FLOW].first = b->first;
        out[FLOW].last = b->last;
    }
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    const struct settings *s = settings;
    struct reach reach = {false, false};
    for (int o = 0; o < OUTPUTS; o++)
        es_measured_start(&out[o], outputs[o].name, outputs[o].dimension);
    enum es_status status = by_sensor(s, traces, &out[BY_SENSOR], &reach.beyond, err);
    if (status == ES_OK)
        status = by_rise(s, traces, facts, out, &reach.quick, err);
    if (status == ES_OK)
        combine(traces, &reach, out);
    return status;
}

const struct es_measure es_measure_relay_leak = {
    .name = "relay leak",
    .meaning = "what escapes from an output, by flow sensor and by pressure rise",
    .source = "ideal gas balance as in 40 CFR 1065.644; ANR: ISO 8778; En as in ISO/IEC 17043, from memory",
    .trace_names = trace_names,
    .facts_needed = es_no_facts,
    .facts_used = (const char *const[]){"ambient pressure", "ambient temperature", NULL},
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
