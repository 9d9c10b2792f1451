/* Part of wide_kernels.h: sums, plain and compensated. */
#ifndef ES_MEASURES_NUMERIC_WIDE_SUMS_H
#define ES_MEASURES_NUMERIC_WIDE_SUMS_H

#include <string.h>

#include "procedures/measures/numeric/lanes.h"
#include "procedures/measures/numeric/wide.h"
#include "procedures/measures/numeric/wide_ranges.h"

static inline double plain_sum(const double *y, size_t n)
{
    struct es_lanes sum = {0};
    double last = 0;
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    sum.v[k] += ES_AT(y + i + ES_PER * k);
    for (; i < n; i++)
        last += y[i];
    return es_lanes_total(&sum) + last;
}

static double sum(const double *y, size_t n)
{
    return plain_sum(y, n);
}

static inline double dot_of(const double *a, const double *b, size_t n)
{
    struct es_lanes sum = {0};
    double last = 0;
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    sum.v[k] += ES_AT(a + i + ES_PER * k) * ES_AT(b + i + ES_PER * k);
    for (; i < n; i++)
        last += a[i] * b[i];
    return es_lanes_total(&sum) + last;
}

static double dot(const double *a, const double *b, size_t n)
{
    return dot_of(a, b, n);
}

static inline double mean_about_first(const double *y, size_t n)
{
    double about = y[0], last = 0;
    struct es_lanes sum = {0};
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    sum.v[k] += ES_AT(y + i + ES_PER * k) - about;
    for (; i < n; i++)
        last += y[i] - about;
    return about + (es_lanes_total(&sum) + last) / (double)n;
}

/* Compensated sums, eight side by side. */
struct compensated {
    struct es_lanes sum, rest;
};

/* Knuth's sum of two without a branch: what the sum could not hold goes to `rest`. */
static inline void add(struct compensated *c, int k, es_wide_v v)
{
    es_wide_v s = c->sum.v[k] + v, part = s - c->sum.v[k];
    c->rest.v[k] += (c->sum.v[k] - (s - part)) + (v - part);
    c->sum.v[k] = s;
}

static double total(const struct compensated *c)
{
    double sum = 0, rest = 0;
    for (int k = 0; k < 8; k++) {
        double v = es_lane(&c->sum, k), s = sum + v, part = s - sum;
        rest += (sum - (s - part)) + (v - part) + es_lane(&c->rest, k);
        sum = s;
    }
    return sum + rest;
}

enum term { OFF, OFF_SQUARE, STEP_SQUARE, NEIGHBOURS };

static inline es_wide_v term_of(enum term what, const double *y, struct es_middle m)
{
    if (what == STEP_SQUARE) {
        es_wide_v step = steps_at(y + 1);
        return step * step;
    }
    es_wide_v off = (ES_AT(y) - m.first) - m.rest;
    if (what == OFF)
        return off;
    return what == OFF_SQUARE ? off * off : off * ((ES_AT(y + 1) - m.first) - m.rest);
}

/* Terms of y[0] .. y[n - 1]. */
static inline __attribute__((always_inline)) double sum_of(enum term what, const double *y, size_t n,
                                                           struct es_middle m)
{
    struct compensated c = {{{{0}}}, {{{0}}}};
    bool next = what == STEP_SQUARE || what == NEIGHBOURS;
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    add(&c, k, term_of(what, y + i + ES_PER * k, m));
    for (; i < n; i++) { /* one at a time, in the first lane: no value behind the last is read */
        double few[ES_PER + 1];
        memset(few, 0, sizeof few);
        few[0] = y[i];
        few[1] = next ? y[i + 1] : 0;
        es_wide_v one = {term_of(what, few, m)[0]};
        add(&c, 0, one);
    }
    return total(&c);
}

static double off(const double *y, size_t n, struct es_middle m)
{
    return sum_of(OFF, y, n, m);
}

static double off_square(const double *y, size_t n, struct es_middle m)
{
    return sum_of(OFF_SQUARE, y, n, m);
}

static double step_square(const double *y, size_t n)
{
    return sum_of(STEP_SQUARE, y, n, (struct es_middle){0, 0});
}

static double neighbours(const double *y, size_t n, struct es_middle m)
{
    return sum_of(NEIGHBOURS, y, n, m);
}

#endif
