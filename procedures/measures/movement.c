#include "procedures/measures/movement.h"

#include <math.h>

#include "procedures/measures/budget.h"
#include "procedures/measures/largest.h"
#include "procedures/measures/numeric/summary.h"

#define BLOCKS 40 /* a swing of which ten fit into the stretch keeps nine tenths of its size */

/* Expected range of n normal values over their standard deviation: 2 sqrt(2 ln n) is its bound, 0.8 of it
 * what is usual for n of 10 to 100 (tables of the relative range, from memory: 3.08, 4.32, 5.02). */
static double usual_range(double n)
{
    return 0.8 * 2 * sqrt(2 * log(n));
}

void es_movement_of(const double *y, size_t n, double resolution, size_t many, struct es_movement *out)
{
    size_t blocks = n < 2 * BLOCKS ? n / 2 : BLOCKS;
    double means[BLOCKS];
    es_block_means(y, n, blocks, means);
    struct es_range of_means = es_range_of(means, blocks);
    double range = of_means.most - of_means.least, scatter = es_noise_from_differences(y, n);
    double noise = scatter / sqrt((double)n / (double)blocks);
    double alone = noise * usual_range((double)blocks);
    out->noise = alone;
    /* the range is the largest difference of two means, either way */
    double pairs = (double)blocks * (double)(blocks - 1) * (double)(many ? many : 1);
    double least = noise * sqrt(2.0) * es_seldom_exceeded(pairs);
    /* noise adds in squares to a swing, of which few means show either end, and in full to a slip, of which
     * many do: so much lower it may be */
    double slip = range - alone, swing = sqrt(fmax(0, range * range - alone * alone));
    out->range = range > least ? swing : 0;
    double doubt = es_rectangular(range > least ? swing - slip : least);
    double step = es_resolution_u(resolution, scatter) * sqrt(2.0);
    out->u = hypot(hypot(doubt, noise), step);
}
