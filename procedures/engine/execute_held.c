/* Whether what a recording counts on ("throughout") held from its first sample to its last. What the bench
 * did not hold says nothing about the unit, so that nothing may be measured then. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "procedures/engine/execution.h"

/* What a person looks at first when the role was not held. */
static const char *part_of_bench(enum es_role role)
{
    switch (role) {
    case ES_ROLE_SUPPLY_PRESSURE:
    case ES_ROLE_SUPPLY_DEMAND:
    case ES_ROLE_SUPPLY_VALVE:
        return "the bench's supply";
    case ES_ROLE_LOOP_DEMAND:
    case ES_ROLE_LOOP_CURRENT:
    case ES_ROLE_LOOP_VOLTAGE:
        return "the bench's loop source and its wires";
    case ES_ROLE_OUTPUT_1_PRESSURE:
    case ES_ROLE_OUTPUT_1_ISOLATING:
    case ES_ROLE_OUTPUT_1_VENT:
        return "the bench's valves at output 1";
    case ES_ROLE_OUTPUT_2_PRESSURE:
    case ES_ROLE_OUTPUT_2_ISOLATING:
    case ES_ROLE_OUTPUT_2_VENT:
        return "the bench's valves at output 2";
    case ES_ROLE_SHAFT_ANGLE:
    case ES_ROLE_SHAFT_DRIVE:
    case ES_ROLE_SHAFT_COUPLING:
        return "the bench's shaft drive";
    default:
        return "the bench";
    }
}

struct band {
    const struct es_condition *condition;
    struct es_band is;
    const struct es_unit *unit;
};

static enum es_status resolve(const struct es_execution *x, const struct es_condition *c, struct band *out,
                              struct es_error *err)
{
    enum es_dimension d = es_role_info(c->role)->dimension;

    (void)x->port->has_role(x->port->self, c->role, &d);
    *out = (struct band){.condition = c, .unit = es_dimension_unit(d)};
    return es_band_resolve(x, c, &out->is, err);
}

static bool inside(const struct band *b, double value)
{
    return value >= b->is.low && value <= b->is.high;
}

/* Enough decimals that the value shows outside: "1.30 bar" would not be told from a band that ends there. */
static int decimals_for(const struct band *b, double value)
{
    const double excess = value < b->is.low ? b->is.low - value : value - b->is.high;
    const double shown = es_to_unit_difference(excess, b->unit);
    int decimals = 2;

    while (decimals < 6 && shown < pow(10, -decimals))
        decimals++;
    return decimals;
}

static void say_expected(const struct band *b, int decimals, char *out, size_t size)
{
    char one[48], two[48];

    if (es_role_info(b->condition->role)->is_state) {
        (void)snprintf(out, size, "%s", b->condition->near.text);
        return;
    }
    if (b->condition->near.kind != ES_AMOUNT_NONE) {
        (void)es_quantity_format(b->is.near, b->unit, decimals, one, sizeof one);
        (void)snprintf(two, sizeof two, "%.*f", decimals, es_to_unit_difference(b->is.within, b->unit));
        (void)snprintf(out, size, "%s within %s %s", one, two, b->unit->name);
        return;
    }
    (void)es_quantity_format(b->is.low, b->unit, decimals, one, sizeof one);
    (void)es_quantity_format(b->is.high, b->unit, decimals, two, sizeof two);
    if (isfinite(b->is.low) && isfinite(b->is.high))
        (void)snprintf(out, size, "between %s and %s", one, two);
    else
        (void)snprintf(out, size, isfinite(b->is.low) ? "at least %s" : "at most %s",
                       isfinite(b->is.low) ? one : two);
}

/* "the supply pressure was not held during "x": 0.00 bar at 3.2 s, expected ...: look at ..." */
static void say_outside(const struct band *b, const char *recording, double t, double value, char *out,
                        size_t size)
{
    const struct es_role_info *info = es_role_info(b->condition->role);
    const int decimals = decimals_for(b, value);
    char was[48], expected[128];

    if (info->is_state)
        (void)snprintf(was, sizeof was, "otherwise");
    else
        (void)es_quantity_format(value, b->unit, decimals, was, sizeof was);
    say_expected(b, decimals, expected, sizeof expected);
    (void)snprintf(out, size, "the %s was not held during \"%.80s\": %s at %.1f s, expected %s: look at %s",
                   info->name, recording, was, t, expected, part_of_bench(b->condition->role));
}

static void say_unread(const struct band *b, const char *recording, double t, const char *how, char *out,
                       size_t size)
{
    const struct es_role_info *info = es_role_info(b->condition->role);

    (void)snprintf(out, size,
                   "nobody knows whether the %s was held during \"%.80s\": %s at %.1f s: look at the bench's "
                   "instrument for it",
                   info->name, recording, how, t);
}

