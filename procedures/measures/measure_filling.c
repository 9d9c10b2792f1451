/* Filling: does the flow sensor count what a closed known volume takes up? The bench tests itself while a
 * unit fills an output: a sensor that has drifted would let a leak pass, or blame a unit for one.
 *
 *   difference   (integral of (flow less tare) dt) / (V T0 / (T p0) (p_end - p_begin)) - 1
 *
 * with the pressures as means over `rest` at both ends of the recording, after the gas has cooled, and the
 * integral from the middle of one to that of the other, so that a steady flow through them does no harm; ANR
 * as in measure_relay_leak.c. Trapezoids; what every other sample would have given is uncertainty. What the
 * pressure still changes at both ends, over the gas's time constant, is uncertainty of its temperature: gas
 * is warm after filling and cold after blowing off. Own method from the gas law; common practice, no
 * published source. Assumed: volume and pressure are as stated, vent and isolating valves are shut. */
#include <math.h>
#include <stddef.h>

#include "procedures/measures/measures.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/samples.h"

#define T_ANR 293.15 /* K */
#define P_ANR 1e5    /* Pa */
#define LEAST 20     /* samples of the flow */

enum { SLOT_FILLING, SLOT_TARE };

struct settings {
    int flow_channel, pressure_channel;
    char *volume;
    double rest, least, thermal, most;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("flow channel", struct settings, flow_channel, false, "output 1 flow", "the flow sensor"),
    ES_ROLE_SETTING("pressure channel", struct settings, pressure_channel, false, "output 1 pressure",
                    "the pressure in the closed volume"),
    ES_TEXT_SETTING("volume", struct settings, volume, "output 1 volume", "fact: the closed volume"),
    ES_QUANTITY_SETTING("rest", struct settings, rest, ES_DIM_TIME, 0.1, 60, "0.5 s",
                        "at both ends of the recording, over which the pressure is taken"),
    ES_QUANTITY_SETTING("least pressure", struct settings, least, ES_DIM_PRESSURE, 1e3, 1e7, "1 bar",
                        "rise below which nothing is said"),
    ES_QUANTITY_SETTING("thermal time", struct settings, thermal, ES_DIM_TIME, 0, 60, "3 s",
                        "time constant of the gas's temperature in the volume (common practice, no published "
                        "source)"),
    ES_QUANTITY_SETTING("most difference", struct settings, most, ES_DIM_RATIO, 0, 1, "3 %",
                        "above, nothing is judged: the bench has to be looked at first"),
};

static const struct es_measure_output outputs[] = {
    {"difference", ES_DIM_RATIO, "amount by the flow sensor less that by the volume, as share of the latter"},
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
    const struct es_fact *v = es_fact_find(facts, s->volume);
    (void)output;
    return f && p && v ? hypot(f->gain, hypot(p->gain, v->u / v->value)) : NAN;
}

/* ---- Amounts ---- */

struct amount {
    double value;   /* m3 ANR */
    double grain;   /* standard: from the time between samples */
    double seconds; /* integrated over */
};

static double integral(const struct es_samples *s, size_t stride, double tare)
{
    double sum = 0;
    for (size_t i = stride; i < s->n; i += stride)
        sum += (s->t[i] - s->t[i - stride]) * (0.5 * (s->y[i] + s->y[i - stride]) - tare);
    return sum;
}

static const char *integrate(const struct es_samples *s, double tare, struct amount *out,
                             char why[static 160])
{
    const char *unfit = es_samples_unfit(s, LEAST, why);
    if (unfit)
        return unfit;
    if (s->gap > 3.5 * s->interval)
        return "samples of the flow are missing while the volume was filled";
    struct es_samples even = *s;
    even.n -= 1 - s->n % 2; /* both over the same time */
    out->value = integral(s, 1, tare);
    out->grain = es_rectangular(integral(&even, 2, tare) - integral(&even, 1, tare));
    out->seconds = s->t[s->n - 1] - s->t[0];
    return NULL;
}

static enum es_status level(const struct es_series *series, double from, double to, struct es_plateau *p,
                            bool *good, char why[static 160], struct es_error *err)
{
    struct es_samples samples;
    enum es_status status = es_samples_take(series, from, to, &samples, err);
    if (status != ES_OK)
        return status;
    *good = !es_samples_unfit(&samples, 5, why) && es_plateau_of(samples.t, samples.y, samples.n, p);
    es_samples_free(&samples);
    return ES_OK;
}

struct job {
    const struct settings *s;
    const struct es_series *flow, *pressure;
    struct es_plateau tare, before, after;
    bool tared;
    double factor, u_factor; /* m3 ANR per Pa; relative */
};

