/* The passes over long arrays, compiled from one source (wide_kernels.h) for each width of registers that the
 * processor may have. All give the same bits (lanes.h); the widest that the processor has is taken.
 * What each does stands in passes.h and summary.h; callers go through these. Inside numeric/ and its tests
 * only. Pure; any alignment; nothing behind the last element is read. */
#ifndef ES_MEASURES_NUMERIC_WIDE_H
#define ES_MEASURES_NUMERIC_WIDE_H

#include "procedures/measures/numeric/passes.h"

/* A middle as the sum of two doubles: the second is what the first could not hold. */
struct es_middle {
    double first, rest;
};

struct es_wide {
    const char *name;
    bool (*all_finite)(const double *y, size_t n);
    bool (*all_zero)(const uint8_t *bytes, size_t n);
    struct es_range (*range_of)(const double *y, size_t n);
    struct es_range (*range_of_differences)(const double *t, size_t n);
    struct es_scan (*scan)(const double *t, const double *y, const uint8_t *quality, size_t n);
    struct es_scan (*scan_and_sum)(const double *t, const double *y, const uint8_t *quality, size_t n,
                                   struct es_line_sums *sums);
    double (*sum)(const double *y, size_t n);
    double (*dot)(const double *a, const double *b, size_t n);
    void (*block_means)(const double *y, size_t n, size_t blocks, size_t from, size_t to, double *out);
    void (*count_off)(const double *y, size_t n, size_t blocks, size_t from, size_t to, const double *left,
                      const double *right, double cut, size_t *off);
    struct es_line_sums (*line_sums)(const double *t, const double *y, size_t n);
    void (*line_products)(const double *t, const double *y, size_t first, size_t n, struct es_line *line,
                          double *means);
    void (*line_means_of_8)(const double *t, const double *y, size_t n, const struct es_line *line,
                            double *out);
    struct es_moving (*moving_means)(const double *y, size_t n, size_t width, double about);
    struct es_pair_sums (*pair_sums)(const double *a, const double *b, const double *y, double about,
                                     size_t n);
    struct es_pair_rest (*pair_rest)(const double *a, const double *b, const double *y, double about,
                                     const double c[3], size_t n);
    void (*hinge)(const double *t, size_t n, double at, double scale, bool smooth, double *a, double *b);
    void (*normal_tails)(const double *x, size_t n, double about, double u, double *out);

    /* Compensated sums: of what is off the middle, of its square, of the square of the step to the next, of
     * the product with the next. The last two read y[n]. */
    double (*off)(const double *y, size_t n, struct es_middle m);
    double (*off_square)(const double *y, size_t n, struct es_middle m);
    double (*step_square)(const double *y, size_t n);
    double (*neighbours)(const double *y, size_t n, struct es_middle m);
};

/* The widest that this processor has. Constant and cheap: asked for anew where it is needed. */
const struct es_wide *es_wide(void);

/* All that were compiled, narrowest first; whether the processor has variant i. */
const struct es_wide *const *es_wide_list(size_t *count);
bool es_wide_has(size_t i);

#endif
