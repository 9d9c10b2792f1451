/* Capacity: what a relay delivers and exhausts, the pressure at which it balances, and what it consumes.
 *
 *   delivered, exhausted flow   largest mean over `over` of the flow sensor while the relay is driven fully
 * up or down, at ANR (ISO 8778); beyond the sensor's range the conductance times the largest drive
 *   conductance                 C of ISO 6358-1 (formulas read; conductance.h), critical ratio b by setting
 *                               or, better known, by an emptying volume:
 *                               delivering from the supply to the output, exhausting from the output to the
 *                               surroundings
 *   balance pressure            level of the output's pressure with the relay at rest; of both outputs' mean
 *                               where both were recorded (common practice, no published source)
 *   air consumption             mean of the supply's flow while the unit rests (ANR)
 * The relay's command is the last write of `demand` in the recording; without one the recording's start.
 * Refused: too few samples between opening and the end, no flow the right way, a flow beyond the sensor
 * without a known volume, a balance or consumption still moving by more than `still`. */
#include <math.h>
#include <stddef.h>
#include <stdio.h>

#include "procedures/measures/conductance.h"
#include "procedures/measures/extremes.h"
#include "procedures/measures/holds.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/orifice.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/propagate.h"
#include "procedures/measures/rest_level.h"
#include "procedures/measures/timing.h"

enum { DELIVERED, EXHAUSTED, C_DELIVER, C_EXHAUST, BALANCE, CONSUMPTION, AGREEMENT, OUTPUTS };
enum { SLOT_DELIVER, SLOT_EXHAUST, SLOT_BALANCE, SLOT_STEADY };

struct settings {
    int flow, pressure, other, supply, supply_flow, demand;
    char *volume;
    double b, u_b, over, settle, still;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("pressure channel", struct settings, pressure, false, "output 1 pressure",
                    "pressure of the output"),
    ES_ROLE_SETTING("other pressure channel", struct settings, other, false, "output 2 pressure",
                    "of the other output, for the balance, where it was recorded"),
    ES_ROLE_SETTING("flow channel", struct settings, flow, false, "output 1 flow", "flow out of the output"),
    ES_ROLE_SETTING("supply channel", struct settings, supply, false, "supply pressure",
                    "pressure of the supply"),
    ES_ROLE_SETTING("supply flow channel", struct settings, supply_flow, false, "supply flow",
                    "flow out of the supply, for the consumption"),
    ES_ROLE_SETTING("demand", struct settings, demand, false, "loop demand",
                    "its last write drives the relay"),
    ES_TEXT_SETTING("volume", struct settings, volume, "output 1 volume",
                    "fact: the closed volume at the output"),
    ES_QUANTITY_SETTING("critical ratio", struct settings, b, ES_DIM_RATIO, 0, 0.9, "30 %",
                        "b of ISO 6358: pressure ratio below which the flow is choked"),
    ES_QUANTITY_SETTING("critical ratio uncertainty", struct settings, u_b, ES_DIM_RATIO, 0, 0.5, "10 %",
                        "its standard uncertainty, in points of the ratio"),
    ES_QUANTITY_SETTING("over", struct settings, over, ES_DIM_TIME, 0.01, 60, "0.2 s",
                        "time over which the largest flow is taken"),
    ES_QUANTITY_SETTING("settle", struct settings, settle, ES_DIM_TIME, 0, 3600, "1 s",
                        "left out at the start of balance and steady"),
    ES_QUANTITY_SETTING("still", struct settings, still, ES_DIM_RATIO, 1e-4, 1, "2 %",
                        "movement of balance or consumption, of its value, above which it has not settled"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [DELIVERED] = {"delivered flow", ES_DIM_FLOW, "largest, driven fully up"},
    [EXHAUSTED] = {"exhausted flow", ES_DIM_FLOW, "largest, driven fully down"},
    [C_DELIVER] = {"conductance deliver", ES_DIM_CONDUCTANCE, "supply to output, ISO 6358 C"},
    [C_EXHAUST] = {"conductance exhaust", ES_DIM_CONDUCTANCE, "output to surroundings, ISO 6358 C"},
    [BALANCE] = {"balance pressure", ES_DIM_PRESSURE, "of the outputs with the relay at rest"},
    [CONSUMPTION] = {"air consumption", ES_DIM_FLOW, "out of the supply with the unit at rest"},
    [AGREEMENT] =
        {"agreement", ES_DIM_NUMBER,
         "|En| of the conductance while exhausting: by the flow sensor, and by the pressure in the volume"},
};

static const char *const trace_names[] = {"deliver", "exhaust", "balance", "steady", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    out[0] = (enum es_role)((const struct settings *)settings)->pressure;
    return 1;
}

static double rate_needed(const void *settings, size_t output, double tolerance)
{
    (void)tolerance;
    bool quick = output <= C_EXHAUST;
    return quick ? 3 / ((const struct settings *)settings)->over : 0;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)facts;
    const struct settings *s = settings;
    switch (output) {
    case DELIVERED:
    case EXHAUSTED:
        return es_expected_level_u(u[s->flow], 1, 0);
    case BALANCE:
        return es_expected_level_u(u[s->pressure], 1, 0);
    case CONSUMPTION:
        return es_expected_level_u(u[s->supply_flow], 1, 0);
    default:
        return NAN;
    }
}

