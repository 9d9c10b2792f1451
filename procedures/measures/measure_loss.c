/* Loss: where a response goes, and how fast, when its signal, its air or its auxiliary supply is taken away.
 * Common practice, no published source; the times are those of a step response (step_analysis.h; sources at
 * the head of measure_step_response.c) with the loss as the step:
 *   final   mean over the last share `rest` of what follows the loss, whether it rests there or not: how far
 *           it moved in that share is uncertainty
 *   delay   from the loss until the response begins
 *   time    from the loss until `fraction` of its own change is done
 * The loss is the last write of `event` in the recording; the next write of any other output but the watchdog
 * ends its part. Refused: no such write; a response that goes the other way, does not move or has not settled
 * (time, delay). A fill or a closed loop does not hide it: there is none after a loss. */
#include <math.h>
#include <stddef.h>
#include <stdio.h>

#include "procedures/measures/holds.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/rest_level.h"
#include "procedures/measures/step_analysis.h"
#include "procedures/measures/timing.h"

enum { FINAL, TIME, DELAY, OUTPUTS };
enum { LOW, HIGH };

struct settings {
    int channel, event, towards;
    double fraction, rest;
};

static const char *const ends[] = {"low", "high", NULL};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("channel", struct settings, channel, false, "travel", "what answers"),
    ES_ROLE_SETTING("event", struct settings, event, false, "loop demand", "its last write is the loss"),
    ES_CHOICE_SETTING("towards", struct settings, towards, ends, "low", "where it has to go"),
    ES_QUANTITY_SETTING("fraction", struct settings, fraction, ES_DIM_RATIO, 0.5, 0.995, "90 %",
                        "share of its change at which it counts as gone"),
    ES_QUANTITY_SETTING("rest", struct settings, rest, ES_DIM_RATIO, 0.02, 0.5, "20 %",
                        "last share of the part after the loss, over which the final level is taken"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [FINAL] = {"final", ES_DIM_COUNT, "level at the end"},
    [TIME] = {"time", ES_DIM_TIME, "from the loss until the fraction of the change is done"},
    [DELAY] = {"delay", ES_DIM_TIME, "from the loss until the response begins"},
};

static const char *const trace_names[] = {"recording", NULL};

static size_t roles(const void *settings, enum es_role out[static 8])
{
    out[0] = (enum es_role)((const struct settings *)settings)->channel;
    return 1;
}

static double rate_needed(const void *settings, size_t output, double tolerance)
{
    (void)settings;
    return output == FINAL ? 0 : es_rate_of_time(tolerance);
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)facts;
    const struct es_channel_uncertainty *c = u[((const struct settings *)settings)->channel];
    if (!c)
        return NAN;
    return output == FINAL ? es_expected_level_u(c, 1, 0) : es_timing_u(c);
}

/* Writes around the loss that bound what it did: the rest before it, the part after it. */
static void bounds(const struct es_trace *trace, const struct es_command *loss, double *before, double *end)
{
    *before = 0;
    for (size_t i = 0; i < trace->command_count; i++) {
        const struct es_command *c = &trace->commands[i];
        if (c->role == ES_ROLE_WATCHDOG || c == loss)
            continue;
        if (c->t <= loss->t)
            *before = fmax(*before, c->t);
        else
            *end = fmin(*end, c->t);
    }
}

static void set_final(const struct es_rest *r, struct es_measured *m)
{
    struct es_budget b = {0};
    if (!r->valid) {
        es_measured_refuse(m, "%s", r->reason);
        return;
    }
    es_rest_noise(&b, r, 1);
    es_channel_terms(&b, &r->series->u, 1, r->p.mean, 1);
    es_measured_set(m, r->p.mean, &b);
    es_outputs_from(m, 0, 1, r->first, r->last);
}

static void set_time(const struct es_estimate *e, struct es_measured *m)
{
    if (e->valid)
        es_measured_set(m, e->value, &e->budget);
    else
        es_measured_refuse(m, "%s", e->reason);
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    (void)facts;
    const struct settings *s = settings;
    enum es_role channel = (enum es_role)s->channel;
    const struct es_series *series = es_trace_series(traces[0], channel);
    es_outputs_start(outputs, OUTPUTS, es_channel_dimension(traces[0], channel), channel, out);
    const struct es_command *loss = es_last_write(traces[0], (enum es_role)s->event);
    if (!series || !loss) {
        es_outputs_refuse(out, 0, OUTPUTS, "the recording has no %s of the %s", series ? "write" : "series",
                          es_role_info(series ? (enum es_role)s->event : channel)->name);
        return ES_OK;
    }
    double before, end = es_series_end(series);
    bounds(traces[0], loss, &before, &end);
    struct es_rest rest;
    enum es_status status =
        es_rest_take(traces[0], channel, end - s->rest * (end - loss->t), end, &rest, err);
    if (status != ES_OK)
        return status;
    set_final(&rest, &out[FINAL]);
    struct es_samples samples;
    status = es_samples_take(series, before, end, &samples, err);
    if (status != ES_OK)
        return status;
    struct es_step_input in = {.samples = &samples,
                               .rest_before = before,
                               .origin = loss->t,
                               .u_origin = loss->u_t,
                               .end = end,
                               .rest = s->rest,
                               .band = 0.05,
                               .share = s->fraction,
                               .u = series->u};
    struct es_step step;
    es_step_analyse(&in, &step);
    if (step.carried && (step.size > 0) != (s->towards == HIGH)) {
        es_outputs_refuse(out, TIME, OUTPUTS, "it went towards the %s end", ends[s->towards == LOW]);
    } else {
        set_time(&step.figures[ES_STEP_SHARE], &out[TIME]);
        set_time(&step.figures[ES_STEP_DEAD_TIME], &out[DELAY]);
    }
    if (samples.n)
        es_outputs_from(out, TIME, OUTPUTS, es_samples_index(&samples, 0),
                        es_samples_index(&samples, samples.n - 1));
    es_samples_free(&samples);
    return ES_OK;
}

const struct es_measure es_measure_loss = {
    .name = "loss",
    .meaning = "where a response goes, and how fast, when its signal or supply is lost",
    .source = "common practice, no published source; times as in ANSI/ISA-75.25.01",
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
