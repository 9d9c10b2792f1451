#include "procedures/judgement/binomial.h"

#include <math.h>

#include "procedures/measures/numeric/student.h"

/* x with I_x(a, b) = p. Halving, not Newton: 200 steps at most, and nothing can go astray. */
static double beta_quantile(double p, double a, double b)
{
    double low = 0, high = 1;
    for (int i = 0; i < 200 && high > nextafter(low, 1); i++) {
        /* Small quantiles need relative accuracy: halve the logarithm there. */
        double x = low > 0 && high < 0.1 ? sqrt(low * high) : low + (high - low) / 2;
        if (es_beta_regularised(a, b, x) < p)
            low = x;
        else
            high = x;
    }
    return low + (high - low) / 2;
}

static struct es_share empty(void)
{
    return (struct es_share){.share = NAN, .lower = 0, .upper = 1};
}

struct es_share es_share_clopper_pearson(size_t k, size_t n, double confidence)
{
    if (n == 0 || k > n)
        return empty();
    const double tail = (1 - confidence) / 2, K = (double)k, N = (double)n;
    return (struct es_share){.k = k,
                             .n = n,
                             .share = K / N,
                             .lower = k == 0 ? 0 : beta_quantile(tail, K, N - K + 1),
                             .upper = k == n ? 1 : beta_quantile(1 - tail, K + 1, N - K)};
}

struct es_share es_share_wilson(size_t k, size_t n, double confidence)
{
    if (n == 0 || k > n)
        return empty();
    const double z = es_normal_quantile(0.5 + confidence / 2), N = (double)n, p = (double)k / N;
    const double middle = (p + z * z / (2 * N)) / (1 + z * z / N);
    const double half = z * sqrt(p * (1 - p) / N + z * z / (4 * N * N)) / (1 + z * z / N);
    return (struct es_share){
        .k = k, .n = n, .share = p, .lower = k == 0 ? 0 : middle - half, .upper = k == n ? 1 : middle + half};
}

size_t es_trials_without_failure(double reliability, double confidence)
{
    if (!(reliability > 0 && reliability < 1 && confidence > 0 && confidence < 1))
        return 0;
    const double trials = log1p(-confidence) / log(reliability);
    const double nearest = nearbyint(trials);
    /* Whole but for rounding counts as whole: 0.9 with 0.99 is 44 (43.7), 0.1 with 0.9 is 1. */
    return (size_t)(fabs(trials - nearest) < 1e-9 * nearest ? nearest : ceil(trials));
}
