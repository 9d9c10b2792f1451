/* Step response: dead time, T63, T86, T98, settling time, overshoot, steady-state error over a set of steps.
 *
 * Origin of all times: the instant at which the command is known to have acted at the bench's source
 * (es_command.t), not the first movement. Levels: shares of the response's own final change, from the mean
 * at rest before the command to the mean of the last part before the next one.
 *   T63  63 %    ANSI/ISA-75.25.01: "reaches 63 % of its final steady-state value", dead time included
 *   T86  86.5 %  as commonly stated for ISA-75.25.01 (1 - e^-2 rounded), from memory
 *   T98  98 %    as commonly stated for ISA-75.25.01, from memory
 *   dead time    until the response leaves its rest; ISA-75.25.01 "interval in which no response is
 * detected", measured from the initiation of the step; estimator: onset.h settling     last entry into +-band
 * of the final change (control textbooks; e.g. Ogata, from memory) overshoot    (peak - final) / change; 0
 * with its uncertainty when nothing stands out of noise and resolution steady-state error   response in its
 * span less demand in its span, at rest only. movement at rest   largest less smallest response over the last
 * half of each step's part, of span, noise taken off: a unit that hunts or creeps has no other figure (common
 * practice, no published source). Take 63.2 % or 86 % instead and a first-order answer differs by
 * 0.57 % or 3.6 % of its time constant. Assumed: each step is left alone until it has settled; noise is
 * stationary over one step. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/measures.h"
#include "procedures/measures/movement.h"
#include "procedures/measures/numeric/student.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/propagate.h"
#include "procedures/measures/span.h"
#include "procedures/measures/step_analysis.h"
#include "procedures/measures/timing.h"

enum output {
    DEAD_TIME,
    T63,
    T86,
    T98,
    SETTLING_TIME,
    OVERSHOOT,
    STEADY_STATE_ERROR,
    MOVEMENT,
    STEPS,
    OUTPUTS
};
#define LEAST_STILL 20 /* samples over which a movement is looked for */

enum { ALL, UP, DOWN };
enum { WORST, MEAN };

struct settings {
    int demand, read_back, response, direction, pick;
    double band, rest, still, most_noise;
    char *demand_low, *demand_high, *response_low, *response_high;
};

static const char *const directions[] = {"all", "up", "down", NULL};
static const char *const picks[] = {"worst", "mean", NULL};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("demand", struct settings, demand, false, "loop demand", "its commands are the steps"),
    ES_ROLE_SETTING("read-back", struct settings, read_back, false, "loop current",
                    "what the demand really was, where it was recorded"),
    ES_ROLE_SETTING("response", struct settings, response, false, "travel", "what answers"),
    ES_CHOICE_SETTING("direction", struct settings, direction, directions, "all",
                      "which steps of the demand count"),
    ES_CHOICE_SETTING("pick", struct settings, pick, picks, "worst", "over the set of steps"),
    ES_QUANTITY_SETTING("band", struct settings, band, ES_DIM_RATIO, 0.0005, 0.2, "2 %",
                        "half-width of the settling band, of the step"),
    ES_QUANTITY_SETTING("rest", struct settings, rest, ES_DIM_RATIO, 0.02, 0.5, "20 %",
                        "last share of each step's part, taken as its steady state"),
    ES_QUANTITY_SETTING("most noise", struct settings, most_noise, ES_DIM_RATIO, 0, 1, "0.1 %",
                        "movement, as share of the span, that noise alone may look like"),
    ES_QUANTITY_SETTING("still", struct settings, still, ES_DIM_RATIO, 0.05, 0.9, "50 %",
                        "last share of each step's part, in which it should not move any more"),
    ES_TEXT_SETTING("demand low", struct settings, demand_low, "loop low", "fact: lower end of the demand"),
    ES_TEXT_SETTING("demand high", struct settings, demand_high, "loop high",
                    "fact: upper end of the demand"),
    ES_TEXT_SETTING("response low", struct settings, response_low, "lower end",
                    "fact: response at the lower end of the demand"),
    ES_TEXT_SETTING("response high", struct settings, response_high, "upper end",
                    "fact: response at the upper end of the demand"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [DEAD_TIME] = {"dead time", ES_DIM_TIME, "from the command until the response begins"},
    [T63] = {"T63", ES_DIM_TIME, "from the command until 63 % of the response's change"},
    [T86] = {"T86", ES_DIM_TIME, "from the command until 86.5 % of the response's change"},
    [T98] = {"T98", ES_DIM_TIME, "from the command until 98 % of the response's change"},
    [SETTLING_TIME] = {"settling time", ES_DIM_TIME, "from the command until the band is entered for good"},
    [OVERSHOOT] = {"overshoot", ES_DIM_RATIO, "peak beyond the final value, of the change"},
    [STEADY_STATE_ERROR] = {"steady-state error", ES_DIM_RATIO,
                            "response less demand at rest, of span; the worst without its sign"},
    [MOVEMENT] = {"movement at rest", ES_DIM_RATIO,
                  "largest less smallest response at the end of a step's part, of span"},
    [STEPS] = {"steps", ES_DIM_NUMBER, "number of steps that counted"},
};

