/* Staircase: inaccuracy, linearity, hysteresis and repeatability of a response to a demand that climbs and
 * descends in stairs.
 *
 * Terms: IEC 61298-2, "inaccuracy: maximum positive and negative deviation from the specified characteristic
 * curve", "hysteresis: different outputs for the same input depending on the directional sequence of inputs"
 * (second-hand); the formulas as commonly stated for IEC 61298-2, from memory. With e the response less the
 * demand, both as shares of their spans, at a settled hold:
 *   largest, smallest error   largest and smallest e of all holds
 *   inaccuracy                the larger of the two in size
 *   hysteresis                largest |mean e falling - mean e rising| at one demand (dead band included)
 *   repeatability             largest less smallest e among the holds of one demand and direction
 *   linearity                 largest deviation of the mean curve (mean of rising and falling) from a line:
 *     terminal-based          through its end points
 *     independent             the line whose largest deviation is least (Chebyshev)
 *     zero-based              through its lower end, slope for the least largest deviation
 * Direction is that of the last write before a hold; holds before the first write do not count. An end point
 * that is reached from one side only stands in the mean curve with that side alone: stairs that run beyond
 * the span give it both; holds beyond it count for nothing else.
 *
 * Static figures come from settled holds only: refused while one moves by more than `still`; what moved less
 * is uncertainty. The demand is what was read back, where it was recorded. Noise makes the largest of many
 * too large: taken off (largest.h). Refused besides: fewer than 3 points, stairs over less than 0.8 of the
 * span (inaccuracy, linearity), no point reached from both sides, one cycle only (repeatability). */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>

#include "procedures/measures/largest.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/numeric/minimax_line.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/stairs.h"

enum { INACCURACY, TERMINAL, INDEPENDENT, ZERO_BASED, HYSTERESIS, REPEATABILITY, LARGEST, SMALLEST, OUTPUTS };
#define LEAST_POINTS 3
#define LEAST_COVER  0.8

struct settings {
    int demand, read_back, response;
    double settle, still;
    char *demand_low, *demand_high, *response_low, *response_high;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("demand", struct settings, demand, false, "loop demand", "its writes are the stairs"),
    ES_ROLE_SETTING("read-back", struct settings, read_back, false, "loop current",
                    "what the demand really was, where it was recorded"),
    ES_ROLE_SETTING("response", struct settings, response, false, "travel", "what answers"),
    ES_QUANTITY_SETTING("settle", struct settings, settle, ES_DIM_TIME, 0, 3600, "3 s",
                        "left out after each write; writes that follow sooner are one movement"),
    ES_QUANTITY_SETTING("still", struct settings, still, ES_DIM_RATIO, 1e-5, 0.1, "0.2 %",
                        "movement over a hold, of span, above which it has not settled"),
    ES_TEXT_SETTING("demand low", struct settings, demand_low, "loop low", "fact: lower end of the demand"),
    ES_TEXT_SETTING("demand high", struct settings, demand_high, "loop high",
                    "fact: upper end of the demand"),
    ES_TEXT_SETTING("response low", struct settings, response_low, "lower end",
                    "fact: response at the lower end of the demand"),
    ES_TEXT_SETTING("response high", struct settings, response_high, "upper end",
                    "fact: response at the upper end of the demand"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [INACCURACY] = {"inaccuracy", ES_DIM_RATIO, "largest error in size, of span"},
    [TERMINAL] = {"linearity terminal-based", ES_DIM_RATIO, "mean curve from the line through its ends"},
    [INDEPENDENT] = {"linearity independent", ES_DIM_RATIO, "mean curve from the best line"},
    [ZERO_BASED] = {"linearity zero-based", ES_DIM_RATIO,
                    "mean curve from the best line through its lower end"},
    [HYSTERESIS] = {"hysteresis", ES_DIM_RATIO, "largest difference between falling and rising, of span"},
    [REPEATABILITY] = {"repeatability", ES_DIM_RATIO,
                       "largest difference between cycles at one demand and direction"},
    [LARGEST] = {"largest error", ES_DIM_RATIO, "response less demand, of span"},
    [SMALLEST] = {"smallest error", ES_DIM_RATIO, "response less demand, of span"},
};

static const char *const trace_names[] = {"recording", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    const struct settings *s = settings;
    out[0] = (enum es_role)s->response;
    out[1] = (enum es_role)s->demand;
    return 2;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    const struct settings *s = settings;
    const struct es_channel_uncertainty *r = u[s->response], *d = u[s->read_back];
    const struct es_fact *low = es_fact_find(facts, s->response_low),
                         *high = es_fact_find(facts, s->response_high),
                         *dlow = es_fact_find(facts, s->demand_low),
                         *dhigh = es_fact_find(facts, s->demand_high);
    if (!r || !low || !high || !dlow || !dhigh)
        return NAN;
    double span = fabs(high->value - low->value), dspan = fabs(dhigh->value - dlow->value);
    bool error = output == INACCURACY || output >= LARGEST;
    double ur = es_expected_level_u(r, error, error ? span : 0) / span;
    double ud =
        d && error ? es_expected_level_u(d, 1, fmax(fabs(dhigh->value), fabs(dlow->value))) / dspan : 0;
    return hypot(ur, ud);
}

struct job {
    const struct settings *s;
    struct es_stairs_input in;
    struct es_stairs stairs;
    double *work, *x; /* room for one number a reading, and a point */
};

static void set(struct es_measured *m, double value, double u_repeat, double u_common)
{
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_REPEAT, u_repeat, INFINITY);
    es_budget_add(&b, ES_TERM_COMMON, u_common, INFINITY);
    es_measured_set(m, value, &b);
}

