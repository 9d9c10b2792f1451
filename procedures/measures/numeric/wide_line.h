/* Part of wide_kernels.h: a line through samples and what it leaves. */
#ifndef ES_MEASURES_NUMERIC_WIDE_LINE_H
#define ES_MEASURES_NUMERIC_WIDE_LINE_H

#include "procedures/measures/numeric/lanes.h"
#include "procedures/measures/numeric/wide.h"
#include "procedures/measures/numeric/wide_ranges.h"
#include "procedures/measures/numeric/wide_sums.h"

struct line_lanes {
    struct es_lanes x, y, xx, xy;
};

static inline void sum_8(struct line_lanes *s, const es_wide_v *t, const es_wide_v *y, double middle,
                         double about)
{
    ES_EACH(k)
    {
        es_wide_v u = t[k] - middle, v = y[k] - about;
        s->x.v[k] += u;
        s->y.v[k] += v;
        s->xx.v[k] += u * u;
        s->xy.v[k] += u * v;
    }
}

/* Sums of chunks put together, so that rounding does not add up; `carried`: what the sum of y could not hold
 * (its mean is an output). */
struct summing {
    struct es_line_sums all;
    double carried, middle, about;
};

/* Takes in a chunk: its lanes, and its last samples, which did not fill them. */
static inline void add_chunk(struct summing *s, const struct line_lanes *lanes, const double *t,
                             const double *y, size_t n)
{
    struct es_line_sums one = {es_lanes_total(&lanes->x), es_lanes_total(&lanes->y),
                               es_lanes_total(&lanes->xx), es_lanes_total(&lanes->xy)};
    for (size_t i = 0; i < n; i++) {
        double u = t[i] - s->middle, v = y[i] - s->about;
        one.x += u;
        one.y += v;
        one.xx += u * u;
        one.xy += u * v;
    }
    double next = s->all.y + one.y, part = next - s->all.y;
    s->carried += (s->all.y - (next - part)) + (one.y - part);
    s->all.y = next;
    s->all.x += one.x;
    s->all.xx += one.xx;
    s->all.xy += one.xy;
}

/* With the scan where `scanned` is not NULL: one reading of memory, by chunks, does for both. */
static inline __attribute__((always_inline)) struct es_line_sums
sum_and_scan(const double *t, const double *y, const uint8_t *quality, size_t n, struct scanning *scanned)
{
    const bool at_once = ES_REGS == 1; /* else there are not registers enough for both */
    struct summing s = {.middle = 0.5 * (t[0] + t[n - 1]), .about = y[0]};
    for (size_t a = 0; a < n; a += ES_CHUNK) {
        size_t i = a, end = n - a < ES_CHUNK ? n : a + ES_CHUNK;
        struct line_lanes lanes = {0};
        for (; i + 8 <= end; i += 8) {
            struct es_lanes at, v;
            ES_EACH(k)
            {
                at.v[k] = ES_AT(t + i + ES_PER * k);
                v.v[k] = ES_AT(y + i + ES_PER * k);
            }
            sum_8(&lanes, at.v, v.v, s.middle, s.about);
            if (scanned && at_once)
                scan_8(scanned, at.v, v.v, quality + i);
        }
        add_chunk(&s, &lanes, t + i, y + i, end - i);
        if (scanned && !at_once)
            scan_on(scanned, t, y, quality, a, i);
        if (scanned)
            scan_rest(scanned, t, y, quality, i, end);
    }
    s.all.y += s.carried;
    return s.all;
}

static struct es_line_sums line_sums(const double *t, const double *y, size_t n)
{
    return sum_and_scan(t, y, NULL, n, NULL);
}

static struct es_scan scan_and_sum(const double *t, const double *y, const uint8_t *quality, size_t n,
                                   struct es_line_sums *sums)
{
    struct scanning s;
    start_scan(&s, t, y, n);
    *sums = sum_and_scan(t, y, quality, n, &s);
    return end_scan(&s);
}

/* What the line leaves of ES_PER samples, of one. */
static inline es_wide_v rest_of(const double *t, const double *y, const struct es_line *l)
{
    return (ES_AT(y) - l->b0) - l->b1 * (ES_AT(t) - l->middle);
}

static inline double rest_of_one(double t, double y, const struct es_line *l)
{
    return (y - l->b0) - l->b1 * (t - l->middle);
}

/* One chunk, first .. end - 1; `means` as in es_line_products. */
static inline __attribute__((always_inline)) void
chunk_products(const double *t, const double *y, size_t first, size_t end, struct es_line *l, double *means)
{
    struct es_lanes square = {0}, one = {0}, two = {0};
    double last[3] = {0}, r[3] = {0};
    es_wide_v before = es_lanes_all(0);
    size_t i = first;
    for (size_t k = 1; k <= 2 && k <= first; k++)
        before[ES_PER - k] = rest_of_one(t[first - k], y[first - k], l);
    for (; i + 8 <= end; i += 8) {
        struct es_lanes v;
        ES_EACH(k)
        {
            v.v[k] = rest_of(t + i + ES_PER * k, y + i + ES_PER * k, l);
            square.v[k] += v.v[k] * v.v[k];
            one.v[k] += v.v[k] * ES_LAG_1(before, v.v[k]);
            two.v[k] += v.v[k] * ES_LAG_2(before, v.v[k]);
            before = v.v[k];
        }
        if (means)
            means[i / 8] = es_lanes_total(&v) / 8;
    }
    r[1] = before[ES_PER - 1];
    r[2] = before[ES_PER - 2];
    for (; i < end; i++) {
        r[0] = rest_of_one(t[i], y[i], l);
        for (size_t lag = 0; lag < 3; lag++)
            last[lag] += r[0] * r[lag];
        r[2] = r[1];
        r[1] = r[0];
    }
    l->square += es_lanes_total(&square) + last[0];
    l->one += es_lanes_total(&one) + last[1];
    l->two += es_lanes_total(&two) + last[2];
}

static void line_products(const double *t, const double *y, size_t first, size_t n, struct es_line *l,
                          double *means)
{
    for (size_t a = first; a < n; a += ES_CHUNK) {
        size_t end = n - a < ES_CHUNK ? n : a + ES_CHUNK;
        if (means)
            chunk_products(t, y, a, end, l, means);
        else
            chunk_products(t, y, a, end, l, NULL);
    }
}

static void line_means_of_8(const double *t, const double *y, size_t n, const struct es_line *l, double *out)
{
    for (size_t i = 0; i + 8 <= n; i += 8) {
        struct es_lanes v;
        ES_EACH(k)
        v.v[k] = rest_of(t + i + ES_PER * k, y + i + ES_PER * k, l);
        out[i / 8] = es_lanes_total(&v) / 8;
    }
}

#endif
