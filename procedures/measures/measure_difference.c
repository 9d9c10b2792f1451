/* Difference: the mean of one channel less that of another, or of the same channel in two recordings. For the
 * loop's read-back against its demand, a sensor against a reference, a supply before and while air flows.
 * Means: JCGM 100:2008 4.2.1; difference of two readings of one instrument: offset cancels, gain counts on
 * the difference (JCGM 100 5.2, correlated inputs).
 *
 * Two channels of one recording are brought to common times first (paired.h): what both see, the supply's own
 * breathing, then is no noise. An output as the reference is not sampled: its value is that of its last write
 * inside the recording, and samples count from `settle` after it. Refused: a channel with itself, different
 * dimensions, no write of an output, too few samples. A channel that drifts is late by its lag: drift times
 * lag and time stamps is uncertainty. */
#include <math.h>
#include <stddef.h>
#include <stdio.h>

#include "procedures/measures/holds.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/paired.h"
#include "procedures/measures/rest_level.h"

enum { VALUE, OUTPUTS };
#define LEAST 5

struct settings {
    int channel, reference;
    double from, to, settle;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("channel", struct settings, channel, true, NULL, "the series"),
    ES_ROLE_SETTING("reference channel", struct settings, reference, true, NULL,
                    "what is subtracted; an output: as it was last written in the recording"),
    ES_QUANTITY_SETTING("from", struct settings, from, ES_DIM_TIME, 0, 1e6, "0 s",
                        "part taken: its beginning"),
    ES_QUANTITY_SETTING("to", struct settings, to, ES_DIM_TIME, 0, 1e6, "1000000 s", "part taken: its end"),
    ES_QUANTITY_SETTING("settle", struct settings, settle, ES_DIM_TIME, 0, 3600, "1 s",
                        "left out after the last write of an output"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [VALUE] = {"value", ES_DIM_COUNT, "mean of the channel less mean of the reference"},
};

static const char *const trace_names[] = {"recording", "reference", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    const struct settings *s = settings;
    out[0] = (enum es_role)s->channel;
    out[1] = (enum es_role)s->reference;
    return s->reference == s->channel ? 1 : 2;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)output, (void)facts;
    const struct settings *s = settings;
    if (s->channel == s->reference)
        return sqrt(2.0) * es_expected_level_u(u[s->channel], 0, 0);
    double own = es_expected_level_u(u[s->channel], 1, 0);
    if (es_role_info((enum es_role)s->reference)->direction == ES_OUT)
        return own;
    return hypot(own, es_expected_level_u(u[s->reference], 1, 0));
}

/* Calibration of one channel in the difference. */
static void calibration(struct es_budget *b, const struct es_rest *r, double offset_share, double reading)
{
    es_channel_terms(b, &r->series->u, offset_share, reading, 1);
}

/* Against what an output was last told. */
static enum es_status against_write(const struct settings *s, const struct es_trace *const *traces,
                                    struct es_measured *m, struct es_error *err)
{
    const struct es_trace *where = traces[1] ? traces[1] : traces[0];
    const struct es_command *c = es_last_write(where, (enum es_role)s->reference);
    struct es_rest r;
    if (!c || !isfinite(c->to)) {
        es_measured_refuse(m, "the recording has no write of the %s: set it inside the recording",
                           es_role_info((enum es_role)s->reference)->name);
        return ES_OK;
    }
    double from = traces[1] ? s->from : fmax(s->from, c->t + s->settle);
    enum es_status status = es_rest_take(traces[0], (enum es_role)s->channel, from, s->to, &r, err);
    if (status != ES_OK)
        return status;
    if (!r.valid) {
        es_measured_refuse(m, "%s", r.reason);
        return ES_OK;
    }
    struct es_budget b = {0};
    es_rest_noise(&b, &r, 1);
    calibration(&b, &r, 1, r.p.mean);
    es_measured_set(m, r.p.mean - c->to, &b);
    es_outputs_from(m, 0, 1, r.first, r.last);
    return ES_OK;
}

