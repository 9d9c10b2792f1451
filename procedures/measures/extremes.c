#include "procedures/measures/extremes.h"

#include <math.h>

#include "procedures/measures/numeric/passes.h"

size_t es_extremes_width(const struct es_samples *s, double over)
{
    size_t width = s->interval > 0 ? (size_t)fmin(over / s->interval + 0.5, 1e9) : 0;
    return width < 3 ? 3 : width;
}

void es_extremes_of(const struct es_samples *s, size_t width, double resolution, struct es_extremes *out)
{
    struct es_moving x = es_moving_means(s->y, s->n, width, s->y[0]);
    double spread = sqrt(fmax(0, x.mean_square - x.mean * x.mean)); /* of the means */
    double noise = sqrt(x.step_square / 2 / (double)width);
    double many = fmax((double)s->n / (double)width, 2);
    double lift = noise * sqrt(2 * log(many));
    /* where the means spread by more than noise, the extreme is the signal's own and only slightly lifted */
    double share = spread > 0 ? fmin(1, pow(noise / spread, 2)) : 1;
    struct es_budget b = {0};
    es_budget_add(&b, ES_TERM_REPEAT, noise, (double)s->n - 1);
    es_budget_add(&b, ES_TERM_REPEAT, lift * share / 2, INFINITY);
    es_budget_add(&b, ES_TERM_REPEAT, lift * (1 - share) / 2, INFINITY);
    es_budget_add(&b, ES_TERM_REPEAT, es_resolution_u(resolution, noise), INFINITY);
    out->largest = (struct es_extreme){x.largest - lift * share, b, es_samples_index(s, x.at_largest),
                                       es_samples_index(s, x.at_largest + width - 1)};
    out->smallest = (struct es_extreme){x.smallest + lift * share, b, es_samples_index(s, x.at_smallest),
                                        es_samples_index(s, x.at_smallest + width - 1)};
}
