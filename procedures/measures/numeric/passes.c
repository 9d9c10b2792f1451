#include "procedures/measures/numeric/passes.h"

#include <math.h>
#include <string.h>

#include "procedures/measures/numeric/lanes.h"

#define CHUNK 512 /* samples that stay in the nearest cache; a multiple of 32 */

bool es_all_finite(const double *y, size_t n)
{
    struct es_lanes sum = {0};
    double last = 0;
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    sum.v[k] += ES_AT(y + i + 2 * k) * 0.0; /* 0 of a number, else no number */
    for (; i < n; i++)
        last += y[i] * 0.0;
    return es_lanes_total(&sum) + last == 0;
}

bool es_all_zero(const uint8_t *bytes, size_t n)
{
    uint64_t any[4] = {0}, last = 0;
    size_t i = 0;
    for (; i + 32 <= n; i += 32) {
        uint64_t part[4];
        memcpy(part, bytes + i, sizeof part);
        for (int k = 0; k < 4; k++)
            any[k] |= part[k];
    }
    for (; i < n; i++)
        last |= bytes[i];
    return (any[0] | any[1] | any[2] | any[3] | last) == 0;
}

struct ends {
    es_two least[4], most[4];
};

static void start_ends(struct ends *e, double first)
{
    ES_EACH(k)
    e->least[k] = e->most[k] = (es_two){first, first};
}

static struct es_range range_of(const struct ends *e)
{
    struct es_range r = {e->least[0][0], e->most[0][0]};
    for (int k = 0; k < 8; k++) {
        r.least = fmin(r.least, e->least[k / 2][k % 2]);
        r.most = fmax(r.most, e->most[k / 2][k % 2]);
    }
    return r;
}

struct es_range es_range_of(const double *y, size_t n)
{
    struct ends e;
    size_t i = 0;
    start_ends(&e, y[0]);
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    es_two_widen(&e.least[k], &e.most[k], ES_AT(y + i + 2 * k));
    struct es_range r = range_of(&e);
    for (; i < n; i++) {
        r.least = fmin(r.least, y[i]);
        r.most = fmax(r.most, y[i]);
    }
    return r;
}

struct es_range es_range_of_differences(const double *t, size_t n)
{
    struct ends e;
    size_t i = 1;
    start_ends(&e, t[1] - t[0]);
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    es_two_widen(&e.least[k], &e.most[k], ES_AT(t + i + 2 * k) - ES_AT(t + i + 2 * k - 1));
    struct es_range r = range_of(&e);
    for (; i < n; i++) {
        r.least = fmin(r.least, t[i] - t[i - 1]);
        r.most = fmax(r.most, t[i] - t[i - 1]);
    }
    return r;
}

double es_plain_sum(const double *y, size_t n)
{
    struct es_lanes sum = {0};
    double last = 0;
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    sum.v[k] += ES_AT(y + i + 2 * k);
    for (; i < n; i++)
        last += y[i];
    return es_lanes_total(&sum) + last;
}

static inline double dot(const double *a, const double *b, size_t n)
{
    struct es_lanes sum = {0};
    double last = 0;
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
    sum.v[k] += ES_AT(a + i + 2 * k) * ES_AT(b + i + 2 * k);
    for (; i < n; i++)
        last += a[i] * b[i];
    return es_lanes_total(&sum) + last;
}

double es_dot(const double *a, const double *b, size_t n)
{
    return dot(a, b, n);
}

void es_block_means(const double *y, size_t n, size_t blocks, double *out)
{
    for (size_t b = 0; b < blocks; b++) {
        size_t first = b * n / blocks, end = (b + 1) * n / blocks, i = first;
        double about = y[first], last = 0;
        struct es_lanes sum = {0};
        for (; i + 8 <= end; i += 8)
            ES_EACH(k)
        sum.v[k] += ES_AT(y + i + 2 * k) - about;
        for (; i < end; i++)
            last += y[i] - about;
        out[b] = about + (es_lanes_total(&sum) + last) / (double)(end - first);
    }
}

/* Sums about a middle and about a first guess of the mean, by chunks so that rounding does not add up. */
struct line_sums {
    double x, y, xx, xy;
};

