#include "procedures/judgement/probability.h"

#include <math.h>

/* Above this the t distribution differs from the normal one by less than a double tells. */
#define DOF_NORMAL 1e10

double es_normal_upper(double z)
{
    return 0.5 * erfc(z / sqrt(2.0));
}

/* ln(Gamma(a + 1/2) / Gamma(a)). The difference of two lgamma would lose digits for large a; DLMF 5.11.13
 * does not. */
static double ln_gamma_step(double a)
{
    if (a < 20) {
        return lgamma(a + 0.5) - lgamma(a);
    }
    double r = 1 / a;
    double r2 = r * r;
    return 0.5 * log(a) - r * (1.0 / 8 - r2 * (1.0 / 192 - r2 * (1.0 / 640 - r2 * 17.0 / 14336)));
}

static double not_zero(double x)
{
    const double tiny = 1e-300;
    return fabs(x) < tiny ? tiny : x;
}

/* The continued fraction of DLMF 8.17.22 by the modified Lentz method. Quick for x < (a+1)/(a+b+2). */
static double beta_fraction(double a, double b, double x)
{
    double c = 1;
    double d = 1 / not_zero(1 - (a + b) * x / (a + 1));
    double f = d;
    for (int m = 1; m < 200000; m++) {
        double even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
        d = 1 / not_zero(1 + even * d);
        c = not_zero(1 + even / c);
        f *= d * c;
        double odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
        d = 1 / not_zero(1 + odd * d);
        c = not_zero(1 + odd / c);
        f *= d * c;
        if (fabs(d * c - 1) < 1e-16) {
            break;
        }
    }
    return f;
}

double es_t_upper(double t, double dof)
{
    if (isnan(t) || isnan(dof) || dof <= 0) {
        return NAN;
    }
    if (dof > DOF_NORMAL || isinf(t)) {
        return es_normal_upper(t);
    }
    double a = dof / 2;
    double b = 0.5;
    double ratio = t * t / dof; /* (1 - x) / x */
    double x = 1 / (1 + ratio);
    double rest = ratio / (1 + ratio); /* 1 - x without loss */
    /* x^a (1-x)^b / B(a, 1/2) */
    double front = exp(-a * log1p(ratio) + ln_gamma_step(a)) * sqrt(rest / M_PI);
    double both; /* P(|T| > |t|) */
    if (x < (a + 1) / (a + b + 2)) {
        both = front * beta_fraction(a, b, x) / a;
    } else {
        both = 1 - front * beta_fraction(b, a, rest) / b;
    }
    return t >= 0 ? both / 2 : 1 - both / 2;
}
