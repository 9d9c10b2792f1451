#include "procedures/measures/samples.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/numeric/summary.h"

#define MOST_MISSING 0.1
#define GAP_FACTOR   3.5

void es_samples_free(struct es_samples *s)
{
    free(s->copy);
    free(s->index);
    memset(s, 0, sizeof *s);
}

/* Usual interval, longest gap, and what the gaps between samples (good or not) hide. False when out of
 * memory.
 */
static bool describe_gaps(struct es_samples *s, const double *times, size_t count, struct es_range steps)
{
    if (count < 2)
        return true;
    if (!es_median_of_differences(times, count, steps, &s->interval))
        return false;
    s->gap = steps.most;
    s->even = s->n == count && es_are_even(times, count, steps);
    if (!(s->interval > 0) || steps.most <= GAP_FACTOR * s->interval)
        return true;
    for (size_t i = 1; i < count; i++)
        if (times[i] - times[i - 1] > GAP_FACTOR * s->interval)
            s->missing += (size_t)fmin((times[i] - times[i - 1]) / s->interval - 0.5, 1e9);
    return true;
}

/* Longest time without a good sample, the ends of the span included where they are finite. */
static double longest_gap(const struct es_samples *s, double from, double to)
{
    if (s->n == 0)
        return to - from;
    double gap = fmax(isfinite(from) ? s->t[0] - from : 0, isfinite(to) ? to - s->t[s->n - 1] : 0);
    if (!s->index) /* all of them: their gaps are known */
        return fmax(gap, s->gap);
    return s->n > 1 ? fmax(gap, es_range_of_differences(s->t, s->n).most) : gap;
}

/* `scan`: of the samples, where all are good. */
static void count_ends(struct es_samples *s, const struct es_scan *scan)
{
    const struct es_series *series = s->series;
    if (!(series->low < series->high) || s->n == 0)
        return;
    struct es_range r = scan->good ? scan->y : es_range_of(s->y, s->n);
    if (!es_at_end(series, r.least) && !es_at_end(series, r.most))
        return;
    for (size_t i = 0; i < s->n; i++)
        if (es_at_end(series, s->y[i]) && s->at_end++ == 0)
            s->end_value = s->y[i];
}

/* Copies the good ones of count samples; false when out of memory. */
static bool pick_good(struct es_samples *s, size_t count)
{
    const struct es_series *series = s->series;
    s->copy = malloc((2 * count + 1) * sizeof *s->copy);
    s->index = malloc((count + 1) * sizeof *s->index);
    if (!s->copy || !s->index)
        return false;
    double *t = s->copy, *y = s->copy + count;
    for (size_t i = s->first; i < s->first + count; i++) {
        if (series->quality[i] != ES_GOOD || !isfinite(series->y[i])) {
            s->missing++;
            continue;
        }
        t[s->n] = series->t[i];
        y[s->n] = series->y[i];
        s->index[s->n++] = i;
    }
    s->t = t;
    s->y = y;
    return true;
}

/* First sample after `limit`. */
static size_t first_after(const double *t, size_t n, double limit)
{
    return isfinite(limit) ? es_first_at(t, n, nextafter(limit, INFINITY)) : (limit > 0 ? n : 0);
}

static_assert(ES_GOOD == 0, "good samples are found by their zeros");

/* The rest of taking `count` samples from s->first on, once they are scanned. */
static enum es_status take_scanned(struct es_samples *s, size_t count, double from, double to,
                                   const struct es_scan *scan, struct es_error *err)
{
    const double *t = s->series->t + s->first;
    bool room = true;
    if (scan->good) {
        s->t = t;
        s->y = s->series->y + s->first;
        s->n = count;
    } else {
        room = pick_good(s, count);
    }
    if (!room || (count && !describe_gaps(s, t, count, scan->steps))) {
        es_samples_free(s);
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu samples.", count);
    }
    count_ends(s, scan);
    s->gap = longest_gap(s, from, to);
    return ES_OK;
}

