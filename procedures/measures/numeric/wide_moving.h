/* Part of wide_kernels.h: moving means. */
#ifndef ES_MEASURES_NUMERIC_WIDE_MOVING_H
#define ES_MEASURES_NUMERIC_WIDE_MOVING_H

#include <math.h>

#include "procedures/measures/numeric/wide.h"
#include "procedures/measures/numeric/wide_line.h"
#include "procedures/measures/numeric/wide_ranges.h"
#include "procedures/measures/numeric/wide_sums.h"

/* Looks for the extremes only in the chunk that has one. */
static void note_extremes(const double *mean, size_t count, size_t first, struct es_moving *out)
{
    struct es_range r = range_of(mean, count);
    if (r.most > out->largest) {
        out->largest = r.most;
        for (size_t i = 0; i < count; i++)
            if (mean[i] == r.most) {
                out->at_largest = first + i;
                break;
            }
    }
    if (r.least < out->smallest) {
        out->smallest = r.least;
        for (size_t i = 0; i < count; i++)
            if (mean[i] == r.least) {
                out->at_smallest = first + i;
                break;
            }
    }
}

/* Running sums of v in place: four runs side by side, then put end to end. */
static inline void run_on(double *v, size_t count)
{
    double *b = v + ES_CHUNK / 4, *c = b + ES_CHUNK / 4, *d = c + ES_CHUNK / 4;
    if (count < ES_CHUNK) {
        for (size_t i = 1; i < count; i++)
            v[i] += v[i - 1];
        return;
    }
    for (size_t i = 1; i < ES_CHUNK / 4; i++) {
        v[i] += v[i - 1];
        b[i] += b[i - 1];
        c[i] += c[i - 1];
        d[i] += d[i - 1];
    }
    double on[4] = {0, v[ES_CHUNK / 4 - 1], 0, 0};
    on[2] = on[1] + b[ES_CHUNK / 4 - 1];
    on[3] = on[2] + c[ES_CHUNK / 4 - 1];
    for (size_t k = 1; k < 4; k++)
        for (size_t i = 0; i < ES_CHUNK / 4; i++)
            v[k * ES_CHUNK / 4 + i] += on[k];
}

static struct es_moving moving_means(const double *y, size_t n, size_t width, double about)
{
    struct es_moving out = {.largest = -INFINITY, .smallest = INFINITY};
    size_t means = n - width + 1;
    double mean[ES_CHUNK], last = 0, sum = 0, squares = 0, share = 1 / (double)width;
    for (size_t a = 0; a < means; a += ES_CHUNK) {
        size_t count = means - a < ES_CHUNK ? means - a : ES_CHUNK;
        // cppcheck-suppress knownConditionTrueFalse ; count is the caller's at the end
        for (size_t i = a ? 0 : 1; i < count; i++)
            mean[i] = (y[a + i + width - 1] - y[a + i - 1]) * share;
        /* a chunk begins with a sum of its own where that costs little: rounding does not run on */
        if (a == 0 || width <= ES_CHUNK)
            mean[0] = mean_about_first(y + a, width);
        else
            mean[0] += last;
        run_on(mean, count);
        last = mean[count - 1];
        note_extremes(mean, count, a, &out);
        // cppcheck-suppress knownConditionTrueFalse ; count is the caller's at the end
        for (size_t i = 0; i < count; i++)
            mean[i] -= about;
        sum += plain_sum(mean, count);
        squares += dot_of(mean, mean, count);
    }
    out.mean = sum / (double)means;
    out.mean_square = squares / (double)means;
    return out;
}

#endif
