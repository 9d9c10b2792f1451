/* Self-adjustment: how long a unit keeps moving by itself after it was told to adjust itself.
 * Common practice, no published source.
 *   duration   from the last write of `event` in the recording (without one: from its beginning, that is from
 *              the operator's word) until the last movement ended: the last time at which the channel was
 *              outside a band of +-`movement` / 2 about where it came to rest
 *   ended      1 when it then stayed inside for `quiet` until the recording's end, else 0; 0 too when `event`
 *              was written and nothing moved at all: what never began has not come to an end
 * `movement` is a share of the largest movement in the recording, so that travel, angle and pressure are
 * treated alike. A unit that rests in between is not taken for done: the last movement counts. Refused: no
 * movement to speak of without a write of `event` (nobody knows that it was started), a band of less than
 * four steps of the reading or inside its noise (settling times within a few steps are chance), duration
 * while it still moves, recording shorter than `quiet`. */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>

#include "procedures/measures/holds.h"
#include "procedures/measures/local_fit.h"
#include "procedures/measures/measures.h"
#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/outputs.h"
#include "procedures/measures/rest_level.h"
#include "procedures/measures/samples.h"
#include "procedures/measures/timing.h"

enum { DURATION, ENDED, OUTPUTS };
#define LEAST      20
#define BAND_STEPS 4.0 /* half-width of the band in steps of the reading, at least */
#define BAND_NOISE 5.0 /* and in standard deviations of a mean of MEANS readings */
#define MEANS      5
#define STEEP      6.0 /* movement from reading to reading in standard deviations of one: drawn by no noise */
#define STANDS_OUT 20.0 /* whole movement over noise of one reading: less is none */

struct settings {
    int channel, event;
    double quiet, movement;
};

static const struct es_field rows[] = {
    ES_ROLE_SETTING("channel", struct settings, channel, false, "travel", "what moves while it adjusts"),
    ES_ROLE_SETTING("event", struct settings, event, false, "self-adjustment",
                    "its last write starts the time; without one the recording's beginning does"),
    ES_QUANTITY_SETTING("quiet", struct settings, quiet, ES_DIM_TIME, 0.5, 600, "10 s",
                        "without movement for so long: it has ended"),
    ES_QUANTITY_SETTING("movement", struct settings, movement, ES_DIM_RATIO, 0.002, 0.5, "2 %",
                        "of the largest movement in the recording: less is none"),
};

static const struct es_measure_output outputs[OUTPUTS] = {
    [DURATION] = {"duration", ES_DIM_TIME, "until the last movement ended"},
    [ENDED] = {"ended", ES_DIM_NUMBER, "1: it came to rest, 0: it was still moving"},
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
    return output == DURATION ? es_rate_of_time(tolerance) : 0;
}

static double expected_u(const void *settings, size_t output, const struct es_channel_uncertainty *const *u,
                         const struct es_facts *facts)
{
    (void)facts;
    const struct es_channel_uncertainty *c = u[((const struct settings *)settings)->channel];
    return output == ENDED ? 0 : c ? es_timing_u(c) : NAN;
}

/* When the last movement ended, s. */
struct ending {
    double at, u;
    double half_width; /* of a rectangle about `at`, beside u */
};

/* A mean of readings, the middle of the last of which outside the band is `last`: it may have been held
 * outside by its first reading alone. */
static struct ending by_means(const struct es_samples *s, size_t last)
{
    const size_t behind = MEANS / 2;
    double interval = s->t[last + 1] - s->t[last], late = (double)behind;
    return (struct ending){.at = s->t[last] + 0.5 * (1 - late) * interval,
                           .half_width = 0.5 * (1 + late) * interval};
}

/* From reading i, the last outside, to the next the channel goes on as before or stops short: a parabola
 * through the readings up to i, and the chord for what slows down more than it tells. False where noise has a
 * part in them. */
