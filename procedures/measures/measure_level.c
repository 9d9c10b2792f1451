/* Level: the mean of one series over part of a recording, and the spread of its readings.
 * Mean and standard deviation: JCGM 100:2008 4.2.1, 4.2.2; the mean's uncertainty with the effective number
 * of independent readings (autocorrelation.h) in place of 4.2.3's n. Where slow changes belong to the value
 * (the mean over what moved is asked for, not the level about which it moved), only what neighbouring
 * readings differ by is noise. With a tare recording its mean is taken off; the channel's offset then
 * cancels. */
#include <math.h>
#include <stddef.h>

#include "procedures/measures/measures.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/samples.h"

enum { VALUE, SPREAD, OUTPUTS };

enum { SLOW_IS_NOISE, SLOW_BELONGS };

struct settings {
    int channel, slow;
    double from, to;
};

static const char *const slow_changes[] = {"noise", "part of the value", NULL};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("channel", struct settings, channel, true, NULL, "the series"),
    ES_QUANTITY_SETTING("from", struct settings, from, ES_DIM_TIME, 0, 1e6, "0 s",
                        "part taken: its beginning"),
    ES_QUANTITY_SETTING("to", struct settings, to, ES_DIM_TIME, 0, 1e6, "1000000 s", "part taken: its end"),
    ES_CHOICE_SETTING(
        "slow changes", struct settings, slow, slow_changes, "noise",
        "what changes slower than from reading to reading: noise about a level that is asked for, "
        "or part of the mean over the recording that is asked for"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [VALUE] = {"value", ES_DIM_COUNT, "mean of the readings"},
    [SPREAD] = {"spread", ES_DIM_COUNT, "standard deviation of one reading"},
};

static const char *const trace_names[] = {"recording", "tare", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    out[0] = (enum es_role)((const struct settings *)settings)->channel;
    return 1;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)facts;
    const struct es_channel_uncertainty *c = u[((const struct settings *)settings)->channel];
    if (!c || output != VALUE)
        return NAN;
    return hypot(c->offset, hypot(c->repeatability, es_resolution_u(c->resolution, 0)));
}

/* Mean of the part; false with a reason in both outputs. */
static bool take(const struct settings *s, const struct es_trace *trace, const char *what,
                 struct es_plateau *level, size_t span[2], struct es_measured *out, enum es_status *status,
                 struct es_error *err)
{
    const struct es_series *series = es_trace_series(trace, (enum es_role)s->channel);
    struct es_samples samples;
    char text[160];
    const char *why = "has no such series";
    bool good = false;
    if (series) {
        *status = es_samples_take_level(series, s->from, s->to, &samples, err);
        if (*status != ES_OK)
            return false;
        why = es_samples_unfit(&samples, 3, text);
        if (!why) {
            span[0] = es_samples_index(&samples, 0);
            span[1] = es_samples_index(&samples, samples.n - 1);
            good = es_plateau_of_samples(&samples, level);
            why = "the level cannot be told";
            if (good && s->slow == SLOW_BELONGS)
                level->u_mean = es_noise_from_differences(samples.y, samples.n) / sqrt((double)samples.n);
        }
        es_samples_free(&samples);
    }
    for (int o = 0; !good && o < OUTPUTS; o++)
        es_measured_refuse(&out[o], "%s: %s", what, why);
    return good;
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
    struct es_plateau level, tare = {0};
    size_t span[2] = {0, 0}, unused[2];
    enum es_status status = ES_OK;
    if (!take(s, traces[0], "recording", &level, span, out, &status, err) || !series)
        return status; /* without a series it was refused */
    if (traces[1] && !take(s, traces[1], "tare", &tare, unused, out, &status, err))
        return status;
    struct es_budget b = {0}, spread = {0};
    double value = level.mean - tare.mean;
    es_plateau_noise(&b, &level, &series->u, 1);
    if (traces[1]) { /* reading and tare are two acts */
        es_plateau_noise(&b, &tare, &series->u, 1);
        es_budget_add(&b, ES_TERM_REPEAT, series->u.repeatability, INFINITY);
    }
    es_channel_terms(&b, &series->u, traces[1] ? 0 : 1, value, 1);
    es_measured_set(&out[VALUE], value, &b);
    es_budget_add(&spread, ES_TERM_REPEAT, level.s / sqrt(2 * level.dof), level.dof);
    es_measured_set(&out[SPREAD], level.s, &spread);
    for (int o = 0; o < OUTPUTS; o++) {
        out[o].first = span[0];
        out[o].last = span[1];
    }
    return ES_OK;
}

const struct es_measure es_measure_level = {
    .name = "level",
    .meaning = "mean of a series",
    .source = "JCGM 100:2008 4.2",
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