static enum es_status take(const struct es_series *series, double from, double to, bool summed,
                           struct es_samples *out, struct es_error *err)
{
    struct es_samples s = {.series = series, .first = es_first_at(series->t, series->count, from)};
    size_t end = first_after(series->t, series->count, to), count = end > s.first ? end - s.first : 0;
    const double *t = series->t + s.first, *y = series->y + s.first;
    const uint8_t *quality = series->quality + s.first;
    struct es_scan scan = {.good = false};
    if (count > 0)
        scan = summed ? es_scan_and_sum(t, y, quality, count, &s.sums) : es_scan_of(t, y, quality, count);
    s.summed = summed && scan.good;
    enum es_status status = take_scanned(&s, count, from, to, &scan, err);
    if (status == ES_OK)
        *out = s;
    return status;
}

enum es_status es_samples_take_scanned(const struct es_series *series, const struct es_scan *scan,
                                       struct es_samples *out, struct es_error *err)
{
    struct es_samples s = {.series = series};
    enum es_status status = take_scanned(&s, series->count, -INFINITY, INFINITY, scan, err);
    if (status == ES_OK)
        *out = s;
    return status;
}

enum es_status es_samples_take(const struct es_series *series, double from, double to, struct es_samples *out,
                               struct es_error *err)
{
    return take(series, from, to, false, out, err);
}

enum es_status es_samples_take_level(const struct es_series *series, double from, double to,
                                     struct es_samples *out, struct es_error *err)
{
    return take(series, from, to, true, out, err);
}

enum es_status es_samples_take_later(const struct es_samples *all, double from, double to,
                                     struct es_samples *out, struct es_error *err)
{
    if (!all->even || all->missing > 0 || all->at_end > 0)
        return es_samples_take(all->series, from, to, out, err);
    size_t a = es_first_at(all->t, all->n, from);
    struct es_samples s = *all;
    s.t += a;
    s.y += a;
    s.first += a;
    s.n -= a;
    s.summed = false;
    s.gap = longest_gap(&s, from, to);
    *out = s;
    return ES_OK;
}

size_t es_samples_index(const struct es_samples *s, size_t i)
{
    return s->index ? s->index[i] : s->first + i;
}

/* Of `count` stretches of n samples, the one that holds sample i. */
static size_t stretch_of(size_t i, size_t n, size_t count)
{
    size_t b = i * count / n;
    return b + 1 < count && (b + 1) * n / count <= i ? b + 1 : b;
}

/* Mean times of stretches from .. to - 1; even ones need not be read for it. */
static void mean_times(const struct es_samples *s, size_t count, size_t from, size_t to, double *out)
{
    if (!s->even) {
        es_some_block_means(s->t, s->n, count, from, to, out);
        return;
    }
    double step = (s->t[s->n - 1] - s->t[0]) / (double)(s->n - 1);
    size_t first = from * s->n / count;
    for (size_t b = from; b < to; b++) {
        size_t end = (b + 1) * s->n / count;
        out[b - from] = s->t[0] + 0.5 * (double)(first + end - 1) * step;
        first = end;
    }
}

enum es_status es_samples_thin_between(const struct es_samples *s, size_t count, double begin, double end,
                                       struct es_samples *out, struct es_error *err)
{
    size_t a = es_first_at(s->t, s->n, begin), z = first_after(s->t, s->n, end);
    size_t from = count && a < s->n ? stretch_of(a, s->n, count) : count;
    size_t to = count && z > 0 ? stretch_of(z - 1, s->n, count) + 1 : from, kept = to > from ? to - from : 0;
    double *copy = malloc((2 * kept + 1) * sizeof *copy);
    if (!copy)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu samples.", kept);
    struct es_samples thin = *s;
    thin.index = NULL;
    thin.summed = thin.even = false;
    thin.copy = copy;
    thin.t = copy;
    thin.y = copy + kept;
    thin.n = kept;
    if (kept > 0) {
        mean_times(s, count, from, to, copy);
        es_some_block_means(s->y, s->n, count, from, to, copy + kept);
    }
    if (kept > 1)
        thin.interval = (thin.t[kept - 1] - thin.t[0]) / (double)(kept - 1);
    *out = thin;
    return ES_OK;
}

enum es_status es_samples_thin(const struct es_samples *s, size_t count, struct es_samples *out,
                               struct es_error *err)
{
    return es_samples_thin_between(s, count, -INFINITY, INFINITY, out, err);
}

size_t es_samples_at(const struct es_samples *s, double limit)
{
    return es_first_at(s->t, s->n, limit);
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
    if (!(series->low < series->high))
        return NULL;
    for (size_t i = es_first_at(series->t, series->count, from); i < series->count && series->t[i] <= to;
         i++) {
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
