/* Part of wide_kernels.h: what a least-squares fit of a constant and two columns sums up, and the columns of
 * a curve with a break. */
#ifndef ES_MEASURES_NUMERIC_WIDE_PAIR_H
#define ES_MEASURES_NUMERIC_WIDE_PAIR_H

#include "procedures/measures/numeric/lanes.h"
#include "procedures/measures/numeric/wide.h"

static struct es_pair_sums pair_sums(const double *a, const double *b, const double *y, double about,
                                     size_t n)
{
    struct es_lanes sy = {0}, sa = {0}, sb = {0}, ay = {0}, by = {0}, aa = {0}, ab = {0}, bb = {0};
    struct es_pair_sums last = {0};
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
        {
            size_t at = i + (size_t)(ES_PER * k);
            es_wide_v one = ES_AT(a + at), two = ES_AT(b + at), v = ES_AT(y + at) - about;
            sy.v[k] += v;
            sa.v[k] += one;
            sb.v[k] += two;
            ay.v[k] += one * v;
            by.v[k] += two * v;
            aa.v[k] += one * one;
            ab.v[k] += two * one;
            bb.v[k] += two * two;
        }
    for (; i < n; i++) {
        double v = y[i] - about;
        last.y += v;
        last.a += a[i];
        last.b += b[i];
        last.ay += a[i] * v;
        last.by += b[i] * v;
        last.aa += a[i] * a[i];
        last.ab += b[i] * a[i];
        last.bb += b[i] * b[i];
    }
    return (struct es_pair_sums){
        .y = es_lanes_total(&sy) + last.y,
        .a = es_lanes_total(&sa) + last.a,
        .b = es_lanes_total(&sb) + last.b,
        .ay = es_lanes_total(&ay) + last.ay,
        .by = es_lanes_total(&by) + last.by,
        .aa = es_lanes_total(&aa) + last.aa,
        .ab = es_lanes_total(&ab) + last.ab,
        .bb = es_lanes_total(&bb) + last.bb,
    };
}

static struct es_pair_rest pair_rest(const double *a, const double *b, const double *y, double about,
                                     const double c[3], size_t n)
{
    struct es_lanes square = {0}, sum = {0}, of_a = {0}, of_b = {0};
    struct es_pair_rest last = {0};
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
        {
            size_t at = i + (size_t)(ES_PER * k);
            es_wide_v one = ES_AT(a + at), two = ES_AT(b + at);
            es_wide_v r = (((ES_AT(y + at) - about) - c[0]) - c[1] * one) - c[2] * two;
            square.v[k] += r * r;
            sum.v[k] += r;
            of_a.v[k] += r * one;
            of_b.v[k] += r * two;
        }
    for (; i < n; i++) {
        double r = (((y[i] - about) - c[0]) - c[1] * a[i]) - c[2] * b[i];
        last.square += r * r;
        last.sum += r;
        last.a += r * a[i];
        last.b += r * b[i];
    }
    return (struct es_pair_rest){.square = es_lanes_total(&square) + last.square,
                                 .sum = es_lanes_total(&sum) + last.sum,
                                 .a = es_lanes_total(&of_a) + last.a,
                                 .b = es_lanes_total(&of_b) + last.b};
}

/* v where it is above 0, else 0. */
static inline es_wide_v above_0(es_wide_v v)
{
    es_wide_mask above = v > 0.0;
    return (es_wide_v)((es_wide_mask)v & above);
}

static void hinge(const double *t, size_t n, double at, double scale, bool smooth, double *a, double *b)
{
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
        {
            es_wide_v x = above_0((ES_AT(t + i + ES_PER * k) - at) / scale), first = x;
            if (smooth)
                first = x * x;
            *(es_wide_v *)(a + i + ES_PER * k) = first;
            *(es_wide_v *)(b + i + ES_PER * k) = first * x;
        }
    for (; i < n; i++) {
        double x = (t[i] - at) / scale;
        x = x > 0 ? x : 0;
        a[i] = smooth ? x * x : x;
        b[i] = a[i] * x;
    }
}

#endif
