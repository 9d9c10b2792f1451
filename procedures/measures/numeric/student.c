#include "procedures/measures/numeric/student.h"

#include <float.h>
#include <math.h>

#define MANY_DOF 1e7

/* ln Gamma(a + b) - ln Gamma(a) - ln Gamma(b), without the cancellation that large arguments bring. */
static double ln_gamma_rest(double x) /* Stirling's series after the leading terms (DLMF 5.11.1) */
{
    double r = 1 / x, r2 = r * r;
    return r * (1.0 / 12 - r2 * (1.0 / 360 - r2 * (1.0 / 1260 - r2 * (1.0 / 1680 - r2 / 1188))));
}

static double ln_inverse_beta(double a, double b)
{
    double large = fmax(a, b), small = fmin(a, b);
    int sign;
    if (large < 20)
        return lgamma_r(a + b, &sign) - lgamma_r(a, &sign) - lgamma_r(b, &sign);
    double ratio = (large - 0.5) * log1p(small / large) + small * log(large + small) - small +
                   ln_gamma_rest(large + small) - ln_gamma_rest(large);
    return ratio - lgamma_r(small, &sign);
}

static double continued_fraction(double a, double b, double x)
{
    double tiny = DBL_MIN / DBL_EPSILON;
    double c = 1, d = 1 - (a + b) * x / (a + 1);
    d = 1 / (fabs(d) < tiny ? tiny : d);
    double h = d;
    for (int m = 1; m <= 100000; m++) {
        double k = m;
        double even = k * (b - k) * x / ((a + 2 * k - 1) * (a + 2 * k));
        d = 1 + even * d;
        c = 1 + even / c;
        d = 1 / (fabs(d) < tiny ? tiny : d);
        c = fabs(c) < tiny ? tiny : c;
        h *= d * c;
        double odd = -(a + k) * (a + b + k) * x / ((a + 2 * k) * (a + 2 * k + 1));
        d = 1 + odd * d;
        c = 1 + odd / c;
        d = 1 / (fabs(d) < tiny ? tiny : d);
        c = fabs(c) < tiny ? tiny : c;
        h *= d * c;
        if (fabs(d * c - 1) < 4 * DBL_EPSILON)
            break;
    }
    return h;
}

/* y = 1 - x is given apart, so that neither loses digits. */
static double beta_xy(double a, double b, double x, double y)
{
    if (x <= 0)
        return 0;
    if (y <= 0)
        return 1;
    double ln_x = x > 0.5 ? log1p(-y) : log(x), ln_y = y > 0.5 ? log1p(-x) : log(y);
    double front = exp(a * ln_x + b * ln_y + ln_inverse_beta(a, b));
    if (x < (a + 1) / (a + b + 2))
        return front * continued_fraction(a, b, x) / a;
    return 1 - front * continued_fraction(b, a, y) / b;
}

double es_beta_regularised(double a, double b, double x)
{
    return beta_xy(a, b, x, 1 - x);
}

double es_normal_cumulative(double z)
{
    return 0.5 * erfc(-z / sqrt(2.0));
}

/* Probability beyond |t| on one side. */
static double t_tail(double t, double dof)
{
    if (dof > MANY_DOF)
        return es_normal_cumulative(-fabs(t));
    double sum = dof + t * t;
    return 0.5 * beta_xy(dof / 2, 0.5, dof / sum, t * t / sum);
}

double es_t_cumulative(double t, double dof)
{
    return t > 0 ? 1 - t_tail(t, dof) : t_tail(t, dof);
}

static double t_density(double t, double dof)
{
    if (dof > MANY_DOF)
        return exp(-0.5 * t * t) * 0.39894228040143267794;
    return exp(ln_inverse_beta(dof / 2, 0.5) - 0.5 * (dof + 1) * log1p(t * t / dof)) / sqrt(dof);
}

double es_t_quantile(double p, double dof)
{
    if (!(p > 0 && p < 1) || !(dof > 0))
        return NAN;
    if (p == 0.5)
        return 0;
    double tail = p < 0.5 ? p : 1 - p;
    double low = 0, high = 1;
    while (t_tail(high, dof) > tail && high < DBL_MAX / 4)
        high *= 2;
    double t = 0.5 * high;
    for (int i = 0; i < 400; i++) { /* Newton inside a bracket that only shrinks */
        double off = t_tail(t, dof) - tail;
        if (off > 0)
            low = t;
        else
            high = t;
        double next = t + off / t_density(t, dof);
        if (!(next > low && next < high))
            next = 0.5 * (low + high);
        double step = fabs(next - t);
        t = next;
        if (step <= 2 * DBL_EPSILON * t)
            break;
    }
    return p < 0.5 ? -t : t;
}

double es_normal_quantile(double p)
{
    return es_t_quantile(p, INFINITY);
}
