#include "procedures/measures/numeric/red_noise.h"

#include <float.h>
#include <math.h>

#include "procedures/measures/numeric/student.h"

#define SHORTEST  0.2   /* intervals: a correlation of 0.7 % between neighbours */
#define LONGEST   100.0 /* of all readings */
#define COARSE    24
#define LOST      12.0 /* below the largest in the logarithm: e^-12 of it counts for nothing */
#define MOST_DOF  1e6
#define LEAST_DOF 1.0

/* Quadratic forms in the inverse of the correlation matrix of one stretch (tridiagonal), all times c = 1 -
 * phi^2, with d = 1 - phi: nothing cancels however near to 1 phi is. A line's level and slope are square to
 * each other in it, times counted from the middle in intervals. */
struct forms {
    double level, slope; /* 1' R^-1 1 and t' R^-1 t */
    double left;         /* of the residuals, their own level and slope by this R taken off */
};

static struct forms forms_of(const struct es_red_stretch *s, double phi, double d)
{
    double n = (double)s->n, half = 0.5 * (n - 1), ends = s->first * s->first + s->last * s->last;
    double apart = s->last - s->first, beside = d * (s->first + s->last);
    struct forms f = {.level = d * (n * d + 2 * phi), .slope = 1};
    f.left = s->square * d * d + phi * s->steps + phi * d * ends;
    f.left -= phi * beside * phi * beside / f.level;
    if (s->sloped) {
        double t = phi * apart * (d * half + 1);
        f.slope = n * (n * n - 1) / 12 * d * d + phi * (n - 1) + 2 * phi * d * half * half;
        f.left -= t * t / f.slope;
    }
    f.left = fmax(f.left, DBL_MIN);
    return f;
}

struct likelihood {
    double log; /* with the density of ln time that an even one of phi makes */
    double sd;
};

static struct likelihood likelihood_at(const struct es_red_stretch *stretches, size_t count, double time,
                                       double dof)
{
    double d = -expm1(-1 / time), phi = 1 - d, c = d * (2 - d), left = DBL_MIN,
           log_all = -1 / time - log(time);
    for (size_t i = 0; i < count; i++) {
        const struct es_red_stretch *s = &stretches[i];
        struct forms f = forms_of(s, phi, d);
        left += f.left / c;
        log_all -= 0.5 * (((double)s->n - 1) * log(c) + log(f.level / c));
        if (s->sloped)
            log_all -= 0.5 * log(f.slope / c);
    }
    return (struct likelihood){log_all - 0.5 * dof * log(left), sqrt(left / dof)};
}

/* The most likely logarithm of the time, to a part of the coarse grid's step. */
static double most_likely(const struct es_red_stretch *stretches, size_t count, double low, double high,
                          double dof, double *best)
{
    double step = (high - low) / (COARSE - 1), at = low;
    *best = -INFINITY;
    for (int i = 0; i < COARSE; i++) {
        double l = likelihood_at(stretches, count, exp(low + i * step), dof).log;
        if (l > *best) {
            *best = l;
            at = low + i * step;
        }
    }
    for (int pass = 0; pass < 24; pass++) { /* halves the step where neither side is better */
        bool moved = false;
        for (int side = -1; side <= 1; side += 2) {
            double to = fmin(fmax(at + 0.5 * side * step, low), high);
            double l = likelihood_at(stretches, count, exp(to), dof).log;
            if (l > *best) {
                *best = l;
                at = to;
                moved = true;
            }
        }
        if (!moved)
            step *= 0.5;
    }
    return at;
}

/* How far from `at`, up or down, it still counts. */
static double reach(const struct es_red_stretch *stretches, size_t count, double at, double end, double best,
                    double dof)
{
    double way = end > at ? 1 : -1, far = 0.01;
    while (way * (end - at) > far &&
           likelihood_at(stretches, count, exp(at + way * far), dof).log > best - LOST)
        far *= 1.5;
    return way > 0 ? fmin(at + far, end) : fmax(at - far, end);
}

bool es_red_noise_of(const struct es_red_stretch *stretches, size_t count, struct es_red_noise *out)
{
    double readings = 0, dof = 0, square = 0, steps = 0, best, sum = 0;
    for (size_t i = 0; i < count; i++) {
        readings += (double)stretches[i].n;
        dof += (double)stretches[i].n - (stretches[i].sloped ? 2 : 1);
        square += stretches[i].square;
        steps += stretches[i].steps;
    }
    if (!(readings >= 8) || !(dof >= 1) || !(square > 0) || !(steps > 0))
        return false;
    double low = log(SHORTEST), high = log(LONGEST * readings);
    double at = most_likely(stretches, count, low, high, dof, &best);
    double from = reach(stretches, count, at, low, best, dof),
           to = reach(stretches, count, at, high, best, dof);
    out->dof = dof;
    for (int k = 0; k < ES_RED_GRID; k++) {
        out->time[k] = exp(from + (to - from) * k / (ES_RED_GRID - 1));
        struct likelihood l = likelihood_at(stretches, count, out->time[k], dof);
        out->weight[k] = exp(l.log - best);
        out->sd[k] = l.sd;
        sum += out->weight[k];
    }
    for (int k = 0; k < ES_RED_GRID; k++)
        out->weight[k] /= sum;
    return true;
}

