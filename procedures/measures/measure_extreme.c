/* Extreme: largest and smallest value of one series, of means over a short time and never of one sample.
 * Common practice, no published source. The largest of many noisy means lies above the truth by about
 * sqrt(2 ln n) of their standard deviation (Gumbel's leading term): taken off, and kept as uncertainty, as
 * far as the series' spread is no more than its noise explains. */
#include <math.h>
#include <stddef.h>

#include "procedures/measures/measures.h"
#include "procedures/measures/numeric/summary.h"
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
static const char *const no_facts[] = {NULL};

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

struct extremes {
    double value[OUTPUTS];
    size_t at[OUTPUTS]; /* first sample of the mean */
    double spread;      /* standard deviation of the means */
};

static void find(const struct es_samples *s, size_t width, struct extremes *x)
{
    double sum = es_sum(s->y, width), total = 0, squares = 0;
    double first = sum / (double)width;
    *x = (struct extremes){{first, first}, {0, 0}, 0};
    for (size_t k = width; k < s->n; k++) {
        sum += s->y[k] - s->y[k - width];
        double mean = sum / (double)width;
        if (mean > x->value[LARGEST]) {
            x->value[LARGEST] = mean;
            x->at[LARGEST] = k - width + 1;
        }
        if (mean < x->value[SMALLEST]) {
            x->value[SMALLEST] = mean;
            x->at[SMALLEST] = k - width + 1;
        }
        total += mean - first;
        squares += (mean - first) * (mean - first);
    }
    double n = (double)(s->n - width + 1), about = total / n;
    x->spread = sqrt(fmax(0, squares / n - about * about));
}

static void conclude(const struct es_samples *s, const struct es_channel_uncertainty *u, size_t width,
                     struct es_measured *out)
{
    struct extremes x;
    find(s, width, &x);
    double noise = es_noise_from_differences(s->y, s->n) / sqrt((double)width);
    double many = fmax((double)s->n / (double)width, 2);
    double lift = noise * sqrt(2 * log(many));
    /* where the means spread by more than noise, the extreme is the signal's own and only slightly lifted */
    double share = x.spread > 0 ? fmin(1, pow(noise / x.spread, 2)) : 1;
    for (int o = 0; o < OUTPUTS; o++) {
        struct es_budget b = {0};
        double value = x.value[o] + (o == LARGEST ? -1 : 1) * lift * share;
        es_budget_add(&b, ES_TERM_REPEAT, noise, (double)s->n - 1);
        es_budget_add(&b, ES_TERM_REPEAT, lift * share / 2, INFINITY);
        es_budget_add(&b, ES_TERM_REPEAT, lift * (1 - share) / 2, INFINITY);
        es_budget_add(&b, ES_TERM_REPEAT, es_resolution_u(u->resolution, noise), INFINITY);
        es_channel_terms(&b, u, 1, value, 1);
        es_measured_set(&out[o], value, &b);
        out[o].first = s->index[x.at[o]];
        out[o].last = s->index[x.at[o] + width - 1];
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
        size_t width = samples.interval > 0 ? (size_t)(s->over / samples.interval + 0.5) : 0;
        width = width < 3 ? 3 : width;
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
    .facts_needed = no_facts,
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