static bool by_course(const struct es_samples *s, size_t i, double edge, double noise, double u_level,
                      struct ending *out)
{
    struct es_fit fit;
    double interval = s->t[i + 1] - s->t[i], away = s->y[i] - edge;
    if (i < 3 || !(interval > 0) || !(fabs(s->y[i] - s->y[i - 1]) > STEEP * noise))
        return false;
    double slope = (s->y[i] - s->y[i - 1]) / (s->t[i] - s->t[i - 1]);
    if (!(slope * away < 0) || !es_polynomial_fit(s->t + i - 3, s->y + i - 3, 4, 2, s->t[i], interval, &fit))
        return false;
    double straight = fmin(1, -away / slope / interval), chord = away / (s->y[i] - s->y[i + 1]);
    double b = fit.b[1], root = b * b - 4 * fit.b[2] * away;
    double bent = root >= 0 ? -2 * away / (b + copysign(sqrt(root), b)) : 1;
    if (!(bent >= 0 && bent <= 1))
        bent = 1;
    /* the end is known as well as the two courses agree; beyond the chord only noise can carry it */
    double value = fmin(bent, fmax(chord, straight));
    out->at = s->t[i] + value * interval;
    out->u = hypot(es_polynomial_u(&fit, s->t[i], interval, out->at, noise), u_level) / fabs(slope);
    out->half_width = fabs(value - straight) * interval;
    return true;
}

/* The last reading outside the band among those of the last mean outside; false where noise may have carried
 * it there. */
static bool last_reading(const struct es_samples *s, size_t last, double level, double half, double noise,
                         size_t *index)
{
    for (size_t i = last + MEANS / 2 + 1; i-- > last - MEANS / 2;)
        if (fabs(s->y[i] - level) > half) {
            *index = i;
            return half > BAND_NOISE * noise;
        }
    return false;
}

/* The end of the last movement in the samples; false when it never left the band. */
static bool last_outside(const struct es_samples *s, const struct es_rest *rest, double half,
                         struct ending *out)
{
    double level = rest->p.mean, u_level = es_rest_u(rest), noise = rest->p.s, off = 0;
    size_t m = MEANS / 2, last = 0, i;
    for (size_t k = m; k + m < s->n; k++) {
        double mean = es_mean(s->y + k - m, MEANS) - level;
        if (fabs(mean) > half) {
            last = k;
            off = mean;
        }
    }
    if (off == 0 || last + m + 2 >= s->n) {
        *out = (struct ending){.at = s->t[s->n - 1]};
        return off != 0;
    }
    double edge = level + copysign(half, off);
    if (last_reading(s, last, level, half, noise, &i) && by_course(s, i, edge, noise, u_level, out))
        return true;
    struct es_curve_view view = {s->t, s->y, s->n, noise, 1};
    struct es_local l;
    *out = by_means(s, last);
    double reach = 3 * MEANS * s->interval;
    if (!es_local_crossing(&view, edge, out->at, reach, &l) || fabs(l.at - out->at) > MEANS * s->interval)
        return true;
    double pause, u_at = l.slope != 0 ? hypot(l.u_at, u_level / fabs(l.slope)) : l.u_at;
    if (!es_local_pause(&view, &l, u_level, off > 0 ? -1 : 1, l.at - reach, &l.at, &pause))
        *out = (struct ending){l.at, hypot(u_at, es_rectangular(0.25 * s->interval)), 0};
    else
        *out = (struct ending){l.at, 0, pause};
    return true;
}

/* Noise of one reading from the median step between neighbours: movements count where they fill most of the
 * recording, then the scatter at its end tells it. 0 without memory. */
static double quiet_noise(const struct es_samples *s)
{
    double *steps = malloc(s->n * sizeof *steps), noise = 0;
    if (!steps)
        return 0;
    for (size_t i = 1; i < s->n; i++)
        steps[i - 1] = fabs(s->y[i] - s->y[i - 1]);
    noise = es_median(steps, s->n - 1) / (0.6744897501960817 * sqrt(2.0));
    free(steps);
    return noise;
}

