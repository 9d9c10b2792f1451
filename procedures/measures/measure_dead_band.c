/* Dead band and resolution of a response to small steps of a demand.
 *
 * Dead band: "range through which the input can be varied, upon reversal of direction, without initiating an
 * observable change in output" (terms of the control valve standards, read), as share of the demand's span.
 * Resolution: smallest step in one direction that gives an observable movement (from memory).
 *
 * Each hold of the demand is a reading of the response at rest. Once the response has moved one way, the
 * demand stands at an edge; how far the demand then goes back from that edge without a movement bounds the
 * dead band from below, the next larger excursion that moves it bounds it from above. The value is the middle
 * of the two bounds, the distance between them its uncertainty (a rectangle): no model of friction or play is
 * needed, and small steps make it small. A response that sticks follows a small step now and then, and not a
 * larger one another time: the largest width that was seen to move nothing counts, and the larger of the two
 * directions, as the largest of several readings does in IEC 61298-2. Observable: more than `movement` of the
 * response's span, and more than noise and steps of the reading can be: what moved less may have moved by so
 * much, which widens the lower bound. Own method, common practice, no published source.
 *
 * A closed-centre unit creeps at rest and puts itself right now and then. The creep, median of the slopes
 * over the holds, is taken off what moved from hold to hold. A movement that no change of the demand can have
 * caused starts the reckoning anew from there, and so does a hold in which the response did not come to rest;
 * more than MOST_ALONE of the holds, and nothing is judged.
 *
 * Wanted: an approach of several per cent one way, then reversals that grow; at the end one that surely moves
 * it. Refused: no movement at all, no reversal that moved it, a response that keeps moving without or
 * against the demand, readings not at rest, a demand coarser than its own steps. */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>

#include "procedures/measures/measures.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/propagate.h"
#include "procedures/measures/stairs.h"

enum { DEAD_BAND, RESOLUTION, OUTPUTS };
#define MOST_ALONE  0.15 /* share of the holds */
#define SAME        0.5  /* of what counts as a movement: widths nearer than this are one */
#define LEAST_HOLDS 8    /* below, creep is not told */
#define STANDS_OUT  2.5  /* standard uncertainties */
#define CERTAIN     4.0  /* standard uncertainties of a difference of two readings: more is a movement */

