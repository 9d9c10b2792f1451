#include "procedures/measures/numeric/summary.h"

#include <math.h>

struct compensated {
    double sum, rest;
};

static void add(struct compensated *c, double v)
{
    double s = c->sum + v;
    if (fabs(c->sum) >= fabs(v))
        c->rest += (c->sum - s) + v;
    else
        c->rest += (v - s) + c->sum;
    c->sum = s;
}

double es_sum(const double *y, size_t n)
{
    struct compensated c = {0, 0};
    for (size_t i = 0; i < n; i++)
        add(&c, y[i]);
    return c.sum + c.rest;
}

/* Mean as the sum of two doubles: the second is what the first could not hold. */
static double mean_in_two(const double *y, size_t n, double *rest)
{
    double first = es_sum(y, n) / (double)n;
    struct compensated c = {0, 0};
    for (size_t i = 0; i < n; i++)
        add(&c, y[i] - first);
    *rest = (c.sum + c.rest) / (double)n;
    return first;
}

double es_mean(const double *y, size_t n)
{
    if (n == 0)
        return NAN;
    double rest;
    double first = mean_in_two(y, n, &rest);
    return first + rest;
}

static double sum_of_squares(const double *y, size_t n)
{
    double rest;
    double first = mean_in_two(y, n, &rest);
    struct compensated c = {0, 0};
    for (size_t i = 0; i < n; i++) {
        double d = (y[i] - first) - rest;
        add(&c, d * d);
    }
    return c.sum + c.rest;
}

double es_standard_deviation(const double *y, size_t n)
{
    if (n < 2)
        return NAN;
    return sqrt(sum_of_squares(y, n) / (double)(n - 1));
}

double es_noise_from_differences(const double *y, size_t n)
{
    if (n < 2)
        return NAN;
    struct compensated c = {0, 0};
    for (size_t i = 1; i < n; i++) {
        double d = y[i] - y[i - 1];
        add(&c, d * d);
    }
    return sqrt((c.sum + c.rest) / (2.0 * (double)(n - 1)));
}

double es_lag1_autocorrelation(const double *y, size_t n)
{
    if (n < 2)
        return NAN;
    double rest;
    double first = mean_in_two(y, n, &rest);
    struct compensated top = {0, 0};
    for (size_t i = 1; i < n; i++)
        add(&top, ((y[i] - first) - rest) * ((y[i - 1] - first) - rest));
    double below = sum_of_squares(y, n);
    return below > 0 ? (top.sum + top.rest) / below : NAN;
}

double es_least(const double *y, size_t n)
{
    double v = n ? y[0] : NAN;
    for (size_t i = 1; i < n; i++)
        v = fmin(v, y[i]);
    return v;
}

double es_largest(const double *y, size_t n)
{
    double v = n ? y[0] : NAN;
    for (size_t i = 1; i < n; i++)
        v = fmax(v, y[i]);
    return v;
}

double es_select(double *y, size_t n, size_t k)
{
    if (n == 0)
        return NAN;
    size_t left = 0, right = n - 1;
    while (left < right) { /* Hoare's FIND: safe with many equal values */
        double pivot = y[k];
        size_t i = left, j = right;
        for (;;) {
            while (y[i] < pivot)
                i++;
            while (pivot < y[j])
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
        if (j < k)
            left = i;
        if (k < i)
            right = j;
        if (i > k && j < k)
            break;
    }
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
