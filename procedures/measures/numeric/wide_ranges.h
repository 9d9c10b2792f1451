/* Part of wide_kernels.h: what is asked of every value. */
#ifndef ES_MEASURES_NUMERIC_WIDE_RANGES_H
#define ES_MEASURES_NUMERIC_WIDE_RANGES_H

#include <math.h>
#include <string.h>

#include "procedures/measures/numeric/lanes.h"
#include "procedures/measures/numeric/wide.h"

static bool all_finite(const double *y, size_t n)
{
    struct es_lanes sum = {0};
    double last = 0;
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    sum.v[k] += ES_AT(y + i + ES_PER * k) * 0.0; /* 0 of a number, else no number */
    for (; i < n; i++)
        last += y[i] * 0.0;
    return es_lanes_total(&sum) + last == 0;
}

static bool all_zero(const uint8_t *bytes, size_t n)
{
    uint64_t any[8] = {0}, last = 0;
    size_t i = 0;
    for (; i + 64 <= n; i += 64) {
        uint64_t part[8];
        memcpy(part, bytes + i, sizeof part);
        for (int k = 0; k < 8; k++)
            any[k] |= part[k];
    }
    for (; i < n; i++)
        last |= bytes[i];
    for (int k = 0; k < 8; k++)
        last |= any[k];
    return last == 0;
}

struct ends {
    struct es_lanes least, most;
};

static inline void start_ends(struct ends *e, double first)
{
    ES_EACH(k)
    e->least.v[k] = e->most.v[k] = es_lanes_all(first);
}

static inline void widen(struct es_range *r, double v)
{
    r->least = v < r->least ? v : r->least;
    r->most = v > r->most ? v : r->most;
}

static inline struct es_range range_of_ends(const struct ends *e)
{
    struct es_range r = {es_lane(&e->least, 0), es_lane(&e->most, 0)};
    for (int k = 1; k < 8; k++) {
        widen(&r, es_lane(&e->least, k));
        widen(&r, es_lane(&e->most, k));
    }
    return r;
}

static struct es_range range_of(const double *y, size_t n)
{
    struct ends e;
    size_t i = 0;
    start_ends(&e, y[0]);
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    es_lanes_widen(&e.least.v[k], &e.most.v[k], ES_AT(y + i + ES_PER * k));
    struct es_range r = range_of_ends(&e);
    for (; i < n; i++)
        widen(&r, y[i]);
    return r;
}

/* ES_PER differences: of each to the one before. */
static inline es_wide_v steps_at(const double *t)
{
    return ES_AT(t) - ES_AT(t - 1);
}

static struct es_range range_of_differences(const double *t, size_t n)
{
    struct ends e;
    size_t i = 1;
    start_ends(&e, t[1] - t[0]);
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    es_lanes_widen(&e.least.v[k], &e.most.v[k], steps_at(t + i + ES_PER * k));
    struct es_range r = range_of_ends(&e);
    for (; i < n; i++)
        widen(&r, t[i] - t[i - 1]);
    return r;
}

/* A scan as far as it has come: lanes, and what did not fill them. */
struct scanning {
    struct ends y_ends, step_ends;
    struct es_range y, steps;
    struct es_lanes zero;
    es_wide_v before; /* the last times */
    double last;
    uint64_t bad;
};

static inline void start_scan(struct scanning *s, const double *t, const double *y, size_t n)
{
    double step = n > 1 ? t[1] - t[0] : 0;
    *s = (struct scanning){.y = {y[0], y[0]}, .steps = {step, step}};
    s->before = es_lanes_all(NAN); /* before the first there is none: no lesser, no greater */
    start_ends(&s->y_ends, y[0]);
    start_ends(&s->step_ends, step);
}

static inline void scan_8(struct scanning *s, const es_wide_v *t, const es_wide_v *y, const uint8_t *quality)
{
    uint64_t eight;
    memcpy(&eight, quality, sizeof eight);
    s->bad |= eight;
    ES_EACH(k)
    {
        s->zero.v[k] += y[k] * 0.0; /* 0 of a number, else no number */
        es_lanes_widen(&s->y_ends.least.v[k], &s->y_ends.most.v[k], y[k]);
        es_lanes_widen(&s->step_ends.least.v[k], &s->step_ends.most.v[k], t[k] - ES_LAG_1(s->before, t[k]));
        s->before = t[k];
    }
}

/* Samples from .. to - 1, a multiple of 8. */
static inline void scan_on(struct scanning *s, const double *t, const double *y, const uint8_t *quality,
                           size_t from, size_t to)
{
    for (size_t i = from; i < to; i += 8) {
        struct es_lanes at, v;
        ES_EACH(k)
        {
            at.v[k] = ES_AT(t + i + ES_PER * k);
            v.v[k] = ES_AT(y + i + ES_PER * k);
        }
        scan_8(s, at.v, v.v, quality + i);
    }
}

/* Samples from .. to - 1, fewer than 8, at the end. */
static inline void scan_rest(struct scanning *s, const double *t, const double *y, const uint8_t *quality,
                             size_t from, size_t to)
{
    for (size_t i = from; i < to; i++) {
        s->bad |= quality[i];
        s->last += y[i] * 0.0;
        widen(&s->y, y[i]);
        if (i > 0)
            widen(&s->steps, t[i] - t[i - 1]);
    }
}

static inline struct es_scan end_scan(const struct scanning *s)
{
    struct es_scan out = {.good = s->bad == 0 && es_lanes_total(&s->zero) + s->last == 0,
                          .y = range_of_ends(&s->y_ends),
                          .steps = range_of_ends(&s->step_ends)};
    widen(&out.y, s->y.least);
    widen(&out.y, s->y.most);
    widen(&out.steps, s->steps.least);
    widen(&out.steps, s->steps.most);
    return out;
}

static struct es_scan scan(const double *t, const double *y, const uint8_t *quality, size_t n)
{
    struct scanning s;
    start_scan(&s, t, y, n);
    scan_on(&s, t, y, quality, 0, n / 8 * 8);
    scan_rest(&s, t, y, quality, n / 8 * 8, n);
    return end_scan(&s);
}

#endif
