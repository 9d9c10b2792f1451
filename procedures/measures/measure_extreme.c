/* Extreme: largest and smallest value of one series, of means over a short time and never of one sample.
 * Common practice, no published source; estimator: extremes.h. */
#include <math.h>
#include <stddef.h>

#include "procedures/measures/extremes.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/samples.h"

enum { LARGEST, SMALLEST, OUTPUTS };

struct settings {
    int channel;
    double from, to, over;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("channel", struct settings, channel, true, NULL, "the series"),
    ES_QUANTITY_SETTING("from", struct settings, from, ES_DIM_TIME, 0, 1e6, "0 s",
                        "part taken: its beginning"),
    ES_QUANTITY_SETTING("to", struct settings, to, ES_DIM_TIME, 0, 1e6, "1000000 s", "part taken: its end"),
    ES_QUANTITY_SETTING("over", struct settings, over, ES_DIM_TIME, 0, 3600, "0.05 s",
                        "time over which each mean is taken, at least 3 samples"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [LARGEST] = {"largest", ES_DIM_COUNT, "largest mean over the short time"},
    [SMALLEST] = {"smallest", ES_DIM_COUNT, "smallest mean over the short time"},
};

static const char *const trace_names[] = {"recording", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    out[0] = (enum es_role)((const struct settings *)settings)->channel;
    return 1;
}

static double rate_needed(const void *settings, size_t output, double tolerance)
{
    (void)output, (void)tolerance;
    double over = ((const struct settings *)settings)->over;
    return over > 0 ? 3 / over : 0;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)output, (void)facts;
    const struct es_channel_uncertainty *c = u[((const struct settings *)settings)->channel];
    return c ? hypot(c->offset, hypot(c->repeatability, es_resolution_u(c->resolution, 0))) : NAN;
}

static void conclude(const struct es_samples *s, const struct es_channel_uncertainty *u, size_t width,
                     struct es_measured *out)
{
    struct es_extremes x;
    es_extremes_of(s, width, u->resolution, &x);
    for (int o = 0; o < OUTPUTS; o++) {
        const struct es_extreme *e = o == LARGEST ? &x.largest : &x.smallest;
        struct es_budget b = e->noise;
        es_channel_terms(&b, u, 1, e->value, 1);
        es_measured_set(&out[o], e->value, &b);
        out[o].first = e->first;
        out[o].last = e->last;
    }
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    (void)facts;
    const struct settings *s = settings;
    const struct es_series *series = es_trace_series(traces[0], (enum es_role)s->channel);
    enum es_dimension dimension =
        series ? series->dimension : es_role_info((enum es_role)s->channel)->dimension;
    for (int o = 0; o < OUTPUTS; o++) {
        es_measured_start(&out[o], outputs[o].name, dimension);
        out[o].role = (enum es_role)s->channel;
    }
    struct es_samples samples;
    char text[160];
    const char *why = "the recording has no such series";
    if (series) {
        enum es_status status = es_samples_take(series, s->from, s->to, &samples, err);
        if (status != ES_OK)
            return status;
        size_t width = es_extremes_width(&samples, s->over);
        why = es_samples_unfit(&samples, width + 1, text);
        if (!why)
            conclude(&samples, &series->u, width, out);
        es_samples_free(&samples);
    }
    for (int o = 0; why && o < OUTPUTS; o++)
        es_measured_refuse(&out[o], "%s", why);
    return ES_OK;
}

const struct es_measure es_measure_extreme = {
    .name = "extreme",
    .meaning = "largest and smallest value of a series",
    .source = "common practice, no published source",
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
