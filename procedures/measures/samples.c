#include "procedures/measures/samples.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/numeric/summary.h"

#define MOST_MISSING 0.1
#define GAP_FACTOR   3.5

void es_samples_free(struct es_samples *s)
{
    free(s->t);
    free(s->y);
    free(s->index);
    memset(s, 0, sizeof *s);
}

/* Usual interval, and what the gaps between samples (good or not) hide. `times` is used up. */
static void describe_gaps(struct es_samples *s, double *times, size_t count)
{
    if (count < 2)
        return;
    for (size_t i = 1; i < count; i++)
        times[i - 1] = times[i] - times[i - 1];
    size_t steps = count - 1;
    double longest = es_largest(times, steps);
    s->interval = es_median(times, steps);
    if (!(s->interval > 0) || longest <= GAP_FACTOR * s->interval)
        return;
    for (size_t i = 0; i < steps; i++)
        if (times[i] > GAP_FACTOR * s->interval)
            s->missing += (size_t)fmin(times[i] / s->interval - 0.5, 1e9);
}

/* Longest time without a good sample, the ends of the span included where they are finite. */
static double longest_gap(const struct es_samples *s, double from, double to)
{
    if (s->n == 0)
        return to - from;
    double gap = fmax(isfinite(from) ? s->t[0] - from : 0, isfinite(to) ? to - s->t[s->n - 1] : 0);
    for (size_t i = 1; i < s->n; i++)
        gap = fmax(gap, s->t[i] - s->t[i - 1]);
    return gap;
}

static size_t first_at(const double *t, size_t n, double limit)
{
    size_t low = 0, high = n;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (t[mid] < limit)
            low = mid + 1;
        else
            high = mid;
    }
    return low;
}

enum es_status es_samples_take(const struct es_series *series, double from, double to, struct es_samples *out,
                               struct es_error *err)
{
    struct es_samples s = {.series = series};
    size_t first = first_at(series->t, series->count, from);
    size_t room = series->count - first + 1;
    s.t = malloc(room * sizeof *s.t);
    s.y = malloc(room * sizeof *s.y);
    s.index = malloc(room * sizeof *s.index);
    double *times = malloc(room * sizeof *times);
    size_t count = 0;
    if (!s.t || !s.y || !s.index || !times) {
        free(times);
        es_samples_free(&s);
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu samples.", room);
    }
    for (size_t i = first; i < series->count && series->t[i] <= to; i++) {
        times[count++] = series->t[i];
        if (series->quality[i] != ES_GOOD || !isfinite(series->y[i])) {
            s.missing++;
            continue;
        }
        if (es_at_end(series, series->y[i]) && s.at_end++ == 0)
            s.end_value = series->y[i];
        s.t[s.n] = series->t[i];
        s.y[s.n] = series->y[i];
        s.index[s.n++] = i;
    }
    describe_gaps(&s, times, count);
    s.gap = longest_gap(&s, from, to);
    free(times);
    *out = s;
    return ES_OK;
}

size_t es_samples_at(const struct es_samples *s, double limit)
{
    return first_at(s->t, s->n, limit);
}

static const char *say_end(const struct es_samples *s, char text[static 160])
{
    const struct es_series *series = s->series;
    const struct es_unit *unit = es_dimension_unit(series->dimension);
    snprintf(text, 160, "the %s is at the end of its range (%.6g to %.6g %s) in %zu of %zu samples: %.6g %s",
             es_role_info(series->role)->name, es_to_unit(series->low, unit), es_to_unit(series->high, unit),
             unit->name, s->at_end, s->n, es_to_unit(s->end_value, unit), unit->name);
    return text;
}

const char *es_samples_clipped(const struct es_series *series, double from, double to, char text[static 160])
{
    struct es_samples s = {.series = series};
    for (size_t i = first_at(series->t, series->count, from); i < series->count && series->t[i] <= to; i++) {
        if (series->quality[i] != ES_GOOD)
            continue;
        s.n++;
        if (es_at_end(series, series->y[i]) && s.at_end++ == 0)
            s.end_value = series->y[i];
    }
    return s.at_end > 0 ? say_end(&s, text) : NULL;
}

const char *es_samples_unfit(const struct es_samples *s, size_t least, char text[static 160])
{
    if (s->n < least) {
        snprintf(text, 160, "too few good samples: %zu, at least %zu are needed (%zu missing or not good)",
                 s->n, least, s->missing);
        return text;
    }
    if ((double)s->missing > MOST_MISSING * (double)(s->n + s->missing)) {
        snprintf(text, 160, "%zu of %zu samples are missing or not good (out of range, stale or failed)",
                 s->missing, s->n + s->missing);
        return text;
    }
    return s->at_end > 0 ? say_end(s, text) : NULL;
}
