/* Part of wide_kernels.h: a line through samples and what it leaves. */
#ifndef ES_MEASURES_NUMERIC_WIDE_LINE_H
#define ES_MEASURES_NUMERIC_WIDE_LINE_H

#include "procedures/measures/numeric/lanes.h"
#include "procedures/measures/numeric/wide.h"

static inline struct es_line_sums sums_of_chunk(const double *t, const double *y, size_t n, double middle,
                                                double about)
{
    struct es_lanes sx = {0}, sy = {0}, sxx = {0}, sxy = {0};
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
        {
            es_wide_v u = ES_AT(t + i + ES_PER * k) - middle, v = ES_AT(y + i + ES_PER * k) - about;
            sx.v[k] += u;
            sy.v[k] += v;
            sxx.v[k] += u * u;
            sxy.v[k] += u * v;
        }
    struct es_line_sums s = {es_lanes_total(&sx), es_lanes_total(&sy), es_lanes_total(&sxx),
                             es_lanes_total(&sxy)};
    for (; i < n; i++) {
        double u = t[i] - middle, v = y[i] - about;
        s.x += u;
        s.y += v;
        s.xx += u * u;
        s.xy += u * v;
    }
    return s;
}

/* By chunks, so that rounding does not add up. */
static struct es_line_sums line_sums(const double *t, const double *y, size_t n, double middle, double about)
{
    struct es_line_sums all = {0};
    double carried = 0; /* what the sum of y could not hold: its mean is an output */
    for (size_t a = 0; a < n; a += ES_CHUNK) {
        struct es_line_sums one =
            sums_of_chunk(t + a, y + a, n - a < ES_CHUNK ? n - a : ES_CHUNK, middle, about);
        double next = all.y + one.y, part = next - all.y;
        carried += (all.y - (next - part)) + (one.y - part);
        all.y = next;
        all.x += one.x;
        all.xx += one.xx;
        all.xy += one.xy;
    }
    all.y += carried;
    return all;
}

/* What the line leaves of ES_PER samples. */
static inline es_wide_v rest_of(const double *t, const double *y, const struct es_line *l)
{
    return (ES_AT(y) - l->b0) - l->b1 * (ES_AT(t) - l->middle);
}

/* Of r[0 .. n - 1] with itself, with the one before, and with the one before that; r[-2] can be read. */
static inline void lag_products(const double *r, size_t n, struct es_line *l)
{
    struct es_lanes square = {0}, one = {0}, two = {0};
    double last[3] = {0};
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
        {
            const double *p = r + i + ES_PER * k;
            es_wide_v v = ES_AT(p);
            square.v[k] += v * v;
            one.v[k] += v * ES_AT(p - 1);
            two.v[k] += v * ES_AT(p - 2);
        }
    for (; i < n; i++)
        for (size_t lag = 0; lag < 3; lag++)
            last[lag] += r[i] * *(r + i - lag);
    l->square += es_lanes_total(&square) + last[0];
    l->one += es_lanes_total(&one) + last[1];
    l->two += es_lanes_total(&two) + last[2];
}

static void line_products(const double *t, const double *y, size_t n, struct es_line *l)
{
    double r[ES_CHUNK + 2] = {0, 0}; /* the last two of the chunk before, then the chunk */
    for (size_t a = 0; a < n; a += ES_CHUNK) {
        size_t count = n - a < ES_CHUNK ? n - a : ES_CHUNK, i = 0;
        // cppcheck-suppress knownConditionTrueFalse ; count is the caller's at the end
        for (; i + 8 <= count; i += 8)
            ES_EACH(k)
        *(es_wide_v *)(r + 2 + i + ES_PER * k) = rest_of(t + a + i + ES_PER * k, y + a + i + ES_PER * k, l);
        // cppcheck-suppress knownConditionTrueFalse ; count is the caller's at the end
        for (; i < count; i++)
            r[2 + i] = (y[a + i] - l->b0) - l->b1 * (t[a + i] - l->middle);
        lag_products(r + 2, count, l);
        r[0] = r[count];
        r[1] = r[count + 1];
    }
}

static void line_means_of_8(const double *t, const double *y, size_t n, const struct es_line *l, double *out)
{
    for (size_t i = 0; i + 8 <= n; i += 8) {
        struct es_lanes r;
        ES_EACH(k)
        r.v[k] = rest_of(t + i + ES_PER * k, y + i + ES_PER * k, l);
        out[i / 8] = es_lanes_total(&r) / 8;
    }
}

#endif
