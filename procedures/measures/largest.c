#include "procedures/measures/largest.h"

#include <math.h>

#include "procedures/measures/numeric/student.h"

double es_without_noise(double largest, double u, size_t many, double *doubt)
{
    double alone = u * sqrt(2 * log(fmax((double)many, 2)));
    double value = sqrt(fmax(0, largest * largest - alone * alone));
    *doubt = hypot(u, value > 0 ? (largest - value) / 2 : alone / 2);
    return value;
}

double es_seldom_exceeded(double many)
{
    return -es_normal_quantile(0.05 / fmax(many, 1));
}

double es_excess(size_t many)
{
    double n = (double)many;
    return many > 1 ? es_t_quantile((n - 0.375) / (n + 0.25), INFINITY) : 0;
}

double es_without_excess(const double *figures, size_t n, double largest, double u, double *doubt)
{
    size_t rivals = 0;
    for (size_t i = 0; i < n; i++)
        rivals += figures[i] > largest - 3 * u;
    double value = fmax(0, largest - u * es_excess(rivals));
    /* the largest of many varies less than one: to 2 % as tables of its variance have it, from memory */
    double spread = u * (1 - 0.25 * es_excess(rivals));
    *doubt = hypot(spread, value > 0 ? 0.3 * u * es_excess(rivals) : largest / 2);
    return value;
}

double es_excess_of_two(double apart, double u)
{
    double wide = sqrt(2.0) * u, x = wide > 0 ? fabs(apart) / wide : INFINITY;
    if (!(x < 8))
        return 0;
    double density = exp(-0.5 * x * x) / sqrt(2 * acos(-1.0)), beyond = 0.5 * erfc(x / sqrt(2.0));
    return wide * density - fabs(apart) * beyond;
}
