/* Lever geometry: what the mounting makes of a straight stem, from the shaft's angle at both ends and the
 * travel (lever.h: elementary geometry, no published table found).
 *   non-linearity          largest difference between the angle's share and the stem's share of their spans,
 *                          terminal-based: what a perfect sensor would show all the same
 *   angle low, angle high  shaft angle at the lower and upper end
 *   lever length           from travel and angles
 *   pin offset             how far the middle of the travel lies above the place where the lever is square to
 *                          the stem: move the follower pin by so much along the stem, towards the lower end
 *                          where it is positive, towards the upper end where it is negative
 * Ends: with the slots "up" and "down" their mean levels; else the holds of `demand` in "recording", at its
 * largest and smallest value. Angles count from the encoder's zero, which has to be where the lever is
 * square. Where the fact `lever` is known it must agree with the length found (|E_n| <= 1 with `most misfit`
 * of the length as further uncertainty): else the linkage is another one and length and offset are refused.
 * Refused besides: no rest at an end, angles beyond 80 deg or not apart, a travel that is an angle (no lever
 * there). Uncertainty by varying each input (JCGM 100:2008 5.1.3 note 2). */
#include <math.h>
#include <stddef.h>
#include <stdio.h>

#include "procedures/measures/holds.h"
#include "procedures/measures/lever.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/rest_level.h"

enum { NON_LINEARITY, ANGLE_LOW, ANGLE_HIGH, PIN_OFFSET, LENGTH, OUTPUTS };
enum { SLOT_RECORDING, SLOT_UP, SLOT_DOWN };

struct settings {
    int angle, travel, demand, linkage;
    double settle, misfit, still;
    char *lever;
};

static const char *const linkages[] = {"slotted lever", "slotted stem", NULL};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("angle", struct settings, angle, false, "shaft angle", "the angle of the unit's shaft"),
    ES_ROLE_SETTING("travel", struct settings, travel, false, "travel", "the stem's travel"),
    ES_ROLE_SETTING("demand", struct settings, demand, false, "loop demand",
                    "its writes drive to the ends, in one recording"),
    ES_CHOICE_SETTING("linkage", struct settings, linkage, linkages, "slotted lever",
                      "which part has the slot that the follower pin runs in"),
    ES_QUANTITY_SETTING("settle", struct settings, settle, ES_DIM_TIME, 0, 3600, "3 s",
                        "left out after each write, in one recording"),
    ES_QUANTITY_SETTING("still", struct settings, still, ES_DIM_RATIO, 1e-5, 0.1, "0.5 %",
                        "movement at an end, of the whole, above which it has not settled"),
    ES_QUANTITY_SETTING("most misfit", struct settings, misfit, ES_DIM_RATIO, 0, 0.5, "3 %",
                        "of the lever's length: what a drawing's figure may be off, standard uncertainty"),
    ES_TEXT_SETTING("lever", struct settings, lever, "lever length", "fact: the lever's length, where known"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [NON_LINEARITY] = {"non-linearity", ES_DIM_RATIO, "caused by the mounting, of span, terminal-based"},
    [ANGLE_LOW] = {"angle low", ES_DIM_ANGLE, "shaft angle at the lower end"},
    [ANGLE_HIGH] = {"angle high", ES_DIM_ANGLE, "shaft angle at the upper end"},
    [PIN_OFFSET] =
        {"pin offset", ES_DIM_LENGTH,
         "middle of the travel above the square lever: positive, move the pin towards the lower end"},
    [LENGTH] = {"lever length", ES_DIM_LENGTH, "from travel and angles"},
};

static const char *const trace_names[] = {"recording", "up", "down", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    const struct settings *s = settings;
    out[0] = (enum es_role)s->angle;
    out[1] = (enum es_role)s->travel;
    return 2;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)facts;
    const struct settings *s = settings;
    bool angle = output == ANGLE_LOW || output == ANGLE_HIGH;
    return angle ? es_expected_level_u(u[s->angle], 1, 0) : NAN;
}

/* One end: where angle and travel rest. */
struct end {
    struct es_rest angle, travel;
};

static enum es_status take_end(const struct settings *s, const struct es_trace *trace, double from, double to,
                               struct end *e, struct es_error *err)
{
    enum es_status status = es_rest_take(trace, (enum es_role)s->angle, from, to, &e->angle, err);
    if (status == ES_OK)
        status = es_rest_take(trace, (enum es_role)s->travel, from, to, &e->travel, err);
    return status;
}

