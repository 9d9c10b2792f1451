/* Single passes over long arrays, eight sums side by side: one alone would wait for its own last addition.
 * The order of the additions is fixed in the source and not by compiler or processor, so that every machine
 * gets the same bits, with registers as wide as it has (wide.h). Pure; inputs are finite unless said
 * otherwise. */
#ifndef ES_MEASURES_NUMERIC_PASSES_H
#define ES_MEASURES_NUMERIC_PASSES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* First i with t[i] >= limit, n when there is none. t does not fall. */
size_t es_first_at(const double *t, size_t n, double limit);

/* Whether no value is infinite or no number. */
bool es_all_finite(const double *y, size_t n);
bool es_all_zero(const uint8_t *bytes, size_t n);

struct es_range {
    double least, most;
};

struct es_range es_range_of(const double *y, size_t n);             /* n >= 1 */
struct es_range es_range_of_differences(const double *t, size_t n); /* of neighbours; n >= 2 */

/* Samples with their times and qualities, in one pass. */
struct es_scan {
    bool good;             /* every quality is 0 and every value finite */
    struct es_range y;     /* only where good */
    struct es_range steps; /* of the times; 0 and 0 where n = 1 */
};
struct es_scan es_scan_of(const double *t, const double *y, const uint8_t *quality, size_t n); /* n >= 1 */

/* Sums without compensation: of y[i], and of a[i] b[i]. */
double es_plain_sum(const double *y, size_t n);
double es_dot(const double *a, const double *b, size_t n);

/* Means of `blocks` stretches of equal length, to within one sample; 1 <= blocks <= n. */
void es_block_means(const double *y, size_t n, size_t blocks, double *out);

/* The same means, but only those of stretches from .. to - 1. */
void es_some_block_means(const double *y, size_t n, size_t blocks, size_t from, size_t to, double *out);

/* First sample of stretch b of those, 0 <= b <= blocks. */
size_t es_block_start(size_t n, size_t blocks, size_t b);

/* As es_scan_of, and means as es_block_means has them, at one reading of memory. */
struct es_scan es_scan_and_block_means(const double *t, const double *y, const uint8_t *quality, size_t n,
                                       size_t blocks, double *means);

/* How many samples of each of the stretches from .. to - 1 are off a straight line by more than `cut`, or no
 * number. Stretch b's line goes from left[b - from] where it begins to right[b - from] where it ends; its
 * samples lie in the middles of equal parts. */
void es_count_off(const double *y, size_t n, size_t blocks, size_t from, size_t to, const double *left,
                  const double *right, double cut, size_t *off);

/* Sums of x, y, x x and x y, where x counts from the middle of the first and the last time, y from the first
 * value. */
struct es_line_sums {
    double x, y, xx, xy;
};

/* As es_scan_of, and those sums, which hold only where all is good. */
struct es_scan es_scan_and_sum(const double *t, const double *y, const uint8_t *quality, size_t n,
                               struct es_line_sums *sums);

/* A line through samples: b0 + b1 (t - middle), where the middle is that of the first and the last time. */
struct es_line {
    double mean;     /* of y, to the last digit */
    double middle;   /* s */
    double b0, b1;   /* b1 = 0 when the times do not determine it */
    double sxx;      /* sum of (t - mean of t)^2 */
    double square;   /* of the residuals: sum of r[i]^2; 0 until es_line_products */
    double one, two; /* ... of r[i] r[i - 1] and of r[i] r[i - 2] */
    bool sloped;     /* the times determine the slope */
};

/* n >= 3. `sums`: of just these samples, where they are known, else NULL. */
struct es_line es_line_through(const double *t, const double *y, size_t n, const struct es_line_sums *sums);

/* Residuals of samples first .. n - 1: adds their square and products to the line (those with the two samples
 * before included). `means`, where it is not NULL, gets means of every 8 residuals from first on at
 * means[first / 8]; first is a multiple of 8. */
void es_line_products(const double *t, const double *y, size_t first, size_t n, struct es_line *line,
                      double *means);

/* Means of every 8 residuals: n / 8 of them. */
void es_line_means_of_8(const double *t, const double *y, size_t n, const struct es_line *l, double *out);

/* Sums over rows with columns a and b and the right-hand side y less `about`; each as es_plain_sum and es_dot
 * have it. */
struct es_pair_sums {
    double y, a, b, ay, by, aa, ab, bb;
};
struct es_pair_sums es_pair_sums_of(const double *a, const double *b, const double *y, double about,
                                    size_t n);

/* Of what r = y - about - c[0] - c[1] a - c[2] b is: sums of r^2, r, r a, r b. */
struct es_pair_rest {
    double square, sum, a, b;
};
struct es_pair_rest es_pair_rest_of(const double *a, const double *b, const double *y, double about,
                                    const double c[3], size_t n);

/* With x = (t - at) / scale, 0 before `at`: a = x and b = x^2; `smooth`: a = x^2 and b = x^3. */
void es_hinge(const double *t, size_t n, double at, double scale, bool smooth, double *a, double *b);

/* Probability that a normal deviate about `about` with standard deviation u > 0 is greater than x[i]: to
 * 3e-16 max(4, z^2) of itself, z standard deviations out; less than 6e-300 it does not become. out may not
 * overlap x. */
void es_normal_tails(const double *x, size_t n, double about, double u, double *out);

/* Moving means of `width` samples: their largest and smallest, where these begin, and their mean and mean
 * square less `about`. 1 <= width <= n. */
struct es_moving {
    double largest, smallest;
    size_t at_largest, at_smallest; /* first sample of the mean */
    double mean, mean_square;
    double step_square; /* mean square of the steps between neighbours of the samples themselves */
};
struct es_moving es_moving_means(const double *y, size_t n, size_t width, double about);

#endif