/* Two channels of one recording, at common times. */
static enum es_status together(const struct settings *s, const struct es_rest *a, const struct es_rest *b,
                               struct es_measured *m, struct es_error *err)
{
    struct es_pairs pairs;
    struct es_plateau p;
    char text[160];
    enum es_status status = es_pairs_take(a->series, b->series, s->from, s->to, 0, LEAST, &pairs, text, err);
    if (status != ES_OK)
        return status;
    if (pairs.n == 0) {
        es_measured_refuse(m, "%s", text);
        return ES_OK;
    }
    for (size_t i = 0; i < pairs.n; i++)
        pairs.a[i] -= pairs.b[i];
    if (!es_plateau_of(pairs.t, pairs.a, pairs.n, &p)) {
        status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu pairs.", pairs.n);
        goto free_pairs;
    }
    struct es_budget budget = {0};
    es_plateau_noise(&budget, &p, &a->series->u, 1);
    es_budget_add(&budget, ES_TERM_REPEAT, es_resolution_u(b->series->u.resolution, p.s), INFINITY);
    es_budget_add(&budget, ES_TERM_REPEAT, es_rectangular(es_plateau_movement(&p) / 2), INFINITY);
    const struct es_rest *both[2] = {a, b};
    for (int i = 0; i < 2; i++) {
        const struct es_channel_uncertainty *u = &both[i]->series->u;
        double drift = both[i]->moved > 0 ? both[i]->p.drift : 0;
        es_budget_add(&budget, ES_TERM_COMMON, drift * hypot(u->time, u->lag), INFINITY);
        calibration(&budget, both[i], 1, both[i]->p.mean);
    }
    es_measured_set(m, p.mean, &budget);
    es_outputs_from(m, 0, 1, pairs.index[0], pairs.index[pairs.n - 1]);
free_pairs:
    es_pairs_free(&pairs);
    return status;
}

/* Two recordings: two acts. */
static void apart(const struct settings *s, const struct es_rest *a, const struct es_rest *b,
                  struct es_measured *m)
{
    struct es_budget budget = {0};
    double value = a->p.mean - b->p.mean;
    bool same = s->channel == s->reference;
    es_rest_noise(&budget, a, 1);
    es_rest_noise(&budget, b, 1);
    calibration(&budget, a, same ? 0 : 1, same ? value : a->p.mean);
    if (same)
        es_budget_add(&budget, ES_TERM_REPEAT, b->series->u.repeatability, INFINITY);
    else
        calibration(&budget, b, 1, b->p.mean);
    es_measured_set(m, value, &budget);
    es_outputs_from(m, 0, 1, a->first, a->last);
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    (void)facts;
    const struct settings *s = settings;
    enum es_role channel = (enum es_role)s->channel, reference = (enum es_role)s->reference;
    const struct es_trace *where = traces[1] ? traces[1] : traces[0];
    enum es_dimension dimension = es_channel_dimension(traces[0], channel),
                      other = es_channel_dimension(where, reference);
    es_outputs_start(outputs, OUTPUTS, dimension, channel, out);
    if (dimension != other) {
        es_measured_refuse(out, "the %s is a %s, the %s a %s", es_role_info(channel)->name,
                           es_dimension_name(dimension), es_role_info(reference)->name,
                           es_dimension_name(other));
        return ES_OK;
    }
    if (channel == reference && !traces[1]) {
        es_measured_refuse(out, "the %s less itself: name another channel or a reference recording",
                           es_role_info(channel)->name);
        return ES_OK;
    }
    if (!es_trace_series(where, reference) && es_role_info(reference)->direction == ES_OUT)
        return against_write(s, traces, out, err);
    struct es_rest a, b;
    enum es_status status = es_rest_take(traces[0], channel, s->from, s->to, &a, err);
    if (status == ES_OK)
        status = es_rest_take(where, reference, s->from, s->to, &b, err);
    if (status != ES_OK)
        return status;
    if (!a.valid || !b.valid)
        es_measured_refuse(out, "%s: %s", a.valid ? "reference" : "recording", (a.valid ? &b : &a)->reason);
    else if (traces[1])
        apart(s, &a, &b, out);
    else
        status = together(s, &a, &b, out, err);
    return status;
}

const struct es_measure es_measure_difference = {
    .name = "difference",
    .meaning = "mean of one channel less that of another, or of the same in another recording",
    .source = "JCGM 100:2008 4.2, 5.2",
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