static const char *const trace_names[] = {"recording", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    const struct settings *s = settings;
    out[0] = (enum es_role)s->response;
    return 1;
}

static double rate_needed(const void *settings, size_t output, double tolerance)
{
    (void)settings;
    bool is_time = outputs[output].dimension == ES_DIM_TIME;
    return is_time && isfinite(tolerance) && tolerance > 0 ? 20 / tolerance : 0;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    const struct settings *s = settings;
    const struct es_channel_uncertainty *r = u[s->response], *d = u[s->read_back];
    if (!r)
        return NAN;
    if (outputs[output].dimension == ES_DIM_TIME)
        return es_timing_u(r);
    const struct es_fact *low = es_fact_find(facts, s->response_low),
                         *high = es_fact_find(facts, s->response_high);
    const struct es_fact *dlow = es_fact_find(facts, s->demand_low),
                         *dhigh = es_fact_find(facts, s->demand_high);
    if (output != STEADY_STATE_ERROR || !d || !low || !high || !dlow || !dhigh)
        return NAN;
    double span = fabs(high->value - low->value), dspan = fabs(dhigh->value - dlow->value);
    double ur = hypot(r->offset, r->gain * span) / span;
    double ud = hypot(d->offset, d->gain * fmax(fabs(dhigh->value), fabs(dlow->value))) / dspan;
    return hypot(ur, ud);
}

/* A step in the trace: its command, and the time at which its part ends. */
struct part {
    const struct es_command *command;
    double before, end;
};

static bool counts(const struct settings *s, const struct es_command *c)
{
    double change = c->to - c->from;
    if (!isfinite(change) || change == 0)
        return false;
    return s->direction == ALL || (s->direction == UP) == (change > 0);
}

/* Parts of the trace, one a command of the demand. `room` for command_count. */
static size_t find_parts(const struct settings *s, const struct es_trace *trace, const struct es_series *r,
                         struct part *parts)
{
    size_t n = 0;
    double last = r->count ? r->t[r->count - 1] : 0, previous = r->count ? r->t[0] : 0;
    double usual = r->count > 1 ? (last - r->t[0]) / (double)(r->count - 1) : 0;
    bool positioned = false;
    for (size_t i = 0; i < trace->command_count; i++) {
        const struct es_command *c = &trace->commands[i];
        if ((int)c->role != s->demand)
            continue;
        double end = last;
        for (size_t k = i + 1; k < trace->command_count; k++)
            if ((int)trace->commands[k].role == s->demand) {
                end = trace->commands[k].t;
                break;
            }
        /* a first command right at the beginning only takes the demand to where the steps start */
        bool first = n == 0 && !positioned && c->t - previous < 4.5 * usual;
        positioned = true;
        if (!first && counts(s, c)) {
            bool from_start = previous <= r->t[0];
            double before = from_start ? previous : c->t - s->rest * (c->t - previous);
            parts[n++] = (struct part){c, before, end};
        }
        previous = c->t;
    }
    return n;
}

