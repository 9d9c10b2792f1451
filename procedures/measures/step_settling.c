#include "procedures/measures/step_settling.h"

#include <math.h>
#include <stdio.h>

#define LEAST_COUNTS 4.0 /* steps of the reading that the band must be wide */
#define NOISE_SHARE  0.2 /* of the band that the noise of a smoothed value may reach */

/* Half-width m, samples, at which the noise of a mean of 2 m + 1 falls to `wanted`; at most `most`. */
static size_t smoothing(double noise, double wanted, size_t most)
{
    size_t m = 0;
    while (m < most && noise / sqrt(2.0 * (double)m + 1) > wanted)
        m++;
    return m;
}

static size_t most_smoothing(const struct es_samples *s, double rise)
{
    double most = s->interval > 0 ? 0.25 * rise / s->interval : 0;
    return (size_t)fmin(fmax(most, 0), 1e6);
}

double es_settling_summit(const struct es_samples *s, double noise, double from, int sign, double rise)
{
    size_t m = smoothing(noise, 0.002, most_smoothing(s, rise));
    size_t a = es_samples_at(s, from), width = 2 * m + 1;
    if (a + width > s->n)
        return NAN;
    double sum = 0, best, at = s->t[a + m];
    for (size_t k = a; k < a + width; k++)
        sum += s->y[k];
    best = sign * sum;
    for (size_t k = a + width; k < s->n; k++) {
        sum += s->y[k] - s->y[k - width];
        if (sign * sum > best) {
            best = sign * sum;
            at = s->t[k - m];
        }
    }
    return at;
}

/* Index of the middle of the last smoothed value outside +-band, and on which side; false when none. */
static bool last_outside(const struct es_settling_input *in, size_t m, double half, size_t *index, int *side)
{
    const struct es_samples *s = in->samples;
    size_t width = 2 * m + 1;
    if (s->n < width)
        return false;
    double sum = 0;
    for (size_t k = s->n - width; k < s->n; k++)
        sum += s->y[k];
    for (size_t k = s->n - width;; k--) {
        double off = sum / (double)width - in->end_level;
        if (fabs(off) > half) {
            *index = k + m;
            *side = off > 0 ? 1 : -1;
            return true;
        }
        if (k == 0 || s->t[k + m] < in->origin)
            return false;
        sum += s->y[k - 1] - s->y[k + width - 1];
    }
}

static double entry_time(const struct es_settling_input *in, size_t m, double half)
{
    size_t i;
    int side;
    if (!last_outside(in, m, half, &i, &side))
        return in->origin;
    return in->samples->t[i + 1 < in->samples->n ? i + 1 : i];
}

/* The way into the band from the start's side may pause (stick and slip) near its edge: then true. */
static bool take_crossing(const struct es_settling_input *in, const struct es_local *l, int sign,
                          struct es_settled *out)
{
    double at, half_width;
    out->at = l->at;
    out->u_at = hypot(l->u_at, in->u_level / fabs(l->slope));
    if (!(sign * (in->end_level - in->start) > 0) ||
        !es_local_pause(&in->view, l, in->u_level, sign, in->origin, &at, &half_width) ||
        fabs(at - l->at) > half_width)
        return false;
    out->at = at;
    out->u_at = 0;
    out->half_width = half_width;
    return true;
}

bool es_settling_find(const struct es_settling_input *in, struct es_settled *out)
{
    double size = fabs(in->end_level - in->start), half = in->band * size;
    double noise = in->view.s * sqrt(in->view.inflation);
    if (half < LEAST_COUNTS * in->resolution) {
        snprintf(
            out->reason, sizeof out->reason,
            "a band of %.1f %% is %.1f steps of the reading wide, at least %.0f are needed: take a band of "
            "%.1f %% or a larger step",
            100 * in->band, half / in->resolution, LEAST_COUNTS,
            ceil(1000 * LEAST_COUNTS * in->resolution / size) / 10);
        return false;
    }
    size_t m = smoothing(noise, NOISE_SHARE * half / 4, most_smoothing(in->samples, in->rise));
    double left = noise / sqrt(2.0 * (double)m + 1);
    if (left > NOISE_SHARE * half || 2 * in->u_level > half) {
        snprintf(out->reason, sizeof out->reason,
                 "a band of %.1f %% lies within the noise (%.2f %% of the step): take a wider band",
                 100 * in->band, 100 * left / size);
        return false;
    }
    size_t i;
    int side;
    if (!last_outside(in, m, half, &i, &side)) {
        snprintf(out->reason, sizeof out->reason, "the response was within its band from the beginning");
        return false;
    }
    double guess = in->samples->t[i + 1 < in->samples->n ? i + 1 : i];
    if (guess >= in->rest_from) {
        snprintf(out->reason, sizeof out->reason,
                 "not settled: it left the band of %.1f %% within the last part of the recording",
                 100 * in->band);
        return false;
    }
    struct es_local l = {0};
    out->half_width = 0;
    double level = in->end_level + side * half;
    if (es_local_crossing(&in->view, level, guess, fmax(0.6 * in->rise, 3 * in->samples->interval), &l) &&
        fabs(l.at - guess) < in->rise + 4 * in->samples->interval) {
        if (take_crossing(in, &l, -side, out))
            return true;
    } else {
        out->at = guess;
        out->u_at = (double)(m + 1) * in->samples->interval;
    }
    /* A summit that only just touches the band decides between two crossings far apart. */
    double doubt = 2 * hypot(left, in->u_level), steady = 0;
    double early = entry_time(in, m, half + doubt), late = entry_time(in, m, half - doubt);
    if (l.slope != 0)
        steady = 3 * doubt / fabs(l.slope);
    if (late - early > steady + 6 * out->u_at + 2 * in->samples->interval)
        out->u_at = hypot(out->u_at, (late - early) / 2 / sqrt(3.0));
    return true;
}