static double fact_or(const struct es_facts *facts, const char *name, double otherwise, double *u)
{
    const struct es_fact *f = es_fact_find(facts, name);
    bool known = f && isfinite(f->value);
    *u = known ? f->u : 0;
    return known ? f->value : otherwise;
}

struct stretch {
    double value; /* mean over it, without the lag */
    size_t first, last;
};

/* The largest (sense +1) or smallest mean over `width` samples of the flow as it was: a sensor of first order
 * with lag T shows y where y + T dy/dt flows, and the mean of dy/dt needs both ends only. */
static struct stretch summit(const struct es_samples *s, size_t width, double lag, int sense)
{
    struct stretch best = {.value = NAN};
    double sum = es_sum(s->y, width - 1);
    for (size_t a = 0, b = width - 1; b < s->n; a++, b++) {
        sum += s->y[b];
        double slope = s->t[b] > s->t[a] ? (s->y[b] - s->y[a]) / (s->t[b] - s->t[a]) : 0;
        double value = sum / (double)width + lag * slope;
        if (!(sense * value <= sense * best.value))
            best = (struct stretch){value, a, b};
        sum -= s->y[a];
    }
    return best;
}

/* Largest flow by the sensor; false where it cannot carry it. */
static enum es_status largest(const struct settings *s, const struct es_series *flow, double from, int sense,
                              struct es_measured *m, struct es_error *err)
{
    struct es_samples samples;
    struct es_extremes x;
    char text[160];
    enum es_status status = es_samples_take(flow, from, INFINITY, &samples, err);
    if (status != ES_OK)
        return status;
    size_t width = es_extremes_width(&samples, s->over);
    const char *why = es_samples_unfit(&samples, 2 * width, text);
    if (why) {
        es_measured_refuse(m, "%s", why);
    } else {
        const double lag = flow->u.lag;
        struct stretch top = summit(&samples, width, lag, sense);
        es_extremes_of(&samples, width, flow->u.resolution, &x);
        struct es_budget b = (sense > 0 ? &x.largest : &x.smallest)->noise;
        es_channel_terms(&b, &flow->u, 1, top.value, 1);
        /* another lag finds its largest stretch elsewhere: what its slope would do there is not what it does
         */
        double quick = summit(&samples, width, lag * (1 - ES_LAG_KNOWN_TO), sense).value;
        double slow = summit(&samples, width, lag * (1 + ES_LAG_KNOWN_TO), sense).value;
        es_budget_add(&b, ES_TERM_COMMON, es_rectangular((slow - quick) / 2), INFINITY);
        es_measured_set(m, sense * top.value, &b);
        m->role = flow->role;
        es_outputs_from(m, 0, 1, es_samples_index(&samples, top.first), es_samples_index(&samples, top.last));
    }
    es_samples_free(&samples);
    return ES_OK;
}