/* Response less demand at rest, both in their spans; refused where the spans are not known. */
static enum es_status steady_state_error(const struct settings *s, const struct es_trace *trace,
                                         const struct part *p, const struct es_step *step,
                                         const struct es_channel_uncertainty *u, const struct es_facts *facts,
                                         struct es_estimate *e, struct es_error *err)
{
    const char *const names[] = {s->response_low, s->response_high, s->demand_low, s->demand_high};
    const struct es_fact *f[4];
    for (int i = 0; i < 4; i++) {
        f[i] = es_fact_find(facts, names[i]);
        if (!f[i] || !isfinite(f[i]->value)) {
            snprintf(e->reason, sizeof e->reason, "the span is not known: no value for \"%s\"", names[i]);
            return ES_OK;
        }
    }
    double span = f[1]->value - f[0]->value, demand_span = f[3]->value - f[2]->value;
    if (span == 0 || demand_span == 0) {
        snprintf(e->reason, sizeof e->reason, "a span is zero (\"%s\" to \"%s\")", names[span == 0 ? 0 : 2],
                 names[span == 0 ? 1 : 3]);
        return ES_OK;
    }
    double demand = p->command->to;
    const struct es_series *read_back = es_trace_series(trace, (enum es_role)s->read_back);
    struct es_samples samples = {0};
    struct es_plateau level;
    if (read_back) {
        const double from = p->end - s->rest * (p->end - p->command->t);
        if (es_samples_clipped(read_back, from, p->end, e->reason))
            return ES_OK;
        enum es_status status = es_samples_take(read_back, from, p->end, &samples, err);
        if (status != ES_OK)
            return status;
        if (es_plateau_of(samples.t, samples.y, samples.n, &level)) {
            demand = level.mean;
            es_plateau_noise(&e->budget, &level, &read_back->u, 1 / demand_span);
            es_channel_terms(&e->budget, &read_back->u, 1, demand, 1 / demand_span);
        }
        es_samples_free(&samples);
    }
    double share = (step->after.mean - f[0]->value) / span;
    bool measured_span = f[0]->u > 0 || f[1]->u > 0; /* by this channel: its offset and gain cancel */
    es_plateau_noise(&e->budget, &step->after, u, 1 / span);
    es_channel_terms(&e->budget, u, measured_span ? 0 : 1, measured_span ? 0 : step->after.mean, 1 / span);
    const struct es_span ends = {.low = f[0]->value,
                                 .size = span,
                                 .u_low = f[0]->u,
                                 .u_high = f[1]->u,
                                 .dof_low = f[0]->dof,
                                 .dof_high = f[1]->dof,
                                 .measured = measured_span};
    es_span_terms(&e->budget, &ends, u, share);
    e->value = share - (demand - f[2]->value) / demand_span;
    e->valid = true;
    return ES_OK;
}

/* The response's span: between its ends as measured, or the full travel. */
static double span_of(const struct settings *s, const struct es_series *r, const struct es_facts *facts)
{
    const struct es_fact *low = es_fact_find(facts, s->response_low),
                         *high = es_fact_find(facts, s->response_high),
                         *full = es_fact_find(facts, "full travel");
    double span = low && high ? fabs(high->value - low->value) : 0;
    if (!(span > 0) && full && full->dimension == r->dimension)
        span = fabs(full->value);
    return span;
}

/* What a unit that hunts or creeps shows where it should be at rest, whether or not the step carries
 * anything else. `all`: samples of the whole part; `many` such parts are looked at. */
static enum es_status movement_at_rest(const struct settings *s, const struct part *p,
                                       const struct es_series *r, const struct es_samples *all, size_t many,
                                       const struct es_facts *facts, struct es_estimate *e,
                                       struct es_error *err)
{
    struct es_samples samples;
    char text[160];
    double span = span_of(s, r, facts);
    memset(e, 0, sizeof *e);
    if (!(span > 0)) {
        snprintf(e->reason, sizeof e->reason, "the span is not known: no values for \"%.40s\" and \"%.40s\"",
                 s->response_low, s->response_high);
        return ES_OK;
    }
    enum es_status status =
        es_samples_take_later(all, p->end - s->still * (p->end - p->command->t), p->end, &samples, err);
    if (status != ES_OK)
        return status;
    struct es_movement m = {0};
    const char *why = es_samples_unfit(&samples, LEAST_STILL, text);
    if (!why) {
        es_movement_of(samples.y, samples.n, r->u.resolution, many, &m);
    }
    /* only what stands far out of such noise can be the unit's */
    if (!why && m.noise > s->most_noise * span && m.range < 3 * m.noise) {
        snprintf(text, sizeof text,
                 "the bench's reading is noisy: noise alone would look like a movement of %.2f %%",
                 100 * m.noise / span);
        why = text;
    }
    if (why) {
        snprintf(e->reason, sizeof e->reason, "%s", why);
    } else {
        e->value = m.range / span;
        es_budget_add(&e->budget, ES_TERM_REPEAT, m.u / span, INFINITY);
        es_budget_add(&e->budget, ES_TERM_COMMON, r->u.gain * e->value, INFINITY);
        e->valid = true;
    }
    es_samples_free(&samples);
    return ES_OK;
}

