#include "procedures/measures/numeric/autocorrelation.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "procedures/measures/numeric/passes.h"
#include "procedures/measures/numeric/red_noise.h"
#include "procedures/measures/numeric/student.h"
#include "procedures/measures/numeric/summary.h"

#define MOST_LAGS 2000
#define LONG      20000 /* samples from which correlation is found in block means */
#define BLOCK     8     /* of es_line_means_of_8 */
#define TRIAL     8192  /* of LONG, that show beforehand whether block means will be asked for */

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

static bool none(size_t n, size_t p, const struct es_line *line)
{
    double lift = fmin((double)p / (double)n, 0.2), square = line->square;
    return n < 8 || !(square > 0) ||
           white(n, (line->one + line->two) / square + 2 * lift, line->one / square + lift);
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

/* What readings that are correlated are worth as first-order noise (red_noise.h), where that is less. */
static void hold_against_red_noise(const double *r, size_t n, size_t p, struct es_correlation *c)
{
    if (!(c->inflation > 1))
        return;
    double square = product_at(r, n, 0), difference = es_noise_from_differences(r, n),
           left = fmax((double)n - (double)p, 1), u, dof;
    struct es_red_stretch all = {.n = n,
                                 .sloped = p > 1,
                                 .square = square,
                                 .steps = 2 * (double)(n - 1) * difference * difference,
                                 .first = r[0],
                                 .last = r[n - 1]};
    struct es_red_noise noise;
    if (!es_red_noise_of(&all, 1, &noise))
        return;
    es_red_mean(&noise, n, &u, &dof);
    double inflation = u * u * (double)n * left / square, known = fmax(c->effective - (double)p, 1);
    if (sqrt(inflation) * es_t_quantile(0.975, dof) <= sqrt(c->inflation) * es_t_quantile(0.975, known))
        return;
    c->inflation = fmax(1, inflation);
    c->effective = fmin(dof + (double)p, (double)n);
}

/* Inflation of n readings from the means of each BLOCK of them: the mean of these is the same mean, and its
 * variance tells it. `square`: sum of squares of the readings' residuals; `level`: of a level. */
static struct es_correlation of_means(const double *mean, size_t blocks, size_t n, size_t p, double square,
                                      bool level)
{
    struct es_correlation coarse = es_correlation_of(mean, blocks, p), c;
    if (level)
        hold_against_red_noise(mean, blocks, p, &coarse);
    double ratio = (es_dot(mean, mean, blocks) / (double)blocks) / (square / (double)n);
    c.inflation = fmin(fmax(1, ratio * BLOCK * coarse.inflation), (double)n / 4);
    c.effective = (double)n / c.inflation;
    if (level && coarse.inflation > 1)
        c.effective = fmin(c.effective, coarse.effective);
    return c;
}

/* False when out of memory. */
static bool by_blocks(const double *r, size_t n, size_t p, double square, struct es_correlation *c)
{
    size_t blocks = n / BLOCK;
    double *mean = malloc(blocks * sizeof *mean);
    if (!mean)
        return false;
    es_block_means(r, blocks * BLOCK, blocks, mean);
    *c = of_means(mean, blocks, n, p, square, false);
    free(mean);
    return true;
}

/* Products of all residuals; where many are correlated, as the first of them tell, the means of each BLOCK of
 * them in the same pass. False when out of memory. */
static bool products_and_means(const double *t, const double *y, size_t n, size_t lost, struct es_line *line,
                               double **means)
{
    *means = NULL;
    if (n <= LONG) {
        es_line_products(t, y, 0, n, line, NULL);
        return true;
    }
    es_line_products(t, y, 0, TRIAL, line, NULL);
    if (!none(TRIAL, lost, line)) {
        *means = malloc(n / BLOCK * sizeof **means);
        if (!*means)
            return false;
        es_line_means_of_8(t, y, TRIAL, line, *means);
    }
    es_line_products(t, y, TRIAL, n, line, *means);
    return true;
}

bool es_correlation_about(const double *t, const double *y, size_t n, struct es_line *line,
                          struct es_correlation *out)
{
    size_t lost = line->sloped ? 2 : 1;
    double *rest;
    *out = (struct es_correlation){1, (double)n};
    if (!products_and_means(t, y, n, lost, line, &rest))
        return false;
    if (none(n, lost, line)) {
        free(rest);
        return true;
    }
    bool known = rest != NULL;
    if (!known)
        rest = malloc((n > LONG ? n / BLOCK : n) * sizeof *rest);
    if (!rest)
        return false;
    if (n > LONG) {
        if (!known)
            es_line_means_of_8(t, y, n, line, rest);
        *out = of_means(rest, n / BLOCK, n, lost, line->square, true);
    } else {
        for (size_t i = 0; i < n; i++)
            rest[i] = y[i] - line->b0 - line->b1 * (t[i] - line->middle);
        *out = es_correlation_of(rest, n, lost);
        hold_against_red_noise(rest, n, lost, out);
    }
    free(rest);
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
        double one = product_at(residuals, n, 1) / square, two = product_at(residuals, n, 2) / square;
        if (!white(n, one + two, one) && by_blocks(residuals, n, p, square, &c))
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
