/* Supply influence: by how much a response at one set point moves when the supply pressure is not nominal, as
 * share of its span; and for each bar.
 * Terms as commonly stated for IEC 61298-3 (effects of influence quantities) and IEC 61514, from memory; the
 * figure per bar is the size of the larger of the two sides, without its sign: opposite changes do not hide
 * each other, and of two of about one size chance would pick the sign (common practice, no published source).
 *
 * One channel, three recordings of the same arrangement: its offset cancels, its gain counts on the change.
 * Means of settled readings only (a difference of moving data is nonsense); refused while the response moves
 * by more than `still`. A closed loop hides a supply that is too low from this figure: it shows in stroke and
 * step times. */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include "procedures/measures/largest.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/rest_level.h"
#include "procedures/measures/span.h"

enum { CHANGE_LOW, CHANGE_HIGH, PER_BAR, OUTPUTS };
enum { SLOT_NOMINAL, SLOT_LOW, SLOT_HIGH, SLOTS };
#define BAR         1e5
#define LEAST_APART 1e4 /* Pa: between two supplies */

struct settings {
    int channel, supply;
    double from, still;
    char *low, *high;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("channel", struct settings, channel, false, "travel", "what must not move"),
    ES_ROLE_SETTING("supply channel", struct settings, supply, false, "supply pressure",
                    "recorded with it, for the figure per bar"),
    ES_QUANTITY_SETTING("from", struct settings, from, ES_DIM_TIME, 0, 1e6, "0 s",
                        "left out at the start of each recording"),
    ES_QUANTITY_SETTING("still", struct settings, still, ES_DIM_RATIO, 1e-5, 0.1, "0.2 %",
                        "movement over a recording, of span, above which it has not settled"),
    ES_TEXT_SETTING("response low", struct settings, low, "lower end", "fact: lower end of the span"),
    ES_TEXT_SETTING("response high", struct settings, high, "upper end", "fact: upper end of the span"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [CHANGE_LOW] = {"change low", ES_DIM_RATIO, "at the low supply less at the nominal one, of span"},
    [CHANGE_HIGH] = {"change high", ES_DIM_RATIO, "at the high supply less at the nominal one, of span"},
    [PER_BAR] = {"per bar", ES_DIM_RATIO,
                 "size of the change for each bar of supply, of span: the larger of the two sides"},
};

static const char *const trace_names[] = {"nominal", "low", "high", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    out[0] = (enum es_role)((const struct settings *)settings)->channel;
    return 1;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    const struct settings *s = settings;
    const struct es_fact *low = es_fact_find(facts, s->low), *high = es_fact_find(facts, s->high);
    if (output == PER_BAR || !low || !high || low->value == high->value)
        return NAN;
    return sqrt(2.0) * es_expected_level_u(u[s->channel], 0, 0) / fabs(high->value - low->value);
}

struct state {
    struct es_rest response, supply;
};

static void change(const struct settings *s, const struct state *at, const struct state *nominal,
                   const struct es_span *span, struct es_measured *m)
{
    const struct state *both[2] = {nominal, at};
    struct es_budget b = {0};
    double value = (at->response.p.mean - nominal->response.p.mean) / span->size;
    for (int i = 0; i < 2; i++) {
        const struct es_rest *r = &both[i]->response;
        double moved = r->valid ? r->surely / fabs(span->size) : 0;
        if (!r->valid || moved > s->still) {
            const char *which = i == 0 ? "nominal" : m->name + strlen("change ");
            if (r->valid)
                es_measured_refuse(m, "%s supply: not settled: moving by %.2f %% of span in the recording",
                                   which, 100 * moved);
            else
                es_measured_refuse(m, "%s supply: %s", which, r->reason);
            return;
        }
        es_rest_noise(&b, r, 1 / span->size);
        es_budget_add(&b, ES_TERM_REPEAT, r->series->u.repeatability / span->size, INFINITY);
    }
    const struct es_channel_uncertainty *u = &at->response.series->u;
    es_budget_add(&b, ES_TERM_COMMON, u->gain * value, u->dof > 0 ? u->dof : INFINITY);
    es_budget_add(&b, ES_TERM_COMMON, value * hypot(span->u_low, span->u_high) / span->size, INFINITY);
    es_measured_set(m, value, &b);
    es_outputs_from(m, 0, 1, at->response.first, at->response.last);
}

/* One side's change over its difference in supply pressure; NULL-like result when it cannot be told. */
static bool side(const struct state *at, const struct state *nominal, const struct es_measured *changed,
                 double *value, struct es_budget *b, char reason[static 160])
{
    if (!changed->valid) {
        snprintf(reason, 160, "%.30s: %.120s", changed->name, changed->reason);
        return false;
    }
    if (!at->supply.valid || !nominal->supply.valid) {
        snprintf(reason, 160, "supply: %.140s", (at->supply.valid ? nominal : at)->supply.reason);
        return false;
    }
    double apart = at->supply.p.mean - nominal->supply.p.mean;
    if (fabs(apart) < LEAST_APART) {
        snprintf(reason, 160, "the supplies of \"%.30s\" and nominal are only %.2f bar apart", changed->name,
                 apart / BAR);
        return false;
    }
    double factor = BAR / apart;
    *value = changed->value * factor;
    es_budget_add(b, ES_TERM_REPEAT, changed->u_repeat * factor, changed->dof_repeat);
    es_budget_add(b, ES_TERM_COMMON, changed->u_common * factor, changed->dof_common);
    double u_apart = hypot(es_rest_u(&at->supply), es_rest_u(&nominal->supply));
    es_budget_add(b, ES_TERM_REPEAT, *value * u_apart / apart, INFINITY);
    es_budget_add(b, ES_TERM_COMMON, *value * at->supply.series->u.gain, INFINITY);
    return true;
}

static void per_bar(const struct es_trace *const *traces, const struct state *states, struct es_measured *out)
{
    char reason[160] = "only one supply was recorded";
    double size[2];
    struct es_budget budgets[2] = {0};
    size_t n = 0, best = 0;
    for (int k = 0; k < 2; k++) {
        int slot = k == 0 ? SLOT_LOW : SLOT_HIGH;
        if (!traces[slot])
            continue;
        if (!side(&states[slot], &states[SLOT_NOMINAL], &out[k == 0 ? CHANGE_LOW : CHANGE_HIGH], &size[n],
                  &budgets[n], reason)) {
            es_measured_refuse(&out[PER_BAR], "%s", reason);
            return;
        }
        size[n] = fabs(size[n]);
        best = size[n] > size[best] ? n : best;
        n++;
    }
    if (n == 0) {
        es_measured_refuse(&out[PER_BAR], "%s", reason);
        return;
    }
    struct es_budget b = {0};
    double u = sqrt(budgets[best].square[ES_TERM_REPEAT]);
    double excess = n > 1 ? es_excess_of_two(size[1] - size[0], u) : 0;
    es_budget_add(&b, ES_TERM_REPEAT, u, INFINITY);
    es_budget_add(&b, ES_TERM_COMMON, sqrt(budgets[best].square[ES_TERM_COMMON]), INFINITY);
    es_measured_set(&out[PER_BAR], fmax(0, size[best] - excess), &b);
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    const struct settings *s = settings;
    enum es_role channel = (enum es_role)s->channel;
    struct state states[SLOTS];
    struct es_span span;
    char reason[160];
    es_outputs_start(outputs, OUTPUTS, ES_DIM_RATIO, channel, out);
    for (int k = 0; k < SLOTS; k++) {
        const struct es_trace *trace = traces[k];
        enum es_status status = es_rest_take(trace, channel, s->from, INFINITY, &states[k].response, err);
        if (status == ES_OK)
            status = es_rest_take(trace, (enum es_role)s->supply, s->from, INFINITY, &states[k].supply, err);
        if (status != ES_OK)
            return status;
    }
    if (!es_span_find(facts, s->low, s->high, es_channel_dimension(traces[0], channel), &span, reason)) {
        es_outputs_refuse(out, 0, OUTPUTS, "%s", reason);
        return ES_OK;
    }
    for (int k = 0; k < 2; k++) {
        int slot = k == 0 ? SLOT_LOW : SLOT_HIGH;
        struct es_measured *m = &out[k == 0 ? CHANGE_LOW : CHANGE_HIGH];
        if (!traces[slot])
            es_measured_refuse(m, "no recording \"%s\"", trace_names[slot]);
        else
            change(s, &states[slot], &states[SLOT_NOMINAL], &span, m);
    }
    per_bar(traces, states, out);
    return ES_OK;
}

const struct es_measure es_measure_supply_influence = {
    .name = "supply influence",
    .meaning = "by how much a response moves when the supply pressure is not nominal",
    .source = "terms as in IEC 61298-3 and IEC 61514, from memory",
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
