#include "procedures/judgement/judge.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/numeric/student.h"
#include "procedures/measures/propagate.h"

/* P(T > t), without the loss of digits of 1 - P(T <= t). */
static double upper_tail(double t, double dof)
{
    return es_t_cumulative(-t, dof);
}

double es_false_acceptance(double value, double u, double dof, double lower, double upper)
{
    if (u == 0) {
        return value >= lower && value <= upper ? 0 : 1;
    }
    double above = isinf(upper) ? 0 : upper_tail((upper - value) / u, dof);
    double below = isinf(lower) ? 0 : upper_tail((value - lower) / u, dof);
    return fmin(above + below, 1);
}

double es_conformance_probability(double value, double u, double dof, double lower, double upper)
{
    if (u == 0 || (value >= lower && value <= upper)) {
        return 1 - es_false_acceptance(value, u, dof, lower, upper);
    }
    /* Outside: the difference of two small tails keeps the digits that 1 - P would lose. */
    double near = value > upper ? (value - upper) / u : (lower - value) / u;
    double far = value > upper ? (value - lower) / u : (upper - value) / u;
    return upper_tail(near, dof) - (isinf(far) ? 0 : upper_tail(far, dof));
}

static bool is_inside(double value, double lower, double upper)
{
    return value >= lower && value <= upper;
}

/* Guard bands: how far the acceptance limits lie inside the tolerance limits, and where what is surely
 * outside begins. Upper and lower differ where the distribution is not symmetric. */
struct bands {
    double upper, lower;                 /* inwards; negative: beyond the limit */
    double upper_outside, lower_outside; /* outwards */
};

/* [rule:guard-band] w = guard_factor * U (ILAC-G8:09/2019 4.2.2: U for 95 %), or from a chosen risk. What
 * counts is the value's own end on that side: the upper one where too large a value would be accepted, the
 * lower one where a value is to be surely above the limit. */
static struct bands bands_of(const struct es_measured *m, const struct es_limit *limit)
{
    double factor = limit->guard_factor, up = m->U, down = up;
    if (limit->rule == ES_RULE_SIMPLE) {
        return (struct bands){0};
    }
    if (limit->guard_risk > 0) {
        factor = 1;
        up = down = es_t_quantile(1 - limit->guard_risk, m->dof) * m->u;
        if (m->spread.trials > 0) {
            up = es_spread_quantile(&m->spread, 1 - limit->guard_risk) - m->value;
            down = m->value - es_spread_quantile(&m->spread, limit->guard_risk);
        }
    } else if (m->spread.trials > 0) {
        up = m->spread.high - m->value;
        down = m->value - m->spread.low;
    }
    if (factor < 0) {
        return (struct bands){factor * down, factor * up, -factor * down, -factor * up};
    }
    return (struct bands){factor * up, factor * down, factor * down, factor * up};
}

/* [rule:simple] JCGM 106:2012 8.2, ILAC-G8:09/2019 4.2.1: the acceptance limits are the tolerance limits. */
static enum es_verdict simple_verdict(double value, const struct es_limit *limit)
{
    return is_inside(value, limit->lower, limit->upper) ? ES_PASS : ES_FAIL;
}

static bool is_accepted(double value, const struct bands *w, const struct es_limit *limit)
{
    return is_inside(value, limit->lower + w->lower, limit->upper - w->upper);
}

static bool may_be_inside(double value, const struct bands *w, const struct es_limit *limit)
{
    return is_inside(value, limit->lower - w->lower_outside, limit->upper + w->upper_outside);
}

/* What w leaves: nothing between two limits, or less than half of what a single one allows from zero on (the
 * test uncertainty ratio below 1, at which the proof refuses a bench beforehand). */
static bool leaves_no_room(const struct bands *w, const struct es_limit *limit)
{
    if (isinf(limit->lower)) {
        return limit->upper != 0 && w->upper > fabs(limit->upper) / 2;
    }
    if (isinf(limit->upper)) {
        return limit->lower != 0 && w->lower > fabs(limit->lower) / 2;
    }
    return limit->lower + w->lower > limit->upper - w->upper;
}

/* [rule:guarded] JCGM 106:2012 8.3.2, ILAC-G8:09/2019 4.2.2: accepted inside TL moved inwards by w.
 * [rule:no-room] where w leaves no room a unit could hardly pass, so that only a value clearly outside says
 * something about the unit. */
static enum es_verdict guarded_verdict(double value, const struct bands *w, const struct es_limit *limit)
{
    if (is_accepted(value, w, limit)) {
        return ES_PASS;
    }
    return leaves_no_room(w, limit) && may_be_inside(value, w, limit) ? ES_NOT_TESTED : ES_FAIL;
}