static void by_conductance(const struct es_conductance *c, struct es_measured *m)
{
    struct es_budget b = c->budget;
    for (int term = 0; term < 2; term++) {
        b.square[term] *= c->drive * c->drive;
        b.fourth_per_dof[term] *= pow(c->drive, 4);
    }
    es_measured_set(m, c->C * c->drive, &b);
    es_model_sum(m, &b, ES_TERM_COMMON, c->half_width * c->drive);
}

/* E_n = |C1 - C2| / sqrt(U1^2 + U2^2), ISO 13528 as commonly stated, from memory. Both use the same pressures
 * for the drive; what these share is counted twice, so that E_n comes out rather too small than too large. */
static void agree(const struct es_conductance *c, const struct es_measured *by_flow, struct es_measured *m)
{
    struct es_measured by_volume;
    struct es_budget none = {0};
    if (!(c->C_by_volume > 0)) {
        es_measured_refuse(m, "the pressure does not tell it: no known volume that empties");
        return;
    }
    es_measured_start(&by_volume, "", ES_DIM_CONDUCTANCE);
    es_measured_set(&by_volume, c->C_by_volume, &c->volume_budget);
    const double U = hypot(by_flow->U, by_volume.U);
    if (U > 0)
        es_measured_set(m, fabs(by_flow->value - by_volume.value) / U, &none);
    else
        es_measured_refuse(m, "neither method has an uncertainty");
}

/* One way: sense +1 delivering, -1 exhausting. `agreement`: NULL while delivering into the open. */
static enum es_status one_way(const struct settings *s, const struct es_trace *trace,
                              const struct es_facts *facts, int sense, struct es_measured *flow_out,
                              struct es_measured *c_out, struct es_measured *agreement, struct es_error *err)
{
    const struct es_command *drive = es_last_write(trace, (enum es_role)s->demand);
    struct es_conductance_input in = {.flow = es_trace_series(trace, (enum es_role)s->flow),
                                      .output = es_trace_series(trace, (enum es_role)s->pressure),
                                      .supply =
                                          sense > 0 ? es_trace_series(trace, (enum es_role)s->supply) : NULL,
                                      .from = drive ? drive->t : 0,
                                      .b = s->b,
                                      .u_b = s->u_b};
    struct es_conductance c;
    if (!in.output || (sense > 0 && !in.supply)) {
        es_measured_refuse(c_out, "no series of the %s",
                           es_role_info((enum es_role)(in.output ? s->supply : s->pressure))->name);
        es_measured_refuse(flow_out, "%s", c_out->reason);
        if (agreement)
            es_measured_refuse(agreement, "%s", c_out->reason);
        return ES_OK;
    }
    in.ambient = fact_or(facts, "ambient pressure", 101325, &in.u_ambient);
    in.T = fact_or(facts, "ambient temperature", ES_T_ANR, &in.u_T);
    in.volume = fact_or(facts, s->volume, 0, &in.u_volume);
    enum es_status status = es_conductance_of(&in, &c, err);
    if (status != ES_OK)
        return status;
    if (!c.valid) {
        es_measured_refuse(c_out, "%s", c.reason);
        es_measured_refuse(flow_out, "%s", c.reason);
        if (agreement)
            es_measured_refuse(agreement, "%s", c.reason);
        return ES_OK;
    }
    es_measured_set(c_out, c.C, &c.budget);
    es_model_sum(c_out, &c.budget, ES_TERM_COMMON, c.half_width);
    es_outputs_from(c_out, 0, 1, c.first, c.last);
    if (agreement && !c.by_flow)
        es_measured_refuse(agreement,
                           "only the pressure carries it: the flow is beyond the flow sensor's range");
    else if (agreement)
        agree(&c, c_out, agreement);
    if (c.by_flow)
        return largest(s, in.flow, in.from, sense, flow_out, err);
    by_conductance(&c, flow_out);
    es_outputs_from(flow_out, 0, 1, c.first, c.last);
    return ES_OK;
}

