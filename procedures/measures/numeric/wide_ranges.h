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

/* Of the lanes, and of two more numbers. */
static inline struct es_range range_of_ends(const struct ends *e)
{
    struct es_range r = {es_lane(&e->least, 0), es_lane(&e->most, 0)};
    for (int k = 1; k < 8; k++) {
        r.least = fmin(r.least, es_lane(&e->least, k));
        r.most = fmax(r.most, es_lane(&e->most, k));
    }
    return r;
}

static inline void widen(struct es_range *r, double v)
{
    r->least = fmin(r->least, v);
    r->most = fmax(r->most, v);
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

static struct es_scan scan(const double *t, const double *y, const uint8_t *quality, size_t n)
{
    struct ends of_y, of_steps;
    struct es_lanes zero = {0};
    uint64_t bad = quality[0];
    double last = y[0] * 0.0;
    size_t i = 1;
    start_ends(&of_y, y[0]);
    start_ends(&of_steps, n > 1 ? t[1] - t[0] : 0);
    for (; i + 8 <= n; i += 8) {
        uint64_t eight;
        memcpy(&eight, quality + i, sizeof eight);
        bad |= eight;
        ES_EACH(k)
        {
            es_wide_v v = ES_AT(y + i + ES_PER * k);
            zero.v[k] += v * 0.0;
            es_lanes_widen(&of_y.least.v[k], &of_y.most.v[k], v);
            es_lanes_widen(&of_steps.least.v[k], &of_steps.most.v[k], steps_at(t + i + ES_PER * k));
        }
    }
    struct es_scan s = {.y = range_of_ends(&of_y), .steps = range_of_ends(&of_steps)};
    for (; i < n; i++) {
        bad |= quality[i];
        last += y[i] * 0.0;
        widen(&s.y, y[i]);
        widen(&s.steps, t[i] - t[i - 1]);
    }
    s.good = bad == 0 && es_lanes_total(&zero) + last == 0;
    return s;
}

#endif
