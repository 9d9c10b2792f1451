#include <math.h>

#include "results/statistics/sampling.h"

static double log_factorial(double n)
{
    int sign;
    return lgamma_r(n + 1, &sign);
}

static double log_choose(size_t n, size_t k)
{
    return log_factorial((double)n) - log_factorial((double)k) - log_factorial((double)(n - k));
}

double es_sampling_accepts(const struct es_sampling_plan *plan, double p)
{
    double sum = 0;
    if (!(p >= 0 && p <= 1))
        return NAN;
    if (plan->accept >= plan->n || p == 0)
        return 1;
    if (p == 1)
        return 0;
    for (size_t k = 0; k <= plan->accept; k++)
        sum += exp(log_choose(plan->n, k) + (double)k * log(p) + (double)(plan->n - k) * log1p(-p));
    return fmin(sum, 1);
}

double es_sampling_accepts_lot(const struct es_sampling_plan *plan, size_t lot, size_t bad)
{
    double sum = 0;
    if (bad > lot || plan->n > lot)
        return NAN;
    for (size_t k = 0; k <= plan->accept && k <= bad && k <= plan->n; k++)
        if (plan->n - k <= lot - bad)
            sum += exp(log_choose(bad, k) + log_choose(lot - bad, plan->n - k) - log_choose(lot, plan->n));
    return fmin(sum, 1);
}

double es_sampling_quality(const struct es_sampling_plan *plan, double accepted)
{
    double low = 0, high = 1;
    if (!(accepted > 0 && accepted < 1) || plan->accept >= plan->n)
        return NAN;
    for (int i = 0; i < 200 && high - low > 1e-15; i++) {
        double middle = (low + high) / 2;
        if (es_sampling_accepts(plan, middle) > accepted)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2;
}

#define LARGEST_SAMPLE 100000u

/* The smallest n that, with `accept`, lets a share `bad` through at most with `risk`; 0: beyond the largest.
 * More units accept less: a search by halves. */
static size_t sample_for(size_t accept, double bad, double risk)
{
    size_t low = accept + 1, high = LARGEST_SAMPLE;
    struct es_sampling_plan plan = {.n = high, .accept = accept};
    if (es_sampling_accepts(&plan, bad) > risk)
        return 0;
    while (low < high) {
        plan.n = low + (high - low) / 2;
        if (es_sampling_accepts(&plan, bad) <= risk)
            high = plan.n;
        else
            low = plan.n + 1;
    }
    return low;
}

enum es_status es_sampling_find(double good, double producer_risk, double bad, double consumer_risk,
                                struct es_sampling_plan *plan, struct es_error *err)
{
    if (!(good >= 0 && good < bad && bad < 1 && producer_risk > 0 && producer_risk < 1 && consumer_risk > 0 &&
          consumer_risk < 1))
        return es_fail(err, ES_RANGE,
                       "a sampling plan needs 0 <= good share < bad share < 1 and risks between 0 and 1");
    for (size_t accept = 0; accept < LARGEST_SAMPLE; accept++) {
        struct es_sampling_plan found = {.accept = accept, .n = sample_for(accept, bad, consumer_risk)};
        if (found.n == 0)
            break;
        if (es_sampling_accepts(&found, good) >= 1 - producer_risk) {
            *plan = found;
            return ES_OK;
        }
    }
    return es_fail(err, ES_RANGE, "no plan of at most %u units tells %g from %g with these risks",
                   LARGEST_SAMPLE, good, bad);
}