/* All steps of the set analysed; estimates by step and output. */
struct set {
    size_t count;
    struct part *parts;
    size_t (*span)[2]; /* sample indices in the series */
    struct es_estimate (*figures)[STEPS];
};

static enum es_status analyse(const struct settings *s, const struct es_trace *trace,
                              const struct es_series *r, const struct es_facts *facts, struct set *set,
                              struct es_error *err)
{
    static const enum es_step_figure source[] = {[DEAD_TIME] = ES_STEP_DEAD_TIME,
                                                 [T63] = ES_STEP_T63,
                                                 [T86] = ES_STEP_T86,
                                                 [T98] = ES_STEP_T98,
                                                 [SETTLING_TIME] = ES_STEP_SETTLING,
                                                 [OVERSHOOT] = ES_STEP_OVERSHOOT};
    for (size_t i = 0; i < set->count; i++) {
        const struct part *p = &set->parts[i];
        struct es_samples samples;
        struct es_step step;
        enum es_status status = es_samples_take(r, p->before, p->end, &samples, err);
        if (status != ES_OK)
            return status;
        struct es_step_input in = {.samples = &samples,
                                   .rest_before = p->before,
                                   .origin = p->command->t,
                                   .u_origin = p->command->u_t,
                                   .end = p->end,
                                   .rest = s->rest,
                                   .band = s->band,
                                   .many = set->count,
                                   .u = r->u};
        es_step_analyse(&in, &step);
        for (int o = 0; o < STEADY_STATE_ERROR; o++)
            set->figures[i][o] = step.figures[source[o]];
        struct es_estimate *sse = &set->figures[i][STEADY_STATE_ERROR];
        memset(sse, 0, sizeof *sse);
        if (step.carried)
            status = steady_state_error(s, trace, p, &step, &r->u, facts, sse, err);
        else
            snprintf(sse->reason, sizeof sse->reason, "%s", step.reason);
        if (status == ES_OK)
            status = movement_at_rest(s, p, r, &samples, set->count, facts, &set->figures[i][MOVEMENT], err);
        if (samples.n) {
            set->span[i][0] = es_samples_index(&samples, 0);
            set->span[i][1] = es_samples_index(&samples, samples.n - 1);
        }
        es_samples_free(&samples);
        if (status != ES_OK)
            return status;
    }
    return ES_OK;
}

static void take_mean(const struct set *set, size_t o, struct es_measured *m)
{
    struct es_budget b = {0};
    double sum = 0, n = (double)set->count, common = 0;
    for (size_t i = 0; i < set->count; i++) {
        const struct es_estimate *e = &set->figures[i][o];
        sum += e->value;
        b.square[ES_TERM_REPEAT] += e->budget.square[ES_TERM_REPEAT] / (n * n);
        b.fourth_per_dof[ES_TERM_REPEAT] += e->budget.fourth_per_dof[ES_TERM_REPEAT] / (n * n * n * n);
        if (e->budget.square[ES_TERM_COMMON] >= common) { /* common terms do not average out */
            common = e->budget.square[ES_TERM_COMMON];
            b.square[ES_TERM_COMMON] = common;
            b.fourth_per_dof[ES_TERM_COMMON] = e->budget.fourth_per_dof[ES_TERM_COMMON];
        }
    }
    es_measured_set(m, sum / n, &b);
    m->first = set->span[0][0];
    m->last = set->span[set->count - 1][1];
}

/* Which step is the worst is in doubt where one that looks better is known less well. Largest of two normal
 * values, of size `a` known to u_a and of size `b` known to u_b (Clark 1961, from memory): mean, and standard
 * deviation. */
static void larger_of(double *a, double *u_a, double b, double u_b)
{
    double wide = hypot(*u_a, u_b), x = (*a - b) / wide;
    double p = es_normal_cumulative(x), density = exp(-0.5 * x * x) / sqrt(2 * acos(-1.0));
    double mean = *a * p + b * (1 - p) + wide * density;
    double square = (*a * *a + *u_a * *u_a) * p + (b * b + u_b * u_b) * (1 - p) + (*a + b) * wide * density;
    *a = mean;
    *u_a = sqrt(fmax(0, square - mean * mean));
}

/* What is common to all steps, and what the worst is uncertain by itself, does not choose: only what another
 * is known less well. One that is given as 0, since nothing stands out of its noise, is no rival. */
