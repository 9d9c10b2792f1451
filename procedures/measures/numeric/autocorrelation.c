#include "procedures/measures/numeric/autocorrelation.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "procedures/measures/numeric/passes.h"

#define MOST_LAGS 2000
#define LONG      20000 /* samples from which a long correlation is found in block means */
#define NEAR      16    /* lags that are looked at before */
#define BLOCK     8

static double product_at(const double *r, size_t n, size_t lag)
{
    return es_dot(r + lag, r, n - lag);
}

/* Of white noise the first two autocorrelations have a standard deviation of sqrt(2 / n) together: less than
 * that is none. */
static bool white(size_t n, double pair, double one)
{
    return pair <= sqrt(2 / (double)n) && one <= 2 / sqrt((double)n);
}

bool es_correlation_none(size_t n, size_t p, double square, double one, double two)
{
    double lift = fmin((double)p / (double)n, 0.2);
    return n < 8 || !(square > 0) || white(n, (one + two) / square + 2 * lift, one / square + lift);
}

/* Sum of the autocorrelations up to where they are lost in noise. `lift` makes good the downward bias.
 * `ended`: that they were, before `most` lags. */
static double sum_of_lags(const double *r, size_t n, double square, double lift, size_t most, bool *ended)
{
    double sum = 0;
    size_t last = n / 4 < most ? n / 4 : most;
    *ended = true;
    // cppcheck-suppress knownConditionTrueFalse ; last grows with the number of samples
    for (size_t lag = 1; lag + 1 <= last; lag += 2) {
        double pair = (product_at(r, n, lag) + product_at(r, n, lag + 1)) / square + 2 * lift;
        if (lag == 1) { /* a first lag that stands out counts even when the second cancels it */
            double one = product_at(r, n, 1) / square + lift;
            if (white(n, pair, one))
                return 0;
            pair = fmax(pair, one);
        }
        if (pair <= 0)
            return sum;
        sum += pair;
    }
    *ended = false;
    return sum;
}

/* Samples so dense that their correlation reaches over many of them: the mean of their block means is the
 * same mean, and its variance tells the inflation. False when out of memory. */
static bool by_blocks(const double *r, size_t n, size_t p, double square, struct es_correlation *c)
{
    size_t blocks = n / BLOCK;
    double *mean = malloc(blocks * sizeof *mean), of_means = 0;
    if (!mean)
        return false;
    for (size_t b = 0; b < blocks; b++) {
        mean[b] = 0;
        for (size_t k = 0; k < BLOCK; k++)
            mean[b] += r[b * BLOCK + k] / BLOCK;
        of_means += mean[b] * mean[b];
    }
    struct es_correlation coarse = es_correlation_of(mean, blocks, p);
    free(mean);
    double ratio = (of_means / (double)blocks) / (square / (double)n);
    c->inflation = fmin(fmax(1, ratio * BLOCK * coarse.inflation), (double)n / 4);
    c->effective = (double)n / c->inflation;
    return true;
}

struct es_correlation es_correlation_of(const double *residuals, size_t n, size_t p)
{
    struct es_correlation c = {1, (double)n};
    double square = n ? product_at(residuals, n, 0) : 0;
    if (n < 8 || !(square > 0))
        return c;
    double inflation = 1;
    bool ended;
    if (n > LONG) {
        sum_of_lags(residuals, n, square, 0, NEAR, &ended);
        if (!ended && by_blocks(residuals, n, p, square, &c))
            return c;
    }
    /* Fitting p coefficients takes about p * inflation / n out of every autocorrelation. */
    for (int pass = 0; pass < 3; pass++) {
        double lift = (double)p * inflation / (double)n;
        double sum = sum_of_lags(residuals, n, square, fmin(lift, 0.2), MOST_LAGS, &ended);
        inflation = fmin(fmax(1, 1 + 2 * sum), (double)n / 4);
        if (pass == 0 && sum == 0)
            break;
    }
    c.inflation = inflation;
    c.effective = (double)n / inflation;
    return c;
}
