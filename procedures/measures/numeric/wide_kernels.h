/* The passes of wide.h, for the instruction set of the translation unit that includes this: ES_WIDE_BYTES a
 * register, the table's name in ES_WIDE_TABLE. Everything here is static: what is compiled for a wide
 * processor must not be taken by the linker for all. */
#include <math.h>
#include <string.h>

#include "procedures/measures/numeric/lanes.h"
#include "procedures/measures/numeric/wide.h"

#define CHUNK 512 /* samples that stay in the nearest cache; a multiple of 32 */

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

static void block_means(const double *y, size_t n, size_t blocks, double *out)
{
    for (size_t b = 0; b < blocks; b++) {
        size_t first = b * n / blocks, end = (b + 1) * n / blocks;
        out[b] = mean_about_first(y + first, end - first);
    }
}

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
    for (size_t a = 0; a < n; a += CHUNK) {
        struct es_line_sums one = sums_of_chunk(t + a, y + a, n - a < CHUNK ? n - a : CHUNK, middle, about);
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
    double r[CHUNK + 2] = {0, 0}; /* the last two of the chunk before, then the chunk */
    for (size_t a = 0; a < n; a += CHUNK) {
        size_t count = n - a < CHUNK ? n - a : CHUNK, i = 0;
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
    double *b = v + CHUNK / 4, *c = b + CHUNK / 4, *d = c + CHUNK / 4;
    if (count < CHUNK) {
        for (size_t i = 1; i < count; i++)
            v[i] += v[i - 1];
        return;
    }
    for (size_t i = 1; i < CHUNK / 4; i++) {
        v[i] += v[i - 1];
        b[i] += b[i - 1];
        c[i] += c[i - 1];
        d[i] += d[i - 1];
    }
    double on[4] = {0, v[CHUNK / 4 - 1], 0, 0};
    on[2] = on[1] + b[CHUNK / 4 - 1];
    on[3] = on[2] + c[CHUNK / 4 - 1];
    for (size_t k = 1; k < 4; k++)
        for (size_t i = 0; i < CHUNK / 4; i++)
            v[k * CHUNK / 4 + i] += on[k];
}

static struct es_moving moving_means(const double *y, size_t n, size_t width, double about)
{
    struct es_moving out = {.largest = -INFINITY, .smallest = INFINITY};
    size_t means = n - width + 1;
    double mean[CHUNK], last = 0, sum = 0, squares = 0, share = 1 / (double)width;
    for (size_t a = 0; a < means; a += CHUNK) {
        size_t count = means - a < CHUNK ? means - a : CHUNK;
        // cppcheck-suppress knownConditionTrueFalse ; count is the caller's at the end
        for (size_t i = a ? 0 : 1; i < count; i++)
            mean[i] = (y[a + i + width - 1] - y[a + i - 1]) * share;
        /* a chunk begins with a sum of its own where that costs little: rounding does not run on */
        if (a == 0 || width <= CHUNK)
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

extern const struct es_wide ES_WIDE_TABLE;
const struct es_wide ES_WIDE_TABLE = {
    .name = ES_WIDE_NAME,
    .all_finite = all_finite,
    .all_zero = all_zero,
    .range_of = range_of,
    .range_of_differences = range_of_differences,
    .scan = scan,
    .sum = sum,
    .dot = dot,
    .block_means = block_means,
    .line_sums = line_sums,
    .line_products = line_products,
    .line_means_of_8 = line_means_of_8,
    .moving_means = moving_means,
    .off = off,
    .off_square = off_square,
    .step_square = step_square,
    .neighbours = neighbours,
};
