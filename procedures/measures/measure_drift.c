/* Drift: by how much a channel's level, or its extreme, differs between two recordings of the same act, last
 * less first: what many strokes have changed.
 * Common practice, no published source. Level: mean of the readings (JCGM 100:2008 4.2.1); largest, smallest:
 * means over a short time (extremes.h). One channel: its offset cancels, its gain counts on the change; the
 * repeatability of connecting and settling counts for both acts. A level must rest: movement within its
 * recording is uncertainty. Refused: a recording that is missing or too short. */
#include <math.h>
#include <stddef.h>
#include <stdio.h>

#include "procedures/measures/extremes.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/rest_level.h"

enum { CHANGE, OUTPUTS };
enum { LEVEL, LARGEST, SMALLEST };

struct settings {
    int channel, statistic;
    double from, to, over;
};

static const char *const statistics[] = {"level", "largest", "smallest", NULL};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("channel", struct settings, channel, true, NULL, "the series"),
    ES_CHOICE_SETTING("statistic", struct settings, statistic, statistics, "level", "what is compared"),
    ES_QUANTITY_SETTING("from", struct settings, from, ES_DIM_TIME, 0, 1e6, "0 s",
                        "part of each recording: its beginning"),
    ES_QUANTITY_SETTING("to", struct settings, to, ES_DIM_TIME, 0, 1e6, "1000000 s",
                        "part of each recording: its end"),
    ES_QUANTITY_SETTING("over", struct settings, over, ES_DIM_TIME, 0, 3600, "0.05 s",
                        "largest, smallest: time over which each mean is taken"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [CHANGE] = {"change", ES_DIM_COUNT, "last less first"},
};

static const char *const trace_names[] = {"first", "last", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    out[0] = (enum es_role)((const struct settings *)settings)->channel;
    return 1;
}

static double rate_needed(const void *settings, size_t output, double tolerance)
{
    (void)output, (void)tolerance;
    const struct settings *s = settings;
    return s->statistic != LEVEL && s->over > 0 ? 3 / s->over : 0;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)output, (void)facts;
    return sqrt(2.0) * es_expected_level_u(u[((const struct settings *)settings)->channel], 0, 0);
}

struct figure {
    double value;
    struct es_budget noise;
    size_t first, last;
};

/* The statistic of one recording; false with a reason. */
static enum es_status take(const struct settings *s, const struct es_trace *trace, struct figure *f,
                           bool *good, char reason[static 160], struct es_error *err)
{
    struct es_rest r;
    *f = (struct figure){.value = NAN};
    enum es_status status = es_rest_take(trace, (enum es_role)s->channel, s->from, s->to, &r, err);
    *good = status == ES_OK && r.valid;
    if (!*good) {
        snprintf(reason, 160, "%s", r.reason);
        return status;
    }
    if (s->statistic == LEVEL) {
        f->value = r.p.mean;
        es_rest_noise(&f->noise, &r, 1);
        f->first = r.first;
        f->last = r.last;
        return ES_OK;
    }
    struct es_samples samples;
    struct es_extremes x;
    status = es_samples_take(r.series, s->from, s->to, &samples, err);
    if (status != ES_OK)
        return status;
    size_t width = es_extremes_width(&samples, s->over);
    *good = es_samples_unfit(&samples, width + 1, reason) == NULL;
    if (*good) {
        es_extremes_of(&samples, width, r.series->u.resolution, &x);
        const struct es_extreme *e = s->statistic == LARGEST ? &x.largest : &x.smallest;
        *f = (struct figure){e->value, e->noise, e->first, e->last};
    }
    es_samples_free(&samples);
    return ES_OK;
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    (void)facts;
    const struct settings *s = settings;
    enum es_role channel = (enum es_role)s->channel;
    struct figure f[2];
    char reason[160];
    es_outputs_start(outputs, OUTPUTS, es_channel_dimension(traces[0], channel), channel, out);
    for (int k = 0; k < 2; k++) {
        bool good;
        if (!traces[k]) {
            es_measured_refuse(out, "no recording \"%s\"", trace_names[k]);
            return ES_OK;
        }
        enum es_status status = take(s, traces[k], &f[k], &good, reason, err);
        if (status != ES_OK)
            return status;
        if (!good) {
            es_measured_refuse(out, "%s: %s", trace_names[k], reason);
            return ES_OK;
        }
    }
    const struct es_channel_uncertainty *u = &es_trace_series(traces[1], channel)->u;
    struct es_budget b = f[0].noise;
    for (int term = 0; term < 2; term++) {
        b.square[term] += f[1].noise.square[term];
        b.fourth_per_dof[term] += f[1].noise.fourth_per_dof[term];
    }
    double change = f[1].value - f[0].value;
    es_channel_terms(&b, u, 0, change, 1);
    es_budget_add(&b, ES_TERM_REPEAT, u->repeatability, INFINITY);
    es_measured_set(out, change, &b);
    es_outputs_from(out, 0, 1, f[1].first, f[1].last);
    return ES_OK;
}

const struct es_measure es_measure_drift = {
    .name = "drift",
    .meaning = "by how much a channel's level or extreme has changed between two recordings",
    .source = "JCGM 100:2008 4.2, 5.2; common practice, no published source",
    .trace_names = trace_names,
    .facts_needed = es_no_facts,
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