static inline struct line_sums sums_of_chunk(const double *t, const double *y, size_t n, double middle,
                                             double about)
{
    struct es_lanes sx = {0}, sy = {0}, sxx = {0}, sxy = {0};
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
        {
            es_two u = ES_AT(t + i + 2 * k) - middle, v = ES_AT(y + i + 2 * k) - about;
            sx.v[k] += u;
            sy.v[k] += v;
            sxx.v[k] += u * u;
            sxy.v[k] += u * v;
        }
    struct line_sums s = {es_lanes_total(&sx), es_lanes_total(&sy), es_lanes_total(&sxx),
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

static struct line_sums sums_of(const double *t, const double *y, size_t n, double middle, double about)
{
    struct line_sums all = {0};
    double carried = 0; /* what the sum of y could not hold: its mean is an output */
    for (size_t a = 0; a < n; a += CHUNK) {
        struct line_sums one = sums_of_chunk(t + a, y + a, n - a < CHUNK ? n - a : CHUNK, middle, about);
        double sum = all.y + one.y, part = sum - all.y;
        carried += (all.y - (sum - part)) + (one.y - part);
        all.y = sum;
        all.x += one.x;
        all.xx += one.xx;
        all.xy += one.xy;
    }
    all.y += carried;
    return all;
}

/* What the line leaves of two samples. */
static inline es_two rest_of(const double *t, const double *y, const struct es_line *l)
{
    return (ES_AT(y) - l->b0) - l->b1 * (ES_AT(t) - l->middle);
}

static void products(const double *t, const double *y, size_t n, struct es_line *l)
{
    double r[CHUNK + 2] = {0, 0}; /* the last two of the chunk before, then the chunk */
    for (size_t a = 0; a < n; a += CHUNK) {
        size_t count = n - a < CHUNK ? n - a : CHUNK, i = 0;
        // cppcheck-suppress knownConditionTrueFalse ; count is the caller's at the end
        for (; i + 8 <= count; i += 8)
            ES_EACH(k)
        *(es_two *)(r + 2 + i + 2 * k) = rest_of(t + a + i + 2 * k, y + a + i + 2 * k, l);
        // cppcheck-suppress knownConditionTrueFalse ; count is the caller's at the end
        for (; i < count; i++)
            r[2 + i] = (y[a + i] - l->b0) - l->b1 * (t[a + i] - l->middle);
        l->square += dot(r + 2, r + 2, count);
        l->one += dot(r + 2, r + 1, count);
        l->two += dot(r + 2, r, count);
        r[0] = r[count];
        r[1] = r[count + 1];
    }
}

struct es_line es_line_through(const double *t, const double *y, size_t n)
{
    struct es_line l = {.middle = 0.5 * (t[0] + t[n - 1])};
    double count = (double)n;
    struct line_sums s = sums_of(t, y, n, l.middle, y[0]);
    double mean_x = s.x / count, mean_y = s.y / count, length = t[n - 1] - t[0];
    l.mean = y[0] + mean_y;
    l.sxx = s.xx - mean_x * s.x;
    l.sloped = length > 0 && l.sxx > 1e-12 * length * length;
    l.b1 = l.sloped ? (s.xy - mean_x * s.y) / l.sxx : 0;
    l.b0 = l.mean - l.b1 * mean_x;
    products(t, y, n, &l);
    return l;
}

void es_line_means_of_8(const double *t, const double *y, size_t n, const struct es_line *l, double *out)
{
    for (size_t i = 0; i + 8 <= n; i += 8) {
        struct es_lanes r;
        ES_EACH(k)
        r.v[k] = rest_of(t + i + 2 * k, y + i + 2 * k, l);
        out[i / 8] = es_lanes_total(&r) / 8;
    }
}

/* Looks for the extremes only in the chunk that has one. */
static void note_extremes(const double *mean, size_t count, size_t first, struct es_moving *out)
{
    struct es_range r = es_range_of(mean, count);
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

struct es_moving es_moving_means(const double *y, size_t n, size_t width, double about)
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
            es_block_means(y + a, width, 1, &mean[0]);
        else
            mean[0] += last;
        run_on(mean, count);
        last = mean[count - 1];
        note_extremes(mean, count, a, &out);
        // cppcheck-suppress knownConditionTrueFalse ; count is the caller's at the end
        for (size_t i = 0; i < count; i++)
            mean[i] -= about;
        sum += es_plain_sum(mean, count);
        squares += dot(mean, mean, count);
    }
    out.mean = sum / (double)means;
    out.mean_square = squares / (double)means;
    return out;
}
