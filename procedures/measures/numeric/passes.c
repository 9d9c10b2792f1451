#include "procedures/measures/numeric/passes.h"

#include <math.h>
#include <string.h>

#define CHUNK 512 /* samples that stay in the nearest cache; a multiple of 8 */

/* Two doubles in one register, wherever they lie. */
typedef double pair __attribute__((vector_size(16), aligned(8), may_alias));
#define AT(p)    (*(const pair *)(p))
#define EACH(k_) for (int k_ = 0; k_ < 4; k_++)

static double total(const pair sum[4])
{
    pair all = (sum[0] + sum[1]) + (sum[2] + sum[3]);
    return all[0] + all[1];
}

bool es_all_finite(const double *y, size_t n)
{
    pair sum[4] = {{0}};
    double last = 0;
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        EACH(k)
    sum[k] += AT(y + i + 2 * k) * 0.0; /* 0 of a number, else no number */
    for (; i < n; i++)
        last += y[i] * 0.0;
    return total(sum) + last == 0;
}

bool es_all_zero(const uint8_t *bytes, size_t n)
{
    uint64_t any[4] = {0}, last = 0;
    size_t i = 0;
    for (; i + 32 <= n; i += 32) {
        uint64_t eight[4];
        memcpy(eight, bytes + i, sizeof eight);
        EACH(k)
        any[k] |= eight[k];
    }
    for (; i < n; i++)
        last |= bytes[i];
    return (any[0] | any[1] | any[2] | any[3] | last) == 0;
}

struct es_range es_range_of(const double *y, size_t n)
{
    double least[8], most[8];
    for (int k = 0; k < 8; k++)
        least[k] = most[k] = y[0];
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        for (int k = 0; k < 8; k++) {
            least[k] = y[i + (size_t)k] < least[k] ? y[i + (size_t)k] : least[k];
            most[k] = y[i + (size_t)k] > most[k] ? y[i + (size_t)k] : most[k];
        }
    for (; i < n; i++) {
        least[0] = y[i] < least[0] ? y[i] : least[0];
        most[0] = y[i] > most[0] ? y[i] : most[0];
    }
    struct es_range r = {least[0], most[0]};
    for (int k = 1; k < 8; k++) {
        r.least = fmin(r.least, least[k]);
        r.most = fmax(r.most, most[k]);
    }
    return r;
}

struct es_range es_range_of_differences(const double *t, size_t n)
{
    double chunk[CHUNK];
    struct es_range all = {INFINITY, -INFINITY};
    for (size_t a = 1; a < n; a += CHUNK) {
        size_t count = n - a < CHUNK ? n - a : CHUNK;
        for (size_t i = 0; i < count; i++)
            chunk[i] = t[a + i] - t[a + i - 1];
        struct es_range r = es_range_of(chunk, count);
        all.least = fmin(all.least, r.least);
        all.most = fmax(all.most, r.most);
    }
    return all;
}

double es_plain_sum(const double *y, size_t n)
{
    pair sum[4] = {{0}};
    double last = 0;
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        EACH(k)
    sum[k] += AT(y + i + 2 * k);
    for (; i < n; i++)
        last += y[i];
    return total(sum) + last;
}

double es_dot(const double *a, const double *b, size_t n)
{
    pair sum[4] = {{0}};
    double last = 0;
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        EACH(k)
    sum[k] += AT(a + i + 2 * k) * AT(b + i + 2 * k);
    for (; i < n; i++)
        last += a[i] * b[i];
    return total(sum) + last;
}

void es_block_means(const double *y, size_t n, size_t blocks, double *out)
{
    for (size_t b = 0; b < blocks; b++) {
        size_t first = b * n / blocks, end = (b + 1) * n / blocks, i = first;
        double about = y[first], last = 0;
        pair sum[4] = {{0}};
        for (; i + 8 <= end; i += 8)
            EACH(k)
        sum[k] += AT(y + i + 2 * k) - about;
        for (; i < end; i++)
            last += y[i] - about;
        out[b] = about + (total(sum) + last) / (double)(end - first);
    }
}

/* Sums about a middle and about a first guess of the mean, by chunks so that rounding does not add up. */
struct line_sums {
    double x, y, xx, xy;
};

static struct line_sums sums_of(const double *t, const double *y, size_t n, double middle, double about)
{
    struct line_sums all = {0};
    double carried = 0; /* what the sum of y could not hold: its mean is an output */
    for (size_t a = 0; a < n; a += CHUNK) {
        size_t end = n - a < CHUNK ? n : a + CHUNK, i = a;
        pair sx[4] = {{0}}, sy[4] = {{0}}, sxx[4] = {{0}}, sxy[4] = {{0}};
        for (; i + 8 <= end; i += 8)
            EACH(k)
            {
                pair u = AT(t + i + 2 * k) - middle, v = AT(y + i + 2 * k) - about;
                sx[k] += u;
                sy[k] += v;
                sxx[k] += u * u;
                sxy[k] += u * v;
            }
        struct line_sums one = {total(sx), total(sy), total(sxx), total(sxy)};
        for (; i < end; i++) {
            double u = t[i] - middle, v = y[i] - about;
            one.x += u;
            one.y += v;
            one.xx += u * u;
            one.xy += u * v;
        }
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

/* Residuals of [first, end) into r. */
static void residuals(const double *t, const double *y, size_t first, size_t end, const struct es_line *l,
                      double *r)
{
    size_t i = first;
    for (; i + 2 <= end; i += 2)
        *(pair *)(r + (i - first)) = (AT(y + i) - l->b0) - l->b1 * (AT(t + i) - l->middle);
    if (i < end)
        r[i - first] = (y[i] - l->b0) - l->b1 * (t[i] - l->middle);
}

static void products(const double *t, const double *y, size_t n, struct es_line *l)
{
    double r[CHUNK + 2] = {0, 0}; /* the last two of the chunk before, then the chunk */
    for (size_t a = 0; a < n; a += CHUNK) {
        size_t end = n - a < CHUNK ? n : a + CHUNK, count = end - a;
        residuals(t, y, a, end, l, r + 2);
        l->square += es_dot(r + 2, r + 2, count);
        l->one += es_dot(r + 2, r + 1, count);
        l->two += es_dot(r + 2, r, count);
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

struct es_moving es_moving_means(const double *y, size_t n, size_t width, double about)
{
    struct es_moving out = {.largest = -INFINITY, .smallest = INFINITY};
    size_t means = n - width + 1;
    double mean[CHUNK], last = 0, sum = 0, squares = 0, share = 1 / (double)width;
    for (size_t a = 0; a < means; a += CHUNK) {
        size_t count = means - a < CHUNK ? means - a : CHUNK;
        for (size_t i = a ? 0 : 1; i < count; i++)
            mean[i] = (y[a + i + width - 1] - y[a + i - 1]) * share;
        /* a chunk begins with a sum of its own where that costs little: rounding does not run on */
        if (a == 0 || width <= 4 * CHUNK)
            es_block_means(y + a, width, 1, &mean[0]);
        else
            mean[0] += last;
        for (size_t i = 1; i < count; i++)
            mean[i] += mean[i - 1];
        last = mean[count - 1];
        note_extremes(mean, count, a, &out);
        for (size_t i = 0; i < count; i++)
            mean[i] -= about;
        sum += es_plain_sum(mean, count);
        squares += es_dot(mean, mean, count);
    }
    out.mean = sum / (double)means;
    out.mean_square = squares / (double)means;
    return out;
}