/* Level at the end and the whole movement; false with a reason. */
static bool take_levels(const struct settings *s, const struct es_samples *samples,
                        const struct es_rest *rest, bool told, double *half, struct es_measured *out)
{
    const struct es_budget none = {0};
    double most = es_largest(samples->y, samples->n) - es_least(samples->y, samples->n);
    double q = rest->series->u.resolution, noise = fmin(quiet_noise(samples), rest->p.s);
    double noise_of_mean = noise / sqrt(MEANS);
    *half = 0.5 * s->movement * most;
    if (!(most > STANDS_OUT * noise) || !(most > BAND_STEPS * q)) {
        es_outputs_refuse(out, 0, OUTPUTS,
                          "nothing moved in the recording: the self-adjustment did not start");
        if (told) {
            es_measured_set(&out[ENDED], 0, &none);
            es_outputs_from(out, ENDED, OUTPUTS, es_samples_index(samples, 0),
                            es_samples_index(samples, samples->n - 1));
        }
        return false;
    }
    if (*half < BAND_STEPS * q || *half < BAND_NOISE * noise_of_mean) {
        double least = 2 * fmax(BAND_STEPS * q, BAND_NOISE * noise_of_mean) / most;
        es_outputs_refuse(out, 0, OUTPUTS,
                          "a movement of %.2f %% is lost in noise or steps of the reading; %.2f %% would do",
                          100 * s->movement, 100 * least);
        return false;
    }
    return true;
}

static void conclude(const struct settings *s, const struct es_samples *samples, const struct es_rest *rest,
                     double half, double start, double u_start, struct es_measured *out)
{
    struct es_budget none = {0}, b = {0};
    struct ending e = {.at = start};
    double end = samples->t[samples->n - 1];
    bool moved = last_outside(samples, rest, half, &e);
    bool ended = end - e.at >= s->quiet && rest->surely <= 2 * half;
    es_measured_set(&out[ENDED], ended ? 1 : 0, &none);
    es_outputs_from(out, 0, OUTPUTS, es_samples_index(samples, 0), es_samples_index(samples, samples->n - 1));
    if (!ended) {
        es_measured_refuse(&out[DURATION], "still moving %.0f s after the beginning, %.1f s before the end",
                           e.at - start, end - e.at);
        return;
    }
    if (!moved) {
        es_outputs_refuse(out, 0, OUTPUTS, "nothing moved after the beginning");
        return;
    }
    double late = es_timing_terms(&rest->series->u, rest->series->u.refresh, u_start, &b);
    es_budget_add(&b, ES_TERM_REPEAT, e.u, 30);
    es_budget_add_rectangle(&b, ES_TERM_REPEAT, e.half_width);
    es_measured_set(&out[DURATION], e.at - start - late, &b);
}

static enum es_status evaluate(const void *settings, const struct es_trace *const *traces,
                               const struct es_facts *facts, struct es_measured *out, struct es_error *err)
{
    (void)facts;
    const struct settings *s = settings;
    enum es_role channel = (enum es_role)s->channel;
    const struct es_series *series = es_trace_series(traces[0], channel);
    const struct es_command *told = es_last_write(traces[0], (enum es_role)s->event);
    struct es_samples samples;
    struct es_rest rest;
    char text[160];
    double half, end = es_series_end(series), start = told ? told->t : 0;
    es_outputs_start(outputs, OUTPUTS, ES_DIM_NUMBER, channel, out);
    if (!series) {
        es_outputs_refuse(out, 0, OUTPUTS, "the recording has no series of the %s",
                          es_role_info(channel)->name);
        return ES_OK;
    }
    enum es_status status = es_rest_take(traces[0], channel, end - 0.5 * s->quiet, end, &rest, err);
    if (status == ES_OK)
        status = es_samples_take(series, start, end, &samples, err);
    if (status != ES_OK)
        return status;
    const char *why = es_samples_unfit(&samples, LEAST, text);
    if (why || !rest.valid)
        es_outputs_refuse(out, 0, OUTPUTS, "%s", why ? why : rest.reason);
    else if (end - start < s->quiet)
        es_outputs_refuse(out, 0, OUTPUTS,
                          "the recording ends %.1f s after the beginning, sooner than \"quiet\"",
                          end - start);
    else if (take_levels(s, &samples, &rest, told != NULL, &half, out))
        conclude(s, &samples, &rest, half, start, told ? told->u_t : 0, out);
    es_samples_free(&samples);
    return ES_OK;
}

const struct es_measure es_measure_self_adjustment = {
    .name = "self-adjustment",
    .meaning = "how long a unit moves by itself after it was told to adjust itself",
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