static void conclude(const struct job *j, const struct amount *a, struct es_measured *m)
{
    const double rise = j->after.mean - j->before.mean, taken = j->factor * rise;
    const double ratio = a->value / taken;
    const struct es_channel_uncertainty *f = &j->flow->u, *p = &j->pressure->u;
    struct es_budget b = {0};
    es_plateau_noise(&b, &j->after, p, ratio / rise);
    es_plateau_noise(&b, &j->before, p, ratio / rise);
    es_budget_add(&b, ES_TERM_REPEAT, a->grain / taken, INFINITY);
    const struct es_plateau *ends[2] = {&j->before, &j->after};
    for (int i = 0; i < 2; i++)
        es_budget_add(&b, ES_TERM_REPEAT, ratio * es_rectangular(ends[i]->drift * j->s->thermal) / rise,
                      INFINITY);
    if (j->tared)
        es_plateau_noise(&b, &j->tare, f, a->seconds / taken);
    es_budget_add(&b, ES_TERM_REPEAT,
                  hypot(f->repeatability, j->tared ? f->repeatability : 0) * a->seconds / taken, INFINITY);
    es_budget_add(&b, ES_TERM_COMMON, hypot(ratio * f->gain, j->tared ? 0 : f->offset * a->seconds / taken),
                  f->dof);
    es_budget_add(&b, ES_TERM_COMMON, ratio * p->gain, p->dof);
    es_budget_add(&b, ES_TERM_COMMON, ratio * j->u_factor, INFINITY);
    es_measured_set(m, ratio - 1, &b);
    m->role = j->flow->role;
    if (m->U > j->s->most)
        es_measured_refuse(m, "the unit did not fill the output evenly and then rest: +-%.0f %% are in doubt",
                           100 * m->U);
    else if (fabs(m->value) > j->s->most)
        es_measured_refuse(m,
                           "the flow sensor counted %.1f %% %s than the known volume took up: look at the "
                           "bench's flow sensor, its pressure transducer and the volume first",
                           100 * fabs(m->value), m->value > 0 ? "more" : "less");
}

static enum es_status fill(struct job *j, struct es_measured *m, struct es_error *err)
{
    char why[160] = "";
    bool good[2] = {false, false};
    struct es_samples samples;
    struct amount a;
    const double begin = j->pressure->t[0], end = j->pressure->t[j->pressure->count - 1];
    enum es_status status = level(j->pressure, begin, begin + j->s->rest, &j->before, &good[0], why, err);
    if (status == ES_OK)
        status = level(j->pressure, end - j->s->rest, end, &j->after, &good[1], why, err);
    if (status == ES_OK)
        status = es_samples_take(j->flow, begin + 0.5 * j->s->rest, end - 0.5 * j->s->rest, &samples, err);
    if (status != ES_OK)
        return status;
    const double rise = j->after.mean - j->before.mean;
    const char *unfit = integrate(&samples, j->tared ? j->tare.mean : 0, &a, why);
    if (!good[0] || !good[1] || unfit)
        es_measured_refuse(m, "%s", unfit ? unfit : why);
    else if (!(rise >= j->s->least))
        es_measured_refuse(m, "the output was not filled: its pressure rose by %.2f bar only", rise / 1e5);
    else
        conclude(j, &a, m);
    es_samples_free(&samples);
    return ES_OK;
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    const struct settings *s = settings;
    const struct es_fact *v = es_fact_find(facts, s->volume), *T = es_fact_find(facts, "ambient temperature");
    struct job j = {.s = s};
    es_measured_start(&out[0], outputs[0].name, outputs[0].dimension);
    j.flow = es_trace_series(traces[SLOT_FILLING], (enum es_role)s->flow_channel);
    j.pressure = es_trace_series(traces[SLOT_FILLING], (enum es_role)s->pressure_channel);
    if (!j.flow || !j.pressure || j.pressure->count == 0) {
        es_measured_refuse(&out[0], "the recording has no series of the %s", j.flow ? "pressure" : "flow");
        return ES_OK;
    }
    if (!v || !T || !(v->value > 0) || !(T->value > 200)) {
        es_measured_refuse(&out[0], "the volume or the temperature of the surroundings is not known");
        return ES_OK;
    }
    j.factor = v->value * T_ANR / (T->value * P_ANR);
    j.u_factor = hypot(v->u / v->value, T->u / T->value);
    const struct es_series *tare =
        traces[SLOT_TARE] ? es_trace_series(traces[SLOT_TARE], j.flow->role) : NULL;
    enum es_status status = ES_OK;
    if (tare) {
        char why[160];
        status = level(tare, -INFINITY, INFINITY, &j.tare, &j.tared, why, err);
    }
    return status == ES_OK ? fill(&j, &out[0], err) : status;
}

const struct es_measure es_measure_filling = {
    .name = "filling",
    .meaning = "does the flow sensor count what a closed known volume takes up?",
    .source = "gas law; common practice, no published source; ANR: ISO 8778",
    .trace_names = trace_names,
    .facts_needed = es_no_facts,
    .facts_used = (const char *const[]){"ambient temperature", NULL},
    .fact_settings = (const char *const[]){"volume", NULL},
    .settings = rows,
    .setting_count = sizeof rows / sizeof rows[0],
    .setting_size = sizeof(struct settings),
    .outputs = outputs,
    .output_count = sizeof outputs / sizeof outputs[0],
    .roles = roles,
    .rate_needed = es_rate_any,
    .expected_u = expected_u,
    .evaluate = evaluate,
};