/* [rule:non-binary] ILAC-G8:09/2019 4.2.3: the guard band counts on both sides of the tolerance limit. */
static enum es_verdict non_binary_verdict(double value, const struct bands *w, const struct es_limit *limit)
{
    if (is_accepted(value, w, limit)) {
        return ES_PASS;
    }
    if (is_inside(value, limit->lower, limit->upper)) {
        return ES_CONDITIONAL_PASS;
    }
    return may_be_inside(value, w, limit) ? ES_CONDITIONAL_FAIL : ES_FAIL;
}

static bool is_usable(const struct es_measured *m, const struct es_limit *limit)
{
    bool numbers =
        isfinite(m->value) && isfinite(m->u) && m->u >= 0 && isfinite(m->U) && m->U >= 0 && m->dof > 0;
    bool limits = limit->lower <= limit->upper && (isfinite(limit->lower) || isfinite(limit->upper));
    return numbers && limits && isfinite(limit->guard_factor) && limit->guard_risk >= 0 &&
           limit->guard_risk < 0.5;
}

/* [rule:own-distribution] JCGM 106:2012 7.2: the conformance probability is that of the value's distribution,
 * whatever it is. */
static void probabilities(const struct es_measured *m, const struct es_limit *limit, struct es_judgement *j)
{
    if (m->spread.trials == 0) {
        j->conformance = es_conformance_probability(m->value, m->u, m->dof, limit->lower, limit->upper);
        j->false_acceptance = es_false_acceptance(m->value, m->u, m->dof, limit->lower, limit->upper);
        return;
    }
    double below = isinf(limit->lower) ? 0 : es_spread_below(&m->spread, limit->lower);
    double above = isinf(limit->upper) ? 0 : es_spread_above(&m->spread, limit->upper);
    j->false_acceptance = fmin(below + above, 1);
    j->conformance = 1 - j->false_acceptance;
}

struct es_judgement es_judge_measured(const struct es_measured *m, const struct es_limit *limit)
{
    struct es_judgement j = {ES_NOT_TESTED, 0, NAN, NAN};
    if (!is_usable(m, limit)) {
        return j;
    }
    const struct bands w = bands_of(m, limit);
    bool low_side = fabs(m->value - limit->lower) < fabs(m->value - limit->upper);
    j.guard = low_side ? w.lower : w.upper;
    switch (limit->rule) {
    case ES_RULE_SIMPLE:
        j.verdict = simple_verdict(m->value, limit);
        break;
    case ES_RULE_GUARDED:
        j.verdict = guarded_verdict(m->value, &w, limit);
        break;
    case ES_RULE_NON_BINARY:
        j.verdict = non_binary_verdict(m->value, &w, limit);
        break;
    }
    probabilities(m, limit, &j);
    return j;
}

struct es_judgement es_judge(double value, double u, double dof, double U, const struct es_limit *limit)
{
    const struct es_measured m = {.value = value, .u = u, .dof = dof, .U = U};
    return es_judge_measured(&m, limit);
}

/* ---- Lines ---- */

#define AMOUNT_MAX 96

static void amount(double coherent, const struct es_limit *limit, char out[static AMOUNT_MAX])
{
    (void)es_quantity_format(coherent, limit->unit, limit->decimals, out, AMOUNT_MAX);
}

/* A distance between two values, in the limit's unit but without its offset (degC). */
static void distance(double coherent, const struct es_limit *limit, char out[static AMOUNT_MAX])
{
    (void)snprintf(out, AMOUNT_MAX, "%.*f%s%s", limit->decimals,
                   es_to_unit_difference(fabs(coherent), limit->unit), limit->unit->name[0] ? " " : "",
                   limit->unit->name);
}

/* Why a line did not simply pass, as one sentence for the person at the bench; NULL for a pass. */
static char *reason_text(double value, const struct es_judgement *j, const struct es_limit *limit)
{
    bool low_side = fabs(value - limit->lower) < fabs(value - limit->upper);
    double edge = low_side ? limit->lower : limit->upper;
    const char *side = low_side ? "lower" : "upper";
    char measured[AMOUNT_MAX];
    char bound[AMOUNT_MAX];
    char gap[AMOUNT_MAX];
    char band[AMOUNT_MAX];
    amount(value, limit, measured);
    amount(edge, limit, bound);
    distance(value - edge, limit, gap);
    distance(j->guard, limit, band);
    char *text = NULL;
    int n = 0;
    bool inside = is_inside(value, limit->lower, limit->upper);
    if (j->verdict == ES_NOT_TESTED) {
        n = asprintf(&text, "The uncertainty is too large for this limit: a guard band of %s leaves no room.",
                     band);
    } else if (j->verdict == ES_CONDITIONAL_FAIL) {
        n = asprintf(&text, "%s is %s the %s limit of %s, but by less than the guard band of %s.", measured,
                     low_side ? "below" : "above", side, bound, band);
    } else if (inside) {
        n = asprintf(&text, "%s is inside the %s limit of %s, but closer to it than the guard band of %s.",
                     measured, side, bound, band);
    } else {
        n = asprintf(&text, "%s is %s the %s limit of %s by %s.", measured, low_side ? "below" : "above",
                     side, bound, gap);
    }
    return n < 0 ? NULL : text;
}