static double with_rivals(const struct set *set, size_t o, size_t worst, struct es_budget *b)
{
    double value = fabs(set->figures[worst][o].value), apart = 0, u2 = b->square[ES_TERM_REPEAT];
    for (size_t i = 0; i < set->count; i++) {
        const struct es_estimate *e = &set->figures[i][o];
        double more = e->budget.square[ES_TERM_REPEAT] - u2;
        if (i != worst && more > 0 && e->value != 0 && fabs(e->value) + 4 * sqrt(more) > value)
            larger_of(&value, &apart, fabs(e->value), sqrt(more));
    }
    es_budget_add(b, ES_TERM_REPEAT, apart, INFINITY);
    return copysign(value, set->figures[worst][o].value);
}

/* Of equal ones (0 all) that which is known least. */
static size_t worst_of(const struct set *set, size_t o)
{
    size_t worst = 0;
    for (size_t i = 1; i < set->count; i++) {
        const struct es_estimate *e = &set->figures[i][o], *w = &set->figures[worst][o];
        double more = fabs(e->value) - fabs(w->value);
        if (more > 0 || (more == 0 && e->budget.square[ES_TERM_REPEAT] > w->budget.square[ES_TERM_REPEAT]))
            worst = i;
    }
    return worst;
}

static void take_worst(const struct set *set, size_t o, struct es_measured *m)
{
    const size_t worst = worst_of(set, o);
    struct es_budget b = set->figures[worst][o].budget;
    double value = with_rivals(set, o, worst, &b);
    /* over several steps the sign is that of chance where two errors of about one size have opposite ones */
    es_measured_set(m, o == STEADY_STATE_ERROR ? fabs(value) : value, &b);
    if (o == STEADY_STATE_ERROR)
        es_model_size(m, value, &b);
    m->first = set->span[worst][0];
    m->last = set->span[worst][1];
}

/* One step that does not carry a figure makes the worst, and the mean, unknown. */
static bool all_carry(const struct set *set, size_t o, struct es_measured *m)
{
    for (size_t i = 0; i < set->count; i++) {
        const struct es_estimate *e = &set->figures[i][o];
        if (!e->valid) {
            es_measured_refuse(m, "step %zu of %zu: %s", i + 1, set->count, e->reason);
            return false;
        }
    }
    return true;
}

static void conclude(const struct settings *s, const struct set *set, struct es_measured *out)
{
    for (size_t o = 0; o < STEPS; o++) {
        out[o].role = (enum es_role)s->response;
        if (!all_carry(set, o, &out[o]))
            continue;
        if (s->pick == MEAN)
            take_mean(set, o, &out[o]);
        else
            take_worst(set, o, &out[o]);
    }
    struct es_budget none = {0};
    es_measured_set(&out[STEPS], (double)set->count, &none);
}

static void refuse_each(struct es_measured *out, const char *reason)
{
    for (size_t o = 0; o < OUTPUTS; o++)
        es_measured_refuse(&out[o], "%s", reason);
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    const struct settings *s = settings;
    for (size_t o = 0; o < OUTPUTS; o++)
        es_measured_start(&out[o], outputs[o].name, outputs[o].dimension);
    const struct es_series *r = es_trace_series(traces[0], (enum es_role)s->response);
    if (!r || r->count < 2) {
        refuse_each(out, "the recording has no series of the response");
        return ES_OK;
    }
    size_t room = traces[0]->command_count + 1;
    struct set set = {.parts = calloc(room, sizeof *set.parts),
                      .span = calloc(room, sizeof *set.span),
                      .figures = calloc(room, sizeof *set.figures)};
    enum es_status status = ES_OK;
    if (!set.parts || !set.span || !set.figures)
        status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu steps.", room);
    if (status == ES_OK) {
        set.count = find_parts(s, traces[0], r, set.parts);
        if (set.count == 0)
            refuse_each(out, "the recording has no step of the demand with a rest before it");
        else if ((status = analyse(s, traces[0], r, facts, &set, err)) == ES_OK)
            conclude(s, &set, out);
    }
    free(set.parts);
    free(set.span);
    free(set.figures);
    return status;
}

const struct es_measure es_measure_step_response = {
    .name = "step response",
    .meaning = "how fast and how exactly the response follows steps of the demand",
    .source =
        "ANSI/ISA-75.25.01-2000 (R2010) for T63 and dead time; T86 and T98 as commonly stated for it, from "
        "memory",
    .trace_names = trace_names,
    .facts_needed = es_no_facts,
    .facts_used = (const char *const[]){"full travel", NULL},
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
