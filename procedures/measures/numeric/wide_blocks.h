/* Part of wide_kernels.h: stretches of equal length, to within one sample. */
#ifndef ES_MEASURES_NUMERIC_WIDE_BLOCKS_H
#define ES_MEASURES_NUMERIC_WIDE_BLOCKS_H

#include "procedures/measures/numeric/lanes.h"
#include "procedures/measures/numeric/wide.h"
#include "procedures/measures/numeric/wide_sums.h"

/* Stretch b of n samples in `blocks` is of samples b n / blocks to (b + 1) n / blocks. */
struct stretches {
    size_t blocks, length, left, carried, end;
};

static inline struct stretches stretches_from(size_t n, size_t blocks, size_t b)
{
    struct stretches s = {.blocks = blocks, .length = n / blocks, .left = n % blocks};
    s.end = b * s.length + b * s.left / blocks;
    s.carried = b * s.left % blocks;
    return s;
}

/* Samples in the next one, which ends at s->end then. */
static inline size_t next_stretch(struct stretches *s)
{
    size_t n = s->length;
    s->carried += s->left;
    if (s->carried >= s->blocks) {
        s->carried -= s->blocks;
        n++;
    }
    s->end += n;
    return n;
}

static void block_means(const double *y, size_t n, size_t blocks, size_t from, size_t to, double *out)
{
    struct stretches s = stretches_from(n, blocks, from);
    for (size_t b = from; b < to; b++) {
        const double *first = y + s.end;
        out[b - from] = mean_about_first(first, next_stretch(&s));
    }
}

/* Of n samples, those that are off the line from c0 to c1 by more than `cut`, or no number. */
static inline size_t off_line(const double *y, size_t n, double c0, double c1, double cut)
{
    static const double places[8] = {0, 1, 2, 3, 4, 5, 6, 7};
    double step = (c1 - c0) / (double)n, begin = c0 + 0.5 * step;
    es_wide_mask near[ES_REGS] = {{0}}; /* -1 for each that is not off */
    size_t i = 0, on = 0;
    for (; i + 8 <= n; i += 8)
        ES_EACH(k)
        {
            es_wide_v off =
                ES_AT(y + i + ES_PER * k) - begin - step * (ES_AT(places + ES_PER * k) + (double)i);
            es_wide_v size = (es_wide_v)((es_wide_mask)off & 0x7fffffffffffffffLL);
            near[k] += size <= cut;
        }
    for (; i < n; i++)
        on += __builtin_fabs(y[i] - begin - step * (double)i) <= cut;
    ES_EACH(k)
    for (int lane = 0; lane < ES_PER; lane++)
        on += (size_t)-near[k][lane];
    return n - on;
}

static void count_off(const double *y, size_t n, size_t blocks, size_t from, size_t to, const double *left,
                      const double *right, double cut, size_t *off)
{
    struct stretches s = stretches_from(n, blocks, from);
    for (size_t b = from; b < to; b++) {
        const double *first = y + s.end;
        off[b - from] = off_line(first, next_stretch(&s), left[b - from], right[b - from], cut);
    }
}

#endif