static bool settled(const struct settings *s, const struct es_rest *r, struct es_measured *m)
{
    if (!r->valid)
        es_measured_refuse(m, "%s", r->reason);
    else if (r->surely > s->still * fabs(r->p.mean) && r->surely > 4 * r->series->u.resolution)
        es_measured_refuse(m, "not settled: moving by %.1f %% of its value in the recording",
                           100 * r->surely / fabs(r->p.mean));
    else
        return true;
    return false;
}

static enum es_status balance(const struct settings *s, const struct es_trace *trace, struct es_measured *m,
                              struct es_error *err)
{
    const int channels[2] = {s->pressure, s->other};
    int count = es_trace_series(trace, (enum es_role)s->other) && s->other != s->pressure ? 2 : 1;
    struct es_budget b = {0};
    double sum = 0;
    for (int k = 0; k < count; k++) {
        struct es_rest r;
        enum es_status status = es_rest_take(trace, (enum es_role)channels[k], s->settle, INFINITY, &r, err);
        if (status != ES_OK || !settled(s, &r, m))
            return status;
        es_rest_noise(&b, &r, 1.0 / count);
        es_channel_terms(&b, &r.series->u, 1, r.p.mean, 1.0 / count);
        sum += r.p.mean;
        if (k == 0)
            es_outputs_from(m, 0, 1, r.first, r.last);
    }
    es_measured_set(m, sum / count, &b);
    return ES_OK;
}

static enum es_status consumption(const struct settings *s, const struct es_trace *trace,
                                  struct es_measured *m, struct es_error *err)
{
    struct es_rest r;
    m->role = (enum es_role)s->supply_flow;
    enum es_status status = es_rest_take(trace, m->role, s->settle, INFINITY, &r, err);
    if (status != ES_OK || !settled(s, &r, m))
        return status;
    struct es_budget b = {0};
    /* what the unit draws by jerks belongs to the mean that is asked for: only what neighbours differ by is
     * noise */
    r.p.u_mean = r.p.neighbours / sqrt((double)r.p.n);
    r.p.dof = (double)(r.p.n - 1);
    es_rest_noise(&b, &r, 1);
    es_channel_terms(&b, &r.series->u, 1, r.p.mean, 1);
    es_measured_set(m, r.p.mean, &b);
    es_outputs_from(m, 0, 1, r.first, r.last);
    return ES_OK;
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    static const int slot_of[OUTPUTS] = {
        [DELIVERED] = SLOT_DELIVER, [EXHAUSTED] = SLOT_EXHAUST, [C_DELIVER] = SLOT_DELIVER,
        [C_EXHAUST] = SLOT_EXHAUST, [BALANCE] = SLOT_BALANCE,   [CONSUMPTION] = SLOT_STEADY,
        [AGREEMENT] = SLOT_EXHAUST};
    const struct settings *s = settings;
    enum es_status status = ES_OK;
    es_outputs_start(outputs, OUTPUTS, ES_DIM_FLOW, (enum es_role)s->pressure, out);
    for (int o = 0; o < OUTPUTS; o++)
        if (!traces[slot_of[o]])
            es_measured_refuse(&out[o], "no recording \"%s\"", trace_names[slot_of[o]]);
    if (traces[SLOT_DELIVER])
        status = one_way(s, traces[SLOT_DELIVER], facts, 1, &out[DELIVERED], &out[C_DELIVER], NULL, err);
    if (status == ES_OK && traces[SLOT_EXHAUST])
        status = one_way(s, traces[SLOT_EXHAUST], facts, -1, &out[EXHAUSTED], &out[C_EXHAUST],
                         &out[AGREEMENT], err);
    if (status == ES_OK && traces[SLOT_BALANCE])
        status = balance(s, traces[SLOT_BALANCE], &out[BALANCE], err);
    if (status == ES_OK && traces[SLOT_STEADY])
        status = consumption(s, traces[SLOT_STEADY], &out[CONSUMPTION], err);
    return status;
}

const struct es_measure es_measure_capacity = {
    .name = "capacity",
    .meaning = "what a relay delivers, exhausts and consumes, and where it balances",
    .source = "ISO 6358-1 flow equations; ANR: ISO 8778; balance: common practice, no published source",
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
    .rate_needed = rate_needed,
    .expected_u = expected_u,
    .evaluate = evaluate,
};