/* Of 1 / n + 2 / n^2 sum of (n - k) phi^k. */
double es_red_share(double time, size_t n)
{
    double d = time > 0 ? -expm1(-1 / time) : 1, phi = 1 - d, m = (double)n;
    if (m * d < 1e-4) /* all of it is common */
        return 1 - d * (m - 1 / m) / 3;
    return fmin(1, (1 + phi) / (d * m) + 2 * phi * expm1(-m / fmax(time, 1e-300)) / (m * m * d * d));
}

/* Student's t by the normal distribution; to 0.002 from 6 degrees of freedom on (Abramowitz, Stegun 26.7.8).
 */
static double beyond(double x, double dof)
{
    return erfc(x * (1 - 0.25 / dof) / sqrt(1 + 0.5 * x * x / dof) / sqrt(2.0));
}

struct rising {
    double (*at)(const void *context, double x);
    const void *context;
};

/* Where what rises, and is nearly straight, passes 0 between `low` and `high`: by secants, the half of what
 * is left where one leads outside. */
static double zero_of(const struct rising *f, double low, double high, double guess, double fine)
{
    double x = fmin(fmax(guess, low), high), before = NAN, there = NAN;
    for (int pass = 0; pass < 60; pass++) {
        double here = f->at(f->context, x);
        *(here < 0 ? &low : &high) = x;
        double next = x - here * (x - before) / (here - there);
        if (pass == 0)
            next = x + (here < 0 ? 0.02 : -0.02) * x;
        if (!(next > low && next < high))
            next = 0.5 * (low + high);
        if (fabs(here) < fine || high - low < fine * high)
            break;
        before = x;
        there = here;
        x = next;
    }
    return x;
}

struct tails {
    const struct es_red_noise *noise;
    const double *u; /* the scales, as likely as noise->weight[] */
    double wanted;   /* normal deviate of the tail that is to be left on one side */
};

/* In normal deviates: of one scale a straight line. */
static double held(const void *context, double width)
{
    const struct tails *t = context;
    double out = 0;
    for (int k = 0; k < ES_RED_GRID; k++)
        if (t->u[k] > 0)
            out += t->noise->weight[k] * beyond(width / t->u[k], t->noise->dof);
    return -es_normal_quantile(fmax(0.5 * out, DBL_MIN)) - t->wanted;
}

/* Half-width that holds what `wanted` normal standard deviations hold. */
static double half_width(const struct es_red_noise *noise, const double *u, double wanted)
{
    struct tails t = {noise, u, wanted};
    struct rising f = {held, &t};
    double high = 0, square = 0;
    for (int k = 0; k < ES_RED_GRID; k++) {
        high = fmax(high, 20 * u[k]);
        square += noise->weight[k] * u[k] * u[k];
    }
    return zero_of(&f, 0, high, wanted * sqrt(square), 1e-10);
}

/* 95 % over 68 % of Student's t of 1 / x degrees of freedom, less what is wanted. */
static double how_wide(const void *context, double x)
{
    const double *wanted = context;
    return es_t_quantile(0.975, 1 / x) / es_t_quantile(es_normal_cumulative(1), 1 / x) - *wanted;
}

void es_red_mean(const struct es_red_noise *noise, size_t n, double *u, double *dof)
{
    double scale[ES_RED_GRID];
    for (int k = 0; k < ES_RED_GRID; k++)
        scale[k] = noise->sd[k] * sqrt(es_red_share(noise->time[k], n));
    double two = es_normal_quantile(0.975), wide = half_width(noise, scale, two);
    double ratio = wide / half_width(noise, scale, 1);
    struct rising f = {how_wide, &ratio};
    /* by the first terms of Student's t in 1 / dof (Abramowitz, Stegun 26.7.5) */
    double guess = (ratio - two) / (0.25 * (two * two * two + two) - 0.5 * two);
    *dof = 1 / zero_of(&f, 1 / MOST_DOF, 1 / LEAST_DOF, guess, 1e-4);
    *u = wide / es_t_quantile(0.975, *dof);
}

void es_red_typical(const struct es_red_noise *noise, double *time, double *sd)
{
    double sum = 0;
    int k = 0;
    while (k < ES_RED_GRID - 1 && sum + noise->weight[k] < 0.5)
        sum += noise->weight[k++];
    *time = noise->time[k];
    *sd = noise->sd[k];
}
