/* Span of a series: largest less smallest reading. The skeleton of docs/add-a-measure.md: whole, small,
 * compiled and run. Common practice, no published source. Refused with fewer than 3 good samples. Not for
 * noisy series: two single readings decide, and noise widens the span (see "extreme" for a measure that is
 * honest about it). */
#include <criterion/criterion.h>
#include <math.h>
#include <stddef.h>
#include <string.h>

#include "procedures/measures/measures.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/samples.h"
#include "tests/unit/measures/synthetic.h"

struct settings {
    int channel;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("channel", struct settings, channel, true, NULL, "the series"),
};

static const struct es_measure_output outputs[] = {{"span", ES_DIM_COUNT, "largest less smallest reading"}};
static const char *const trace_names[] = {"recording", NULL};
static const char *const no_facts[] = {NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    out[0] = (enum es_role)((const struct settings *)settings)->channel;
    return 1;
}

static double rate_needed(const void *settings, size_t output, double tolerance)
{
    (void)settings, (void)output, (void)tolerance;
    return 0;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)output, (void)facts;
    const struct es_channel_uncertainty *c = u[((const struct settings *)settings)->channel];
    return c ? sqrt(2.0) * es_resolution_u(c->resolution, 0) : NAN;
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    (void)facts;
    const struct settings *s = settings;
    const struct es_series *series = es_trace_series(traces[0], (enum es_role)s->channel);
    struct es_samples samples;
    char text[160];
    es_measured_start(&out[0], outputs[0].name, series ? series->dimension : ES_DIM_NUMBER);
    if (!series) {
        es_measured_refuse(&out[0], "the recording has no such series");
        return ES_OK;
    }
    enum es_status status = es_samples_take(series, -INFINITY, INFINITY, &samples, err);
    if (status != ES_OK)
        return status;
    const char *why = es_samples_unfit(&samples, 3, text);
    if (why) {
        es_measured_refuse(&out[0], "%s", why);
    } else {
        struct es_budget b = {0};
        double span = es_largest(samples.y, samples.n) - es_least(samples.y, samples.n);
        es_budget_add(&b, ES_TERM_REPEAT, sqrt(2.0) * es_resolution_u(series->u.resolution, 0), INFINITY);
        es_channel_terms(&b, &series->u, 0, span, 1); /* a difference: the offset cancels */
        es_measured_set(&out[0], span, &b);
        out[0].role = series->role;
        out[0].first = es_samples_index(&samples, 0);
        out[0].last = es_samples_index(&samples, samples.n - 1);
    }
    es_samples_free(&samples);
    return ES_OK;
}

static const struct es_measure skeleton = {
    .name = "span",
    .meaning = "largest less smallest reading of a series",
    .source = "common practice, no published source",
    .trace_names = trace_names,
    .facts_needed = no_facts,
    .settings = rows,
    .setting_count = sizeof rows / sizeof rows[0],
    .setting_size = sizeof(struct settings),
    .outputs = outputs,
    .output_count = sizeof outputs / sizeof outputs[0],
    .roles = roles,
    .rate_needed = rate_needed,
    .expected_u = expected_u,
    .evaluate = evaluate,
};

Test(skeleton, works)
{
    struct es_trace *t = syn_trace();
    struct es_series *s = syn_series(t, ES_ROLE_TRAVEL, 100, 10);
    for (size_t i = 0; i < s->count; i++)
        s->y[i] = 1e-4 * (double)i;
    s->u.gain = 0.01;
    void *settings = syn_settings(&skeleton, "{\"channel\": \"travel\"}");
    struct es_measured m;
    struct es_facts none = {0};
    cr_assert_eq(skeleton.evaluate(settings, (const struct es_trace *const *)&t, &none, &m, NULL), ES_OK);
    cr_assert(m.valid, "%s", m.reason);
    cr_assert_float_eq(m.value, 0.0099, 1e-12);
    cr_assert_float_eq(m.u, 0.000099, 1e-12);
    t->series[0].count = 2;
    cr_assert_eq(skeleton.evaluate(settings, (const struct es_trace *const *)&t, &none, &m, NULL), ES_OK);
    cr_assert_not(m.valid);
    cr_assert_not_null(strstr(m.reason, "too few"));
    syn_settings_free(&skeleton, settings);
    es_trace_free(t);
}
