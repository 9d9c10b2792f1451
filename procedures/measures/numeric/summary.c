#include "procedures/measures/numeric/summary.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>

#include "procedures/measures/numeric/wide.h"

double es_sum(const double *y, size_t n)
{
    return es_wide()->off(y, n, (struct es_middle){0, 0});
}

double es_sum_about(const double *y, size_t n, double about)
{
    return es_wide()->off(y, n, (struct es_middle){about, 0});
}

double es_square_about(const double *y, size_t n, double about)
{
    return es_wide()->off_square(y, n, (struct es_middle){about, 0});
}

static struct es_middle mean_in_two(const double *y, size_t n)
{
    struct es_middle m = {es_sum(y, n) / (double)n, 0};
    m.rest = es_wide()->off(y, n, m) / (double)n;
    return m;
}

double es_mean(const double *y, size_t n)
{
    if (n == 0)
        return NAN;
    struct es_middle m = mean_in_two(y, n);
    return m.first + m.rest;
}

double es_standard_deviation(const double *y, size_t n)
{
    if (n < 2)
        return NAN;
    return sqrt(es_wide()->off_square(y, n, mean_in_two(y, n)) / (double)(n - 1));
}

double es_noise_from_differences(const double *y, size_t n)
{
    if (n < 2)
        return NAN;
    return sqrt(es_wide()->step_square(y, n - 1) / (2.0 * (double)(n - 1)));
}

double es_lag1_autocorrelation(const double *y, size_t n)
{
    if (n < 2)
        return NAN;
    struct es_middle m = mean_in_two(y, n);
    double below = es_wide()->off_square(y, n, m);
    return below > 0 ? es_wide()->neighbours(y, n - 1, m) / below : NAN;
}

double es_least(const double *y, size_t n)
{
    return n ? es_range_of(y, n).least : NAN;
}

double es_largest(const double *y, size_t n)
{
    return n ? es_range_of(y, n).most : NAN;
}

/* Parts y[left .. right] around the value at k: smaller ones before, larger ones behind; sets the bounds of
 * the side in which k lies. Hoare's FIND: safe with many equal values. */
static void part_around(double *y, size_t *left, size_t *right, size_t k)
{
    double pivot = y[k];
    size_t i = *left, j = *right;
    for (;;) {
        /* the pivot, or what was swapped behind it, stops both */
        // NOLINTNEXTLINE(clang-analyzer-core.UndefinedBinaryOperatorResult)
        while (y[i] < pivot)
            i++;
        while (j > 0 && pivot < y[j])
            j--;
        if (i <= j) {
            double swap = y[i];
            y[i] = y[j];
            y[j] = swap;
            i++;
            if (j == 0)
                break;
            j--;
        }
        if (i > j)
            break;
    }
    bool done = i > k && j < k;
    if (j < k)
        *left = i;
    if (k < i)
        *right = j;
    if (done)
        *left = *right;
}

/* Of many, the k-th of a small stretch around k is close to that of all, and parts them near k (Floyd and
 * Rivest 1975). */
static void select_in(double *y, size_t left, size_t right, size_t k)
{
    while (left < right) {
        if (right - left > 600) {
            double n = (double)(right - left + 1), place = (double)(k - left + 1), z = log(n);
            double size = 0.5 * exp(2 * z / 3);
            double aside = 0.5 * sqrt(z * size * (n - size) / n) * (place < n / 2 ? -1 : 1);
            double low = (double)k - place * size / n + aside, high = low + size;
            select_in(y, low > (double)left ? (size_t)low : left, high < (double)right ? (size_t)high : right,
                      k);
        }
        part_around(y, &left, &right, k);
    }
}

double es_select(double *y, size_t n, size_t k)
{
    if (n == 0)
        return NAN;
    select_in(y, 0, n - 1, k);
    return y[k];
}

double es_median(double *y, size_t n)
{
    if (n == 0)
        return NAN;
    double upper = es_select(y, n, n / 2);
    if (n % 2)
        return upper;
    return 0.5 * (upper + es_largest(y, n / 2)); /* selection left the smaller ones below */
}

#define FEW    4096 /* differences that are simply copied and selected from */
#define SAMPLE 1024
#define BESIDE 64 /* places of the sample on either side of its middle: four standard deviations */

/* The median lies between two differences of a sample nearly always; only those between them are kept (Floyd
 * and Rivest 1975). False when it does not. `work` holds n - 1. */
static bool median_by_sample(const double *t, size_t n, double *work, double *median)
{
    double sample[SAMPLE];
    size_t count = n - 1, below = 0, kept = 0, middle = count / 2;
    for (size_t i = 0; i < SAMPLE; i++) {
        size_t k = i * (count - 1) / (SAMPLE - 1);
        sample[i] = t[k + 1] - t[k];
    }
    double low = es_select(sample, SAMPLE, SAMPLE / 2 - BESIDE);
    double high = es_select(sample, SAMPLE, SAMPLE / 2 + BESIDE);
    for (size_t i = 0; i < count; i++) {
        double d = t[i + 1] - t[i];
        below += d < low;
        work[kept] = d;
        kept += d >= low && d <= high;
    }
    if (middle < below + 1 || middle >= below + kept)
        return false;
    double upper = es_select(work, kept, middle - below);
    *median = count % 2 ? upper : 0.5 * (upper + es_largest(work, middle - below));
    return true;
}

bool es_are_even(const double *t, size_t n, struct es_range range)
{
    return range.most - range.least <= 4 * DBL_EPSILON * fmax(fabs(t[0]), fabs(t[n - 1]));
}

bool es_median_of_differences(const double *t, size_t n, struct es_range range, double *median)
{
    if (es_are_even(t, n, range)) {
        *median = (t[n - 1] - t[0]) / (double)(n - 1);
        return true;
    }
    double *work = malloc(n * sizeof *work);
    if (!work)
        return false;
    if (n <= FEW || !median_by_sample(t, n, work, median)) {
        for (size_t i = 1; i < n; i++)
            work[i - 1] = t[i] - t[i - 1];
        *median = es_median(work, n - 1);
    }
    free(work);
    return true;
}