/* Calibration of an error at one reading. */
static void calibration(const struct job *j, const struct es_stair_reading *r, struct es_budget *b)
{
    const struct es_span *span = &j->in.span;
    const struct es_series *response = es_trace_series(j->in.trace, j->in.response);
    es_channel_terms(b, &response->u, span->measured ? 0 : 1, span->measured ? 0 : r->response,
                     1 / span->size);
    es_span_terms(b, span, &response->u, es_span_share(span, r->response));
    const struct es_series *read_back = es_trace_series(j->in.trace, j->in.read_back);
    if (read_back)
        es_channel_terms(b, &read_back->u, 1, r->current, 1 / j->in.demand_span.size);
}

/* The largest (sign +1) or smallest (-1) of all errors, without what noise adds to it. */
static void extreme(const struct job *j, int sign, struct es_measured *m)
{
    const struct es_stairs *s = &j->stairs;
    size_t at = 0;
    double u = s->u, doubt;
    for (size_t i = 0; i < s->count; i++) {
        if (sign * s->readings[i].error > sign * s->readings[at].error)
            at = i;
    }
    double most = sign * s->readings[at].error;
    double shift = 1 + fabs(most) + 10 * u; /* keeps all figures of interest above 0 */
    for (size_t i = 0; i < s->count; i++)
        j->work[i] = sign * s->readings[i].error + shift;
    double value = es_without_excess(j->work, s->count, most + shift, u, &doubt) - shift;
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_REPEAT, hypot(doubt, s->readings[at].u_moved), INFINITY);
    calibration(j, &s->readings[at], &b);
    es_measured_set(m, sign * value, &b);
    es_outputs_from(m, 0, 1, s->readings[at].first, s->readings[at].last);
}

static void errors(const struct job *j, struct es_measured *out)
{
    if (!j->in.span.placed) {
        es_outputs_refuse(out, LARGEST, OUTPUTS, "where the span lies is not known: no value for \"%.40s\"",
                          j->s->response_low);
        es_measured_refuse(&out[INACCURACY], "%s", out[LARGEST].reason);
        return;
    }
    extreme(j, 1, &out[LARGEST]);
    extreme(j, -1, &out[SMALLEST]);
    const struct es_measured *worse =
        fabs(out[LARGEST].value) >= fabs(out[SMALLEST].value) ? &out[LARGEST] : &out[SMALLEST];
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_REPEAT, worse->u_repeat, worse->dof_repeat);
    es_budget_add(&b, ES_TERM_COMMON, worse->u_common, worse->dof_common);
    es_measured_set(&out[INACCURACY], fabs(worse->value), &b);
    es_outputs_from(out, INACCURACY, INACCURACY + 1, worse->first, worse->last);
}

static void linearity(const struct job *j, struct es_measured *out)
{
    const struct es_stairs *s = &j->stairs;
    size_t n = s->point_count;
    double *x = j->x, *y = j->work, u = 0, terminal = 0, doubt;
    for (size_t i = 0; i < n; i++) {
        x[i] = s->points[i].demand;
        y[i] = x[i] + s->points[i].error;
        u = fmax(u, s->points[i].u);
    }
    double slope = (y[n - 1] - y[0]) / (x[n - 1] - x[0]);
    for (size_t i = 0; i < n; i++)
        terminal = fmax(terminal, fabs(y[i] - y[0] - slope * (x[i] - x[0])));
    struct es_minimax_line best;
    double gain = es_trace_series(j->in.trace, j->in.response)->u.gain;
    /* a point and the line through two others: variances 1 + 1/2; three points share the best line: at least
     * 1/4 + 1/16 + 1/16; a line through one end: in between */
    double v = es_without_noise(terminal, sqrt(1.5) * u, n, &doubt);
    set(&out[TERMINAL], v, doubt, gain * v);
    if (es_minimax_line(x, y, n, &best)) {
        v = es_without_noise(best.deviation, 0.65 * u, n, &doubt);
        set(&out[INDEPENDENT], v, doubt, gain * v);
    }
    if (es_minimax_line_through(x, y, n, x[0], y[0], &best)) {
        v = es_without_noise(best.deviation, u, n, &doubt);
        set(&out[ZERO_BASED], v, doubt, gain * v);
    }
}

