#include "procedures/judgement/global_risk.h"

#include <math.h>
#include <stddef.h>

#include "procedures/measures/numeric/student.h"

#define FAR 12.0 /* standard deviations beyond which a prior has nothing worth counting */

static double density(const struct es_prior *p, double x)
{
    if (p->kind == ES_PRIOR_GAMMA)
        return x > 0 ? exp((p->a - 1) * log(x / p->b) - x / p->b - lgamma(p->a)) / p->b : 0;
    double z = (x - p->a) / p->b;
    return exp(-0.5 * z * z) / (p->b * 2.50662827463100050242);
}

/* Probability that a unit of true value x is measured inside. */
static double accepted(double x, double u, struct es_interval in)
{
    if (!(u > 0))
        return x >= in.lower && x <= in.upper ? 1 : 0;
    double below = isinf(in.lower) ? 0 : es_normal_cumulative((in.lower - x) / u);
    double above = isinf(in.upper) ? 0 : es_normal_cumulative((x - in.upper) / u);
    return fmax(0, 1 - below - above);
}

struct sums {
    double all, accepted;
};

/* Gauss and Legendre's rule with 5 nodes on panels that are short against prior and u. */
static struct sums integrate(const struct es_prior *p, double u, struct es_interval in, double from,
                             double to)
{
    static const double node[5] = {0, 0.5384693101056831, -0.5384693101056831, 0.9061798459386640,
                                   -0.9061798459386640};
    static const double weight[5] = {0.5688888888888889, 0.4786286704993665, 0.4786286704993665,
                                     0.2369268850561891, 0.2369268850561891};
    struct sums s = {0, 0};
    if (!(to > from))
        return s;
    const size_t panels = 2000;
    double half = 0.5 * (to - from) / (double)panels;
    for (size_t i = 0; i < panels; i++) {
        double middle = from + half * (double)(2 * i + 1);
        for (int k = 0; k < 5; k++) {
            double x = middle + half * node[k], w = half * weight[k] * density(p, x);
            s.all += w;
            s.accepted += w * accepted(x, u, in);
        }
    }
    return s;
}

/* Between two bounds, parted where the acceptance limits lie, so that no panel is cut by a step. */
static struct sums between(const struct es_prior *p, double u, struct es_interval in, double from, double to)
{
    double one = fmin(fmax(in.lower, from), to), other = fmin(fmax(in.upper, from), to);
    double cut[4] = {from, fmin(one, other), fmax(one, other), to};
    struct sums s = {0, 0};
    for (int i = 0; i < 3; i++) {
        struct sums part = integrate(p, u, in, cut[i], cut[i + 1]);
        s.all += part.all;
        s.accepted += part.accepted;
    }
    return s;
}

static bool sensible(const struct es_prior *p, double u, struct es_interval t, struct es_interval a)
{
    bool prior = (p->kind == ES_PRIOR_NORMAL && isfinite(p->a)) || (p->kind == ES_PRIOR_GAMMA && p->a > 0);
    return prior && p->b > 0 && isfinite(p->b) && isfinite(u) && u >= 0 && t.lower <= t.upper &&
           !isnan(a.lower) && !isnan(a.upper);
}

struct es_global_risk es_global_risk_of(const struct es_prior *prior, double u, struct es_interval tolerance,
                                        struct es_interval acceptance)
{
    struct es_global_risk out = {false, NAN, NAN, NAN};
    if (!sensible(prior, u, tolerance, acceptance))
        return out;
    bool gamma = prior->kind == ES_PRIOR_GAMMA;
    double mean = gamma ? prior->a * prior->b : prior->a, sd = gamma ? sqrt(prior->a) * prior->b : prior->b;
    double from = gamma ? 0 : mean - FAR * sd, to = mean + (gamma ? 4 : 1) * FAR * sd;
    double low = fmin(fmax(tolerance.lower, from), to), high = fmin(fmax(tolerance.upper, from), to);
    struct sums below = between(prior, u, acceptance, from, low),
                inside = between(prior, u, acceptance, low, high),
                above = between(prior, u, acceptance, high, to);
    out.valid = true;
    out.non_conforming = below.all + above.all;
    out.consumer = below.accepted + above.accepted;
    out.producer = fmax(0, inside.all - inside.accepted);
    return out;
}

struct es_prior es_prior_gamma_of(double mean, double deviation)
{
    double scale = deviation * deviation / mean;
    return (struct es_prior){ES_PRIOR_GAMMA, mean / scale, scale};
}
