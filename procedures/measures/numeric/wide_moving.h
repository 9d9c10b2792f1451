/* Part of wide_kernels.h: moving means. */
#ifndef ES_MEASURES_NUMERIC_WIDE_MOVING_H
#define ES_MEASURES_NUMERIC_WIDE_MOVING_H

#include <math.h>

#include "procedures/measures/numeric/wide.h"
#include "procedures/measures/numeric/wide_line.h"
#include "procedures/measures/numeric/wide_ranges.h"
#include "procedures/measures/numeric/wide_sums.h"

/* First of mean[0 ..] that is v, which is one of them. */
static inline size_t first_that_is(const double *mean, double v)
{
    size_t i = 0;
    while (mean[i] != v)
        i++;
    return i;
}

/* Running sums of a whole chunk in place, as RUNS runs side by side; `on`: what each of them begins with. */
#define RUNS 4
#define RUN  (ES_CHUNK / RUNS)

static inline void run_on(double *v, double on[RUNS])
{
    for (size_t i = 1; i < RUN; i++)
        for (size_t k = 0; k < RUNS; k++)
            v[k * RUN + i] += v[k * RUN + i - 1];
    on[0] = 0;
    for (size_t k = 1; k < RUNS; k++)
        on[k] = k > 1 ? on[k - 1] + v[k * RUN - 1] : v[k * RUN - 1];
}

/* Sums of the means less `about` and of their squares, and the range of the means. */
struct chunk_of_means {
    struct es_range range;
    double sum, square;
};

/* Puts the runs of a whole chunk end to end on the way. */
static inline struct chunk_of_means whole_chunk(double *mean, const double on[RUNS], double about)
{
    struct ends e;
    struct es_lanes sum = {0}, square = {0};
    start_ends(&e, mean[0]);
    for (size_t i = 0; i < ES_CHUNK; i += 8)
        ES_EACH(k)
        {
            es_wide_v v = ES_AT(mean + i + ES_PER * k) + on[i / RUN], off = v - about;
            *(es_wide_v *)(mean + i + ES_PER * k) = v;
            es_lanes_widen(&e.least.v[k], &e.most.v[k], v);
            sum.v[k] += off;
            square.v[k] += off * off;
        }
    return (struct chunk_of_means){range_of_ends(&e), es_lanes_total(&sum), es_lanes_total(&square)};
}

static inline struct chunk_of_means last_chunk(double *mean, size_t count, double about)
{
    for (size_t i = 1; i < count; i++)
        mean[i] += mean[i - 1];
    struct chunk_of_means c = {.range = range_of(mean, count)};
    for (size_t i = 0; i < count; i++) {
        c.sum += mean[i] - about;
        c.square += (mean[i] - about) * (mean[i] - about);
    }
    return c;
}

static inline void note_extremes(const double *mean, struct es_range r, size_t first, struct es_moving *out)
{
    if (r.most > out->largest) {
        out->largest = r.most;
        out->at_largest = first + first_that_is(mean, r.most);
    }
    if (r.least < out->smallest) {
        out->smallest = r.least;
        out->at_smallest = first + first_that_is(mean, r.least);
    }
}

/* What each mean of a chunk gains on the one before, from .. count - 1; y: the samples of mean 0. The squares
 * of the steps to the samples that come in are summed on the way. */
static inline double take_gains(const double *y, size_t width, double share, size_t from, size_t count,
                                double *gain)
{
    struct es_lanes square = {0};
    double last = 0;
    size_t i = from;
    for (; i + 8 <= count; i += 8)
        ES_EACH(k)
        {
            size_t at = i + (size_t)(ES_PER * k);
            es_wide_v in = ES_AT(y + at + width - 1), step = in - ES_AT(y + at + width - 2);
            *(es_wide_v *)(gain + at) = (in - ES_AT(y + at - 1)) * share;
            square.v[k] += step * step;
        }
    for (; i < count; i++) {
        const double *in = y + i + width - 1, *out = y + i - 1;
        gain[i] = (*in - *out) * share;
        last += (*in - *(in - 1)) * (*in - *(in - 1));
    }
    return es_lanes_total(&square) + last;
}

static struct es_moving moving_means(const double *y, size_t n, size_t width, double about)
{
    struct es_moving out = {.largest = -INFINITY, .smallest = INFINITY};
    size_t means = n - width + 1;
    double mean[ES_CHUNK], on[RUNS], last = 0, sum = 0, square = 0, share = 1 / (double)width;
    double steps = sum_of(STEP_SQUARE, y, width - 1, (struct es_middle){0, 0});
    for (size_t a = 0; a < means; a += ES_CHUNK) {
        size_t count = means - a < ES_CHUNK ? means - a : ES_CHUNK;
        steps += take_gains(y + a, width, share, a ? 0 : 1, count, mean);
        /* a chunk begins with a sum of its own where that costs little: rounding does not run on */
        if (a == 0 || width <= ES_CHUNK)
            mean[0] = mean_about_first(y + a, width);
        else
            mean[0] += last;
        struct chunk_of_means c;
        // cppcheck-suppress knownConditionTrueFalse ; count is the caller's at the end
        if (count == ES_CHUNK) {
            run_on(mean, on);
            c = whole_chunk(mean, on, about);
        } else {
            c = last_chunk(mean, count, about);
        }
        last = mean[count - 1];
        note_extremes(mean, c.range, a, &out);
        sum += c.sum;
        square += c.square;
    }
    out.mean = sum / (double)means;
    out.mean_square = square / (double)means;
    out.step_square = n > 1 ? steps / (double)(n - 1) : 0;
    return out;
}

#endif
