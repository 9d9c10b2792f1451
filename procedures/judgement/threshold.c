#include "procedures/judgement/threshold.h"

#include <math.h>

#define CHI_SQUARE_95 3.841458820694124 /* one degree of freedom: 1.959964^2 */
#define STEEPEST      200.0

/* Penalised log-likelihood: sum of log P(what was seen) + half the logarithm of the information's
 * determinant. */
static double likelihood(const struct es_trial *t, size_t n, double a, double b)
{
    double sum = 0, w0 = 0, w1 = 0, w2 = 0;
    for (size_t i = 0; i < n; i++) {
        const double x = log(t[i].size), eta = a + b * x;
        const double margin = t[i].found ? eta : -eta;
        sum -= margin > 0 ? log1p(exp(-margin)) : -margin + log1p(exp(margin));
        const double e = exp(-fabs(eta)), w = e / ((1 + e) * (1 + e));
        w0 += w;
        w1 += w * x;
        w2 += w * x * x;
    }
    const double determinant = w0 * w2 - w1 * w1;
    return determinant > 0 ? sum + 0.5 * log(determinant) : -INFINITY;
}

struct search {
    const struct es_trial *trials;
    size_t count;
    double logit; /* of the share asked for */
};

/* The threshold at ln size = x: a = logit - b x. */
static double at(const struct search *s, double x, double b)
{
    return likelihood(s->trials, s->count, s->logit - b * x, b);
}

/* Best likelihood over slopes for a threshold at x; slopes on a logarithmic scale, golden section after a
 * coarse look, since far thresholds have flat sides. */
static double profile(const struct search *s, double x, double *slope)
{
    const double golden = 0.6180339887498949;
    double best = -INFINITY, where = 0;
    for (int i = 0; i <= 40; i++) {
        const double u = log(0.05) + (log(STEEPEST) - log(0.05)) * i / 40, l = at(s, x, exp(u));
        if (l > best) {
            best = l;
            where = u;
        }
    }
    const double step = (log(STEEPEST) - log(0.05)) / 40;
    double low = where - step, high = where + step;
    double p = high - golden * (high - low), q = low + golden * (high - low);
    double lp = at(s, x, exp(p)), lq = at(s, x, exp(q));
    for (int i = 0; i < 60; i++) {
        if (lp > lq) {
            high = q;
            q = p;
            lq = lp;
            p = high - golden * (high - low);
            lp = at(s, x, exp(p));
        } else {
            low = p;
            p = q;
            lp = lq;
            q = low + golden * (high - low);
            lq = at(s, x, exp(q));
        }
    }
    *slope = exp((low + high) / 2);
    return at(s, x, *slope);
}

/* Largest profile between two thresholds. */
static double climb(const struct search *s, double low, double high, double *slope)
{
    const double golden = 0.6180339887498949, from = low, step = (high - low) / 60;
    double best = -INFINITY, where = low, ignored;
    for (int i = 0; i <= 60; i++) {
        const double l = profile(s, from + step * i, &ignored);
        if (l > best) {
            best = l;
            where = from + step * i;
        }
    }
    low = where - step;
    high = where + step;
    for (int i = 0; i < 50; i++) {
        const double p = high - golden * (high - low), q = low + golden * (high - low);
        if (profile(s, p, &ignored) > profile(s, q, &ignored))
            high = q;
        else
            low = p;
    }
    where = (low + high) / 2;
    (void)profile(s, where, slope);
    return where;
}

/* Where the profile has fallen by half the chi-square between `inside` and `outside`. */
static double fallen(const struct search *s, double best, double inside, double outside)
{
    double ignored;
    if (profile(s, outside, &ignored) > best - CHI_SQUARE_95 / 2)
        return outside > inside ? INFINITY : -INFINITY;
    for (int i = 0; i < 50; i++) {
        const double middle = (inside + outside) / 2;
        if (profile(s, middle, &ignored) > best - CHI_SQUARE_95 / 2)
            inside = middle;
        else
            outside = middle;
    }
    return (inside + outside) / 2;
}

static const char *unfit(const struct es_trial *t, size_t n)
{
    size_t found = 0;
    double sum[2] = {0};
    for (size_t i = 0; i < n; i++) {
        found += t[i].found;
        sum[t[i].found] += log(t[i].size);
    }
    if (n < 8)
        return "fewer than 8 trials";
    if (found == 0)
        return "never found";
    if (found == n)
        return "always found";
    if (sum[1] / (double)found <= sum[0] / (double)(n - found))
        return "not more often found the larger it is";
    return NULL;
}

struct es_threshold es_threshold_fit(const struct es_trial *trials, size_t count, double share)
{
    const struct search s = {trials, count, log(share / (1 - share))};
    struct es_threshold out = {.reason = unfit(trials, count)};
    double least = INFINITY, greatest = -INFINITY;
    if (out.reason)
        return out;
    for (size_t i = 0; i < count; i++) {
        least = fmin(least, log(trials[i].size));
        greatest = fmax(greatest, log(trials[i].size));
    }
    const double reach = fmax(greatest - least, 0.1), low = least - reach, high = greatest + 2 * reach;
    const double x = climb(&s, low, high, &out.b);
    double ignored;
    const double best = profile(&s, x, &ignored);
    out.valid = true;
    out.a = s.logit - out.b * x;
    out.size = exp(x);
    out.lower = exp(fallen(&s, best, x, low));
    out.upper = exp(fallen(&s, best, x, high));
    return out;
}
