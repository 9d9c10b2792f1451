#include "procedures/measures/numeric/passes.h"

#include "procedures/measures/numeric/wide.h"

size_t es_first_at(const double *t, size_t n, double limit)
{
    size_t low = 0, high = n;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (t[mid] < limit)
            low = mid + 1;
        else
            high = mid;
    }
    return low;
}

bool es_all_finite(const double *y, size_t n)
{
    return es_wide()->all_finite(y, n);
}

bool es_all_zero(const uint8_t *bytes, size_t n)
{
    return es_wide()->all_zero(bytes, n);
}

struct es_range es_range_of(const double *y, size_t n)
{
    return es_wide()->range_of(y, n);
}

struct es_range es_range_of_differences(const double *t, size_t n)
{
    return es_wide()->range_of_differences(t, n);
}

struct es_scan es_scan_of(const double *t, const double *y, const uint8_t *quality, size_t n)
{
    return es_wide()->scan(t, y, quality, n);
}

struct es_scan es_scan_and_sum(const double *t, const double *y, const uint8_t *quality, size_t n,
                               struct es_line_sums *sums)
{
    return es_wide()->scan_and_sum(t, y, quality, n, sums);
}

size_t es_block_start(size_t n, size_t blocks, size_t b)
{
    return b * (n / blocks) + b * (n % blocks) / blocks;
}

static void join(struct es_range *a, struct es_range b)
{
    a->least = b.least < a->least ? b.least : a->least;
    a->most = b.most > a->most ? b.most : a->most;
}

#define AT_ONCE 1024 /* samples that stay in the nearest cache with their times and qualities */

struct es_scan es_scan_and_block_means(const double *t, const double *y, const uint8_t *quality, size_t n,
                                       size_t blocks, double *means)
{
    const struct es_wide *w = es_wide();
    struct es_scan all = w->scan(t, y, quality, n < 2 ? n : 2);
    size_t some = 1 + AT_ONCE / (n / blocks + 1);
    for (size_t b = 0; b < blocks; b += some) {
        size_t to = blocks - b < some ? blocks : b + some, end = es_block_start(n, blocks, to);
        size_t first = es_block_start(n, blocks, b), begin = first > 0 ? first - 1 : 0; /* its step too */
        struct es_scan here = w->scan(t + begin, y + begin, quality + begin, end - begin);
        w->block_means(y, n, blocks, b, to, means + b);
        all.good &= here.good;
        join(&all.y, here.y);
        if (end - begin > 1)
            join(&all.steps, here.steps);
    }
    return all;
}

void es_count_off(const double *y, size_t n, size_t blocks, size_t from, size_t to, const double *left,
                  const double *right, double cut, size_t *off)
{
    es_wide()->count_off(y, n, blocks, from, to, left, right, cut, off);
}

double es_plain_sum(const double *y, size_t n)
{
    return es_wide()->sum(y, n);
}

double es_dot(const double *a, const double *b, size_t n)
{
    return es_wide()->dot(a, b, n);
}

void es_block_means(const double *y, size_t n, size_t blocks, double *out)
{
    es_wide()->block_means(y, n, blocks, 0, blocks, out);
}

void es_some_block_means(const double *y, size_t n, size_t blocks, size_t from, size_t to, double *out)
{
    es_wide()->block_means(y, n, blocks, from, to, out);
}

struct es_line es_line_through(const double *t, const double *y, size_t n, const struct es_line_sums *sums)
{
    struct es_line l = {.middle = 0.5 * (t[0] + t[n - 1])};
    double count = (double)n;
    struct es_line_sums s = sums ? *sums : es_wide()->line_sums(t, y, n);
    double mean_x = s.x / count, mean_y = s.y / count, length = t[n - 1] - t[0];
    l.mean = y[0] + mean_y;
    l.sxx = s.xx - mean_x * s.x;
    l.sloped = length > 0 && l.sxx > 1e-12 * length * length;
    l.b1 = l.sloped ? (s.xy - mean_x * s.y) / l.sxx : 0;
    l.b0 = l.mean - l.b1 * mean_x;
    return l;
}

void es_line_products(const double *t, const double *y, size_t first, size_t n, struct es_line *line,
                      double *means)
{
    es_wide()->line_products(t, y, first, n, line, means);
}

void es_line_means_of_8(const double *t, const double *y, size_t n, const struct es_line *l, double *out)
{
    es_wide()->line_means_of_8(t, y, n, l, out);
}

struct es_pair_sums es_pair_sums_of(const double *a, const double *b, const double *y, double about, size_t n)
{
    return es_wide()->pair_sums(a, b, y, about, n);
}

struct es_pair_rest es_pair_rest_of(const double *a, const double *b, const double *y, double about,
                                    const double c[3], size_t n)
{
    return es_wide()->pair_rest(a, b, y, about, c, n);
}

void es_hinge(const double *t, size_t n, double at, double scale, bool smooth, double *a, double *b)
{
    es_wide()->hinge(t, n, at, scale, smooth, a, b);
}

void es_normal_tails(const double *x, size_t n, double about, double u, double *out)
{
    es_wide()->normal_tails(x, n, about, u, out);
}

struct es_moving es_moving_means(const double *y, size_t n, size_t width, double about)
{
    return es_wide()->moving_means(y, n, width, about);
}