static void directions(const struct job *j, struct es_measured *out)
{
    const struct es_stairs *s = &j->stairs;
    double apart = 0, u_apart = 0, range = 0, u_range = 0, doubt;
    double gain = es_trace_series(j->in.trace, j->in.response)->u.gain;
    size_t n = 0, repeated = 0;
    for (size_t i = 0; i < s->point_count; i++) {
        const struct es_stair_point *p = &s->points[i];
        if (p->ups > 1 || p->downs > 1) {
            repeated++;
            range = fmax(range, p->range);
            u_range = fmax(u_range, p->u_range);
        }
        if (p->ups == 0 || p->downs == 0)
            continue;
        j->work[n++] = fabs(p->down - p->up);
        apart = fmax(apart, fabs(p->down - p->up));
        u_apart = fmax(u_apart, hypot(p->u_up, p->u_down));
    }
    if (n > 0) {
        double v = es_without_excess(j->work, n, apart, u_apart, &doubt);
        /* how many of them could have been the largest is a guess */
        set(&out[HYSTERESIS], v, hypot(doubt, (apart - v) / 2), gain * v);
    } else {
        es_measured_refuse(&out[HYSTERESIS], "no demand was reached both rising and falling");
    }
    if (repeated > 0) { /* two readings differ by noise sqrt(2) times that of one */
        double v = es_without_noise(range, sqrt(2.0) * u_range, 2 * repeated, &doubt);
        set(&out[REPEATABILITY], v, doubt, gain * v);
    } else {
        es_measured_refuse(&out[REPEATABILITY],
                           "one cycle only: no demand was reached twice from the same side");
    }
}

static void conclude(const struct job *j, struct es_measured *out)
{
    const struct es_stairs *s = &j->stairs;
    if (s->count == 0) {
        es_outputs_refuse(out, 0, OUTPUTS, "%s", s->reason);
        return;
    }
    es_outputs_from(out, 0, OUTPUTS, s->readings[0].first, s->readings[s->count - 1].last);
    directions(j, out);
    double cover = s->points[s->point_count - 1].demand - s->points[0].demand;
    if (s->point_count < LEAST_POINTS || cover < LEAST_COVER) {
        es_outputs_refuse(out, INACCURACY, HYSTERESIS,
                          "the stairs have %zu points over %.0f %% of the span; at least %d over %.0f %%",
                          s->point_count, 100 * cover, LEAST_POINTS, 100 * LEAST_COVER);
        es_outputs_refuse(out, LARGEST, OUTPUTS, "%s", out[INACCURACY].reason);
        return;
    }
    errors(j, out);
    linearity(j, out);
}

static bool find_spans(struct job *j, const struct es_facts *facts, char reason[static 160])
{
    const struct settings *s = j->s;
    return es_span_find(facts, s->demand_low, s->demand_high, es_channel_dimension(j->in.trace, j->in.demand),
                        &j->in.demand_span, reason) &&
           es_span_find(facts, s->response_low, s->response_high,
                        es_channel_dimension(j->in.trace, j->in.response), &j->in.span, reason);
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    const struct settings *s = settings;
    struct job j = {.s = s,
                    .in = {.trace = traces[0],
                           .demand = (enum es_role)s->demand,
                           .read_back = (enum es_role)s->read_back,
                           .response = (enum es_role)s->response,
                           .settle = s->settle,
                           .still = s->still}};
    char reason[160];
    es_outputs_start(outputs, OUTPUTS, ES_DIM_RATIO, j.in.response, out);
    if (!es_trace_series(traces[0], j.in.response)) {
        es_outputs_refuse(out, 0, OUTPUTS, "the recording has no series of the response");
        return ES_OK;
    }
    if (!find_spans(&j, facts, reason)) {
        es_outputs_refuse(out, 0, OUTPUTS, "%s", reason);
        return ES_OK;
    }
    enum es_status status = es_stairs_find(&j.in, &j.stairs, err);
    if (status != ES_OK)
        return status;
    j.work = calloc(j.stairs.count + 1, sizeof *j.work);
    j.x = calloc(j.stairs.count + 1, sizeof *j.x);
    if (j.work && j.x)
        conclude(&j, out);
    else
        status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", j.stairs.count);
    free(j.work);
    free(j.x);
    es_stairs_free(&j.stairs);
    return status;
}

const struct es_measure es_measure_staircase = {
    .name = "staircase",
    .meaning = "inaccuracy, linearity, hysteresis and repeatability over climbing and descending stairs",
    .source = "IEC 61298-2, terms second-hand, formulas from memory",
    .trace_names = trace_names,
    .facts_needed = es_no_facts,
    .facts_used = (const char *const[]){"full travel", NULL},
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