/* Ends [0] lower, [1] upper; false with a reason. */
static enum es_status take_ends(const struct settings *s, const struct es_trace *const *traces,
                                struct end ends[2], bool *good, char reason[static 160], struct es_error *err)
{
    *good = true;
    if (traces[SLOT_UP] && traces[SLOT_DOWN]) {
        enum es_status status = take_end(s, traces[SLOT_DOWN], -INFINITY, INFINITY, &ends[0], err);
        return status == ES_OK ? take_end(s, traces[SLOT_UP], -INFINITY, INFINITY, &ends[1], err) : status;
    }
    *good = traces[SLOT_RECORDING] != NULL;
    if (!*good) {
        snprintf(reason, 160, "neither a recording of strokes nor both \"up\" and \"down\"");
        return ES_OK;
    }
    struct es_holds holds;
    const struct es_trace *trace = traces[SLOT_RECORDING];
    double end = es_series_end(es_trace_series(trace, (enum es_role)s->angle));
    enum es_status status = es_holds_find(trace, (enum es_role)s->demand, s->settle, end, &holds, err);
    if (status != ES_OK)
        return status;
    const struct es_hold *low = NULL, *high = NULL;
    for (size_t i = 0; i < holds.count; i++) {
        const struct es_hold *h = &holds.items[i];
        if (!low || h->demand <= low->demand)
            low = h;
        if (!high || h->demand >= high->demand)
            high = h;
    }
    *good = low && high && low->demand < high->demand;
    if (!*good)
        snprintf(reason, 160, "the demand does not hold at two ends for more than %.1f s", s->settle);
    if (*good)
        status = take_end(s, trace, low->from + s->settle, low->to, &ends[0], err);
    if (*good && status == ES_OK)
        status = take_end(s, trace, high->from + s->settle, high->to, &ends[1], err);
    es_holds_free(&holds);
    return status;
}

static bool settled(const struct settings *s, const struct end ends[2], char reason[static 160])
{
    const struct es_rest *rests[2][2] = {{&ends[0].angle, &ends[1].angle},
                                         {&ends[0].travel, &ends[1].travel}};
    for (int k = 0; k < 2; k++)
        for (int i = 0; i < 2; i++)
            if (!rests[k][i]->valid) {
                snprintf(reason, 160, "%s end: %.130s", i ? "upper" : "lower", rests[k][i]->reason);
                return false;
            }
    for (int k = 0; k < 2; k++) {
        double whole = fabs(rests[k][1]->p.mean - rests[k][0]->p.mean);
        for (int i = 0; i < 2; i++)
            if (rests[k][i]->surely > s->still * whole) {
                snprintf(reason, 160, "%s end: not at rest: moving by %.1f %% of the whole",
                         i ? "upper" : "lower", 100 * rests[k][i]->surely / whole);
                return false;
            }
    }
    return true;
}

static void set_angle(const struct es_rest *r, struct es_measured *m)
{
    struct es_budget b = {0};
    es_rest_noise(&b, r, 1);
    es_channel_terms(&b, &r->series->u, 1, r->p.mean, 1);
    es_measured_set(m, r->p.mean, &b);
    es_outputs_from(m, 0, 1, r->first, r->last);
}

/* Inputs of the lever and how each can be off. */
struct inputs {
    double low, high, travel;
};

struct variation {
    struct inputs by;
    enum es_term term;
};

static void figures(enum es_linkage linkage, const struct inputs *x, double out[static OUTPUTS])
{
    struct es_lever l;
    bool any = es_lever_of(linkage, x->low, x->high, x->travel, &l);
    out[NON_LINEARITY] = any ? l.non_linearity : NAN;
    out[PIN_OFFSET] = any ? l.pin_offset : NAN;
    out[LENGTH] = any ? l.length : NAN;
}

static bool agrees(const struct settings *s, const struct es_facts *facts, const struct es_measured *length,
                   char reason[static 160])
{
    const struct es_fact *known = es_fact_find(facts, s->lever);
    if (!known || !isfinite(known->value) || !length->valid)
        return true;
    double U = 2 * hypot(length->u, hypot(known->u, s->misfit * known->value));
    if (fabs(length->value - known->value) <= U)
        return true;
    snprintf(
        reason, 160,
        "travel and angles make a lever of %.1f mm, known are %.1f mm: the linkage is another one, or the "
        "shaft slips",
        1e3 * length->value, 1e3 * known->value);
    return false;
}