/* What was seen of one series: the sample farthest outside, and the first time that nobody could see. */
struct seen {
    bool outside, blind;
    double worst, value, at;
    double blind_at;
    const char *how;
};

static void blind(struct seen *seen, double at, const char *how)
{
    if (seen->blind)
        return;
    seen->blind = true;
    seen->blind_at = at;
    seen->how = how;
}

static void look(const struct band *b, const struct es_trace *trace, struct seen *seen)
{
    static const char *const words[] = {"good", "a stale reading", "a reading out of its plausible range",
                                        "no reading"};
    const struct es_series *s = es_trace_series(trace, b->condition->role);
    const size_t count = s != NULL ? s->count : 0;
    double last = 0;

    for (size_t i = 0; i < count; i++) {
        if (s->t[i] - last > ES_LONGEST_UNWATCHED)
            blind(seen, last, "no reading for a while");
        last = s->t[i];
        if (s->quality[i] != ES_GOOD) {
            blind(seen, last, words[s->quality[i] <= ES_FAILED ? s->quality[i] : ES_FAILED]);
            continue;
        }
        const double excess = fmax(b->is.low - s->y[i], s->y[i] - b->is.high);
        if (inside(b, s->y[i]) || (seen->outside && excess <= seen->worst))
            continue;
        seen->outside = true;
        seen->worst = excess;
        seen->value = s->y[i];
        seen->at = last;
    }
    if (count == 0 || trace->duration - last > ES_LONGEST_UNWATCHED)
        blind(seen, last, "no reading any more");
}

/* True with a reason in `out` when the band was left, or not watched. */
static bool series_left(const struct band *b, const struct es_trace *trace, char *out, size_t size)
{
    struct seen seen = {0};

    look(b, trace, &seen);
    if (seen.outside)
        say_outside(b, trace->name, seen.at, seen.value, out, size);
    else if (seen.blind)
        say_unread(b, trace->name, seen.blind_at, seen.how, out, size);
    return seen.outside || seen.blind;
}

/* An output: where the bench knows that it stood when the recording began, then every write. */
static bool output_left(const struct band *b, const struct es_trace *trace, const struct es_reading *began,
                        char *out, size_t size)
{
    if (began->quality != ES_GOOD) {
        say_unread(b, trace->name, 0, "not known where it stands", out, size);
        return true;
    }
    if (!inside(b, began->value)) {
        say_outside(b, trace->name, 0, began->value, out, size);
        return true;
    }
    for (size_t i = 0; i < trace->command_count; i++) {
        const struct es_command *c = &trace->commands[i];
        if (c->role != b->condition->role || inside(b, c->to))
            continue;
        say_outside(b, trace->name, c->t, c->to, out, size);
        return true;
    }
    return false;
}

bool es_recorded(const struct es_execution *x, enum es_role role)
{
    const struct es_need *need = es_find_need(x->entry->procedure, role, x->type);

    return need != NULL && es_when_applies(need->when, x->type) && es_fitted(x, role);
}

enum es_status es_held_begin(struct es_execution *x, struct es_running *r, struct es_error *err)
{
    const struct es_step *s = r->step;
    enum es_status status = ES_OK;

    for (size_t i = 0; i < s->throughout_count && status == ES_OK; i++) {
        const enum es_role role = s->throughout[i].role;
        if (es_role_info(role)->direction == ES_OUT && es_recorded(x, role))
            status = x->port->read(x->port->self, role, &r->stood[i], err);
    }
    return status;
}

enum es_status es_held_end(struct es_execution *x, const struct es_running *r, struct es_trace *trace,
                           struct es_error *err)
{
    const struct es_step *s = r->step;
    char why[400];

    for (size_t i = 0; i < s->throughout_count; i++) {
        struct band b;
        if (!es_recorded(x, s->throughout[i].role))
            continue;
        const enum es_status status = resolve(x, &s->throughout[i], &b, err);
        if (status != ES_OK)
            return status;
        const bool output = es_role_info(b.condition->role)->direction == ES_OUT;
        if (!(output ? output_left(&b, trace, &r->stood[i], why, sizeof why)
                     : series_left(&b, trace, why, sizeof why)))
            continue;
        trace->unfit = strdup(why);
        if (trace->unfit == NULL)
            return es_fail(err, ES_NO_MEMORY, "no memory for a recording");
        es_announce(x, ES_EVENT_NOTE, trace->name, why);
        return ES_OK;
    }
    return ES_OK;
}