/* [rule:global-risk] JCGM 106:2012 9.5: of the rule with this measurement, over all units as the type sheet
 * has them. A conditional pass counts as accepted: such a unit is used. */
static void global_risk(const struct es_measured *m, const struct es_limit *limit, struct es_line *line)
{
    if (limit->prior.kind == ES_PRIOR_NONE) {
        return;
    }
    struct bands w = bands_of(m, limit);
    if (limit->rule == ES_RULE_NON_BINARY) {
        w = (struct bands){0};
    }
    const struct es_interval tolerance = {limit->lower, limit->upper},
                             acceptance = {limit->lower + w.lower, limit->upper - w.upper};
    const struct es_global_risk risk = es_global_risk_of(&limit->prior, m->u, tolerance, acceptance);
    line->consumer_risk = risk.consumer;
    line->producer_risk = risk.producer;
}

static enum es_status start_line(const char *procedure, const char *measurand, const struct es_limit *limit,
                                 struct es_line *line, struct es_error *err)
{
    struct es_line made = {
        .false_acceptance = NAN, .consumer_risk = NAN, .producer_risk = NAN, .verdict = ES_NOT_TESTED};
    enum es_status st = es_limit_copy(limit, &made.limit, err);
    if (st != ES_OK) {
        return st;
    }
    made.procedure = strdup(procedure);
    made.measurand = strdup(measurand);
    if (!made.procedure || !made.measurand) {
        es_line_clear(&made);
        return es_fail(err, ES_NO_MEMORY, "no memory for the line \"%s\"", measurand);
    }
    *line = made;
    return ES_OK;
}

/* Takes `text` over. */
static enum es_status set_reason(struct es_line *line, char *text, struct es_error *err)
{
    if (!text) {
        es_line_clear(line);
        return es_fail(err, ES_NO_MEMORY, "no memory for the reason of a verdict");
    }
    line->reason = text;
    return ES_OK;
}

/* [rule:not-tested] What was not measured, or is no number, is not tested and says why; it never passes. */
enum es_status es_judge_line(const char *procedure, const char *measurand, const struct es_measured *value,
                             const struct es_limit *limit, struct es_line *line, struct es_error *err)
{
    if (!limit->unit || value->dimension != limit->unit->dimension) {
        return es_fail(err, ES_INTERNAL, "%s: the measured value is a %s, its limit \"%s\" a %s", measurand,
                       es_dimension_name(value->dimension), limit->name,
                       limit->unit ? es_dimension_name(limit->unit->dimension) : "thing without unit");
    }
    struct es_line made;
    enum es_status st = start_line(procedure, measurand, limit, &made, err);
    if (st != ES_OK) {
        return st;
    }
    made.value = *value;
    if (!value->valid) {
        const char *why = value->reason[0] ? value->reason : "The recording does not carry this value.";
        st = set_reason(&made, strdup(why), err);
    } else if (!is_usable(value, limit)) {
        made.value.valid = false;
        st = set_reason(&made, strdup("The measure gave no usable number."), err);
    } else {
        struct es_judgement j = es_judge_measured(value, limit);
        made.guard = j.guard;
        made.false_acceptance = j.false_acceptance;
        made.verdict = j.verdict;
        global_risk(value, limit, &made);
        if (j.verdict != ES_PASS) {
            st = set_reason(&made, reason_text(value->value, &j, limit), err);
        }
    }
    if (st == ES_OK) {
        *line = made;
    }
    return st;
}

enum es_status es_judge_not_tested(const char *procedure, const char *measurand, const struct es_limit *limit,
                                   const char *reason, struct es_line *line, struct es_error *err)
{
    struct es_line made;
    enum es_status st = start_line(procedure, measurand, limit, &made, err);
    if (st != ES_OK) {
        return st;
    }
    made.value.dimension = limit->unit ? limit->unit->dimension : ES_DIM_NUMBER;
    made.value.role = ES_ROLE_NONE;
    st = set_reason(&made, strdup(reason), err);
    if (st == ES_OK) {
        *line = made;
    }
    return st;
}

/* [rule:overall] design 04: pass only if every required line passes; not tested never passes. A conditional
 * fail outranks not tested: measuring the rest could not turn it into a pass. */
enum es_verdict es_judge_overall(const struct es_line *lines, size_t count)
{
    static const int rank[] = {[ES_PASS] = 0,
                               [ES_CONDITIONAL_PASS] = 1,
                               [ES_NOT_TESTED] = 2,
                               [ES_CONDITIONAL_FAIL] = 3,
                               [ES_FAIL] = 4};
    enum es_verdict worst = ES_PASS;
    size_t required = 0;
    for (size_t i = 0; i < count; i++) {
        if (!lines[i].limit.required) {
            continue;
        }
        required++;
        if (rank[lines[i].verdict] > rank[worst]) {
            worst = lines[i].verdict;
        }
    }
    return required ? worst : ES_NOT_TESTED;
}