static void conclude(const struct settings *s, const struct end ends[2], const struct es_facts *facts,
                     struct es_measured *out)
{
    enum es_linkage linkage = (enum es_linkage)s->linkage;
    const struct es_channel_uncertainty *ua = &ends[0].angle.series->u, *ut = &ends[0].travel.series->u;
    struct inputs x = {ends[0].angle.p.mean, ends[1].angle.p.mean,
                       ends[1].travel.p.mean - ends[0].travel.p.mean};
    double u_travel = hypot(es_rest_u(&ends[0].travel), es_rest_u(&ends[1].travel));
    const struct variation vary[] = {
        {{es_rest_u(&ends[0].angle), 0, 0}, ES_TERM_REPEAT},
        {{0, es_rest_u(&ends[1].angle), 0}, ES_TERM_REPEAT},
        {{0, 0, u_travel}, ES_TERM_REPEAT},
        {{ua->repeatability, ua->repeatability, 0}, ES_TERM_REPEAT},
        {{ua->offset, ua->offset, 0}, ES_TERM_COMMON},
        {{ua->gain * x.low, ua->gain * x.high, 0}, ES_TERM_COMMON},
        {{0, 0, ut->gain * x.travel}, ES_TERM_COMMON},
    };
    static const int derived[] = {NON_LINEARITY, PIN_OFFSET, LENGTH};
    double at[OUTPUTS], varied[OUTPUTS];
    struct es_budget b[OUTPUTS] = {0};
    figures(linkage, &x, at);
    if (!isfinite(at[NON_LINEARITY])) {
        es_outputs_refuse(out, 0, OUTPUTS,
                          "angles of %.1f and %.1f deg at the ends: no lever works like this",
                          x.low * 180 / acos(-1), x.high * 180 / acos(-1));
        return;
    }
    for (size_t k = 0; k < sizeof vary / sizeof vary[0]; k++) {
        double most[OUTPUTS] = {0};
        for (int sign = -1; sign <= 1; sign += 2) { /* both ways: the larger of two lobes has a kink */
            struct inputs y = {x.low + sign * vary[k].by.low, x.high + sign * vary[k].by.high,
                               x.travel + sign * vary[k].by.travel};
            figures(linkage, &y, varied);
            for (int i = 0; i < 3; i++)
                most[derived[i]] = fmax(most[derived[i]], fabs(varied[derived[i]] - at[derived[i]]));
        }
        for (int i = 0; i < 3; i++)
            es_budget_add(&b[derived[i]], vary[k].term, most[derived[i]], INFINITY);
    }
    set_angle(&ends[0].angle, &out[ANGLE_LOW]);
    set_angle(&ends[1].angle, &out[ANGLE_HIGH]);
    for (int i = 0; i < 3; i++) {
        es_measured_set(&out[derived[i]], at[derived[i]], &b[derived[i]]);
        es_outputs_from(&out[derived[i]], 0, 1, ends[1].angle.first, ends[1].angle.last);
    }
    char reason[160];
    if (!agrees(s, facts, &out[LENGTH], reason)) {
        es_measured_refuse(&out[PIN_OFFSET], "%s", reason);
        es_measured_refuse(&out[LENGTH], "%s", reason);
    }
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    const struct settings *s = settings;
    struct end ends[2];
    bool good;
    char reason[160];
    es_outputs_start(outputs, OUTPUTS, ES_DIM_ANGLE, (enum es_role)s->angle, out);
    enum es_status status = take_ends(s, traces, ends, &good, reason, err);
    if (status != ES_OK)
        return status;
    if (!good || !settled(s, ends, reason))
        es_outputs_refuse(out, 0, OUTPUTS, "%s", reason);
    else if (ends[0].travel.series->dimension != ES_DIM_LENGTH)
        es_outputs_refuse(out, 0, OUTPUTS, "the travel is an angle: there is no lever");
    else
        conclude(s, ends, facts, out);
    return ES_OK;
}

const struct es_measure es_measure_lever_geometry = {
    .name = "lever geometry",
    .meaning = "what the mounting of the lever makes of the stem, and which way to move its pin",
    .source = "elementary geometry; terminal-based as commonly stated for IEC 61298-2, from memory",
    .trace_names = trace_names,
    .facts_needed = es_no_facts,
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