struct settings {
    int demand, read_back, response;
    double settle, still, movement;
    char *demand_low, *demand_high, *response_low, *response_high;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("demand", struct settings, demand, false, "loop demand", "its writes are the steps"),
    ES_ROLE_SETTING("read-back", struct settings, read_back, false, "loop current",
                    "what the demand really was, where it was recorded"),
    ES_ROLE_SETTING("response", struct settings, response, false, "travel", "what answers"),
    ES_QUANTITY_SETTING("settle", struct settings, settle, ES_DIM_TIME, 0, 3600, "2 s",
                        "left out after each write; writes that follow sooner are one movement"),
    ES_QUANTITY_SETTING("still", struct settings, still, ES_DIM_RATIO, 1e-5, 0.1, "0.1 %",
                        "movement over a hold, of span, above which it has not settled"),
    ES_QUANTITY_SETTING("movement", struct settings, movement, ES_DIM_RATIO, 1e-5, 0.05, "0.05 %",
                        "change of the response, of its span, that counts as a movement"),
    ES_TEXT_SETTING("demand low", struct settings, demand_low, "loop low", "fact: lower end of the demand"),
    ES_TEXT_SETTING("demand high", struct settings, demand_high, "loop high",
                    "fact: upper end of the demand"),
    ES_TEXT_SETTING("response low", struct settings, response_low, "lower end",
                    "fact: response at the lower end of the demand"),
    ES_TEXT_SETTING("response high", struct settings, response_high, "upper end",
                    "fact: response at the upper end of the demand"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [DEAD_BAND] = {"dead band", ES_DIM_RATIO, "change of demand on reversal that moves nothing, of its span"},
    [RESOLUTION] = {"resolution", ES_DIM_RATIO,
                    "smallest step in one direction that moves it, of the demand's span"},
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
    (void)output;
    const struct settings *s = settings;
    const struct es_fact *low = es_fact_find(facts, s->response_low),
                         *high = es_fact_find(facts, s->response_high);
    if (!u[s->response] || !low || !high || low->value == high->value)
        return NAN;
    return fmax(s->movement, u[s->response]->resolution / fabs(high->value - low->value)) / sqrt(3.0);
}

/* What is known of one width: no movement up to `silent`, a movement at `moved`, the least above the largest
 * that moved nothing. Shares of span. */
struct bracket {
    double quiet, silent, moved; /* largest width without a movement; less what may have moved unseen */
    size_t first, last;          /* samples of the movement */
};

enum kind { REVERSAL_DOWN, REVERSAL_UP, ONWARD };

/* A hold that says something of a width. */
struct event {
    enum kind kind;
    bool moved;
    double width;
    size_t first, last;
};

/* The walk over the holds. */
struct walk {
    struct event *events; /* room for one a hold */
    size_t event_count;
    double threshold;
    double edge;  /* demand at which the response moved last */
    double level; /* response there, share of span */
    int side;     /* direction of that movement, 0: none yet */
    double creep; /* share of span a second, at rest */
    double t;     /* s: of the reading before */
    size_t alone; /* movements that no change of the demand caused */
};

static void note(struct walk *w, enum kind kind, bool moved, double width, const struct es_stair_reading *r)
{
    w->events[w->event_count++] = (struct event){kind, moved, width, r->first, r->last};
}

static struct bracket bracket_of(const struct walk *w, enum kind kind)
{
    struct bracket b = {.moved = INFINITY};
    for (size_t i = 0; i < w->event_count; i++) {
        const struct event *e = &w->events[i];
        if (e->kind == kind && !e->moved)
            b.quiet = fmax(b.quiet, e->width);
    }
    b.silent = fmax(0, b.quiet - w->threshold);
    for (size_t i = 0; i < w->event_count; i++) {
        const struct event *e = &w->events[i];
        if (e->kind == kind && e->moved && e->width > b.quiet + SAME * w->threshold && e->width < b.moved) {
            b.moved = e->width;
            b.first = e->first;
            b.last = e->last;
        }
    }
    return b;
}

static double share_of(const struct es_stair_reading *r)
{
    return r->demand + r->error;
}

static void step(struct walk *w, const struct es_stair_reading *r, double demand)
{
    w->level += w->creep * (r->t - w->t);
    w->t = r->t;
    double moved = share_of(r) - w->level, ahead = (demand - w->edge) * w->side;
    int way = moved > w->threshold ? 1 : moved < -w->threshold ? -1 : 0;
    if (w->side == 0 && way == 0)
        return;
    if (way == 0) { /* nothing moved */
        if (ahead != 0)
            note(w, ahead > 0 ? ONWARD : w->side < 0 ? REVERSAL_UP : REVERSAL_DOWN, false, fabs(ahead), r);
        return;
    }
    if (r->unsettled_before) { /* which of the two changes of the demand moved it is not known */
    } else if (w->side != 0 && (way == w->side ? ahead <= 0 : ahead >= 0))
        w->alone++;
    else if (w->side != 0)
        note(w, way == w->side ? ONWARD : way > 0 ? REVERSAL_UP : REVERSAL_DOWN, true, fabs(ahead), r);
    w->side = way;
    w->edge = demand;
    w->level = share_of(r);
}

static void set(struct es_measured *m, const struct bracket *b, double u_other)
{
    const double low = b->silent, high = b->moved;
    struct es_budget budget = {0};
    es_budget_add(&budget, ES_TERM_REPEAT, es_rectangular(0.5 * (high - low)), INFINITY);
    es_budget_add(&budget, ES_TERM_REPEAT, sqrt(2.0) * u_other, INFINITY);
    es_measured_set(m, 0.5 * (low + high), &budget);
    es_model_sum(m, &budget, ES_TERM_REPEAT, 0.5 * (high - low)); /* no wider than the two bounds */
    m->first = b->first;
    m->last = b->last;
}

/* Noise of two readings and steps of the reading: what can look like a movement, share of span. */
static double threshold_of(const struct settings *s, const struct es_stairs *stairs, double resolution)
{
    return fmax(s->movement, CERTAIN * sqrt(2.0) * stairs->u + resolution);
}

static void conclude(const struct walk *w, const struct es_stairs *stairs, double largest, double u_other,
                     struct es_measured *out)
{
    const size_t restless = w->alone + stairs->unsettled, holds = stairs->count + stairs->unsettled;
    if ((double)restless > MOST_ALONE * (double)holds) {
        es_outputs_refuse(
            out, 0, OUTPUTS,
            "the response moves without the demand in %zu of %zu holds: it does not rest between "
            "the steps",
            restless, holds);
        return;
    }
    if (w->side == 0) {
        es_outputs_refuse(out, 0, OUTPUTS, "nothing moved the response by more than %.2f %% of its span",
                          100 * w->threshold);
        return;
    }
    const struct bracket down = bracket_of(w, REVERSAL_DOWN), up = bracket_of(w, REVERSAL_UP),
                         onward = bracket_of(w, ONWARD);
    const bool falling =
        !isfinite(up.moved) || (isfinite(down.moved) && down.moved + down.silent > up.moved + up.silent);
    const struct bracket *more = falling ? &down : &up;
    if (isfinite(more->moved))
        set(&out[DEAD_BAND], more, u_other);
    else
        es_measured_refuse(&out[DEAD_BAND], "no reversal moved the response: the largest was %.2f %%",
                           100 * largest);
    if (isfinite(onward.moved))
        set(&out[RESOLUTION], &onward, u_other);
    else
        es_measured_refuse(&out[RESOLUTION], "no step moved the response further the way it had moved last");
}

/* Median of the slopes over the holds, share of span a second; 0 where it does not stand out of their scatter
 * (1.4826: median deviation to standard deviation; 1.25: median's uncertainty to the mean's; both for a
 * normal distribution). */
static enum es_status creep_of(const struct es_stairs *stairs, double *creep, struct es_error *err)
{
    const size_t n = stairs->count;
    double *slopes = malloc((n + 1) * sizeof *slopes);
    if (!slopes)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu holds.", n);
    for (size_t i = 0; i < n; i++)
        slopes[i] = stairs->readings[i].drift;
    const double middle = es_median(slopes, n);
    for (size_t i = 0; i < n; i++)
        slopes[i] = fabs(stairs->readings[i].drift - middle);
    const double u = 1.25 * 1.4826 * es_median(slopes, n) / sqrt((double)n);
    *creep = n >= LEAST_HOLDS && fabs(middle) > STANDS_OUT * u ? middle : 0;
    free(slopes);
    return ES_OK;
}

/* Walks over the holds; `largest`: excursion of the demand back from an edge. */
static enum es_status walk_over(const struct settings *s, const struct es_stairs_input *in,
                                const struct es_stairs *stairs, struct es_measured *out, struct es_error *err)
{
    double resolution = es_trace_series(in->trace, in->response)->u.resolution / fabs(in->span.size);
    struct walk w = {.threshold = threshold_of(s, stairs, resolution), .t = stairs->readings[0].t};
    enum es_status status = creep_of(stairs, &w.creep, err);
    if (status != ES_OK)
        return status;
    w.events = calloc(stairs->count, sizeof *w.events);
    if (!w.events)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu holds.", stairs->count);
    double largest = 0, u_demand = 0;
    w.level = share_of(&stairs->readings[0]);
    w.edge = es_span_share(&in->demand_span, stairs->readings[0].current);
    for (size_t i = 1; i < stairs->count; i++) {
        const struct es_stair_reading *r = &stairs->readings[i];
        double demand = es_span_share(&in->demand_span, r->current);
        largest = fmax(largest, -(demand - w.edge) * w.side);
        step(&w, r, demand);
    }
    const struct es_series *read_back = es_trace_series(in->trace, in->read_back);
    if (read_back)
        u_demand = es_resolution_u(read_back->u.resolution, 0) / fabs(in->demand_span.size);
    /* noise can hide a movement, or make one */
    conclude(&w, stairs, largest, hypot(u_demand, stairs->u), out);
    free(w.events);
    return ES_OK;
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    const struct settings *s = settings;
    struct es_stairs_input in = {.trace = traces[0],
                                 .demand = (enum es_role)s->demand,
                                 .read_back = (enum es_role)s->read_back,
                                 .response = (enum es_role)s->response,
                                 .settle = s->settle,
                                 .still = s->still,
                                 .all = true,
                                 .pass_over = true};
    struct es_stairs stairs;
    char reason[160];
    es_outputs_start(outputs, OUTPUTS, ES_DIM_RATIO, in.response, out);
    if (!es_trace_series(in.trace, in.response)) {
        es_outputs_refuse(out, 0, OUTPUTS, "the recording has no series of the response");
        return ES_OK;
    }
    if (!es_span_find(facts, s->demand_low, s->demand_high, es_channel_dimension(in.trace, in.demand),
                      &in.demand_span, reason) ||
        !es_span_find(facts, s->response_low, s->response_high, es_channel_dimension(in.trace, in.response),
                      &in.span, reason)) {
        es_outputs_refuse(out, 0, OUTPUTS, "%s", reason);
        return ES_OK;
    }
    enum es_status status = es_stairs_find(&in, &stairs, err);
    if (status != ES_OK)
        return status;
    if (stairs.count == 0)
        es_outputs_refuse(out, 0, OUTPUTS, "%s", stairs.reason);
    else
        status = walk_over(s, &in, &stairs, out, err);
    es_stairs_free(&stairs);
    return status;
}

const struct es_measure es_measure_dead_band = {
    .name = "dead band",
    .meaning = "how far the demand can be reversed before anything moves",
    .source = "ISA and IEC terms, read; estimator: common practice, no published source",
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
