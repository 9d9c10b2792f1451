#include "procedures/measures/numeric/autocorrelation.h"

#include <math.h>

#define MOST_LAGS 2000

static double product_at(const double *r, size_t n, size_t lag)
{
    double sum = 0;
    for (size_t i = lag; i < n; i++)
        sum += r[i] * r[i - lag];
    return sum;
}

/* Sum of the autocorrelations up to where they are lost in noise. `lift` makes good the downward bias. */
static double sum_of_lags(const double *r, size_t n, double square, double lift)
{
    double sum = 0;
    size_t last = n / 4 < MOST_LAGS ? n / 4 : MOST_LAGS;
    // cppcheck-suppress knownConditionTrueFalse ; last grows with the number of samples
    for (size_t lag = 1; lag + 1 <= last; lag += 2) {
        double pair = (product_at(r, n, lag) + product_at(r, n, lag + 1)) / square + 2 * lift;
        if (lag == 1) { /* a first lag that stands out counts even when the second cancels it */
            double one = product_at(r, n, 1) / square + lift;
            /* of white noise the pair has a standard deviation of sqrt(2 / n): less than that is none */
            if (pair <= sqrt(2 / (double)n) && one <= 2 / sqrt((double)n))
                return 0;
            pair = fmax(pair, one);
        }
        if (pair <= 0)
            break;
        sum += pair;
    }
    return sum;
}

struct es_correlation es_correlation_of(const double *residuals, size_t n, size_t p)
{
    struct es_correlation c = {1, (double)n};
    double square = n ? product_at(residuals, n, 0) : 0;
    if (n < 8 || !(square > 0))
        return c;
    double inflation = 1;
    /* Fitting p coefficients takes about p * inflation / n out of every autocorrelation. */
    for (int pass = 0; pass < 3; pass++) {
        double lift = (double)p * inflation / (double)n;
        double sum = sum_of_lags(residuals, n, square, fmin(lift, 0.2));
        inflation = fmin(fmax(1, 1 + 2 * sum), (double)n / 4);
        if (pass == 0 && sum == 0)
            break;
    }
    c.inflation = inflation;
    c.effective = (double)n / inflation;
    return c;
}
