#include "procedures/measures/local_fit.h"

#include <math.h>

#include "procedures/measures/budget.h"
#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/numeric/passes.h"

#define DENSE        1000
#define IN_RISE      500
#define LEAST_POINTS 5
#define WIDTHS       7   /* widest, half of it, ... */
#define AGREE        1.6 /* intervals of +-1.6 u must overlap */
#define CHORD        4.0 /* rise between two samples, in standard deviations of one: not by noise or rounding */
#define CHORD_STEADY 1.5 /* the same, of the curve's steady rise */
#define SURE         2.5 /* standard uncertainties by which a mean has passed a level */
#define PAUSE        1.5 /* a bracket wider than a straight curve's by so much is no chance */
#define INFORMED     5.0 /* change of level over a half-width, in standard uncertainties of the fit */

bool es_curve_by_means(const struct es_samples *s, double from, double to, double noise, double resolution,
                       struct es_curve_view *view, struct es_samples *means)
{
    return es_curve_by_means_between(s, from, to, -INFINITY, INFINITY, noise, resolution, view, means);
}

bool es_curve_by_means_between(const struct es_samples *s, double from, double to, double begin, double end,
                               double noise, double resolution, struct es_curve_view *view,
                               struct es_samples *means)
{
    size_t inside = es_samples_at(s, to) - es_samples_at(s, from);
    if (!(to > from) || inside <= DENSE)
        return false;
    double each = (double)inside / IN_RISE, inflation = view->inflation;
    if (es_samples_thin_between(s, (size_t)((double)s->n / each), begin, end, means, NULL) != ES_OK)
        return false; /* no memory for means: the samples themselves do */
    double left = noise * sqrt(fmin(1, inflation / each));
    *view =
        (struct es_curve_view){means->t, means->y, means->n, hypot(left, es_resolution_u(resolution, noise)),
                               fmax(1, inflation / each)};
    return true;
}

static bool fit_around(const struct es_curve_view *c, double centre, double half_width, struct es_fit *fit)
{
    size_t a = es_first_at(c->t, c->n, centre - half_width), b = es_first_at(c->t, c->n, centre + half_width);
    if (b < a + LEAST_POINTS)
        return false;
    return es_polynomial_fit(c->t + a, c->y + a, b - a, 2, centre, half_width, fit);
}

/* Noise for the fit's uncertainty: what is known from plateaus and what the fit itself shows. */
static double noise_of(const struct es_curve_view *c, const struct es_fit *fit)
{
    double seen = isfinite(fit->s) ? fit->s : 0;
    double dof = (double)fit->n - (double)fit->p;
    double known = c->s > 0 ? c->s : seen;
    /* few residuals say little: pooled with the plateaus' noise as if that had 30 degrees of freedom */
    double pooled = sqrt((dof * seen * seen + 30 * known * known) / (dof + 30));
    return pooled * sqrt(c->inflation);
}

/* What the curve does beside the parabola, beyond what noise gives the residuals by chance (2 standard
 * deviations): it is as large in the middle as anywhere, and more samples do not average it out. */
static double structure_of(const struct es_curve_view *c, const struct es_fit *fit)
{
    double dof = (double)fit->n - (double)fit->p, known = c->s * c->s * (1 + 2 * sqrt(2 / fmax(dof, 1)));
    return dof > 0 && isfinite(fit->s) ? sqrt(fmax(0, fit->s * fit->s - known)) : 0;
}

typedef bool solve_fn(const struct es_curve_view *c, double parameter, double centre, double half_width,
                      struct es_local *out);

/* Root of b0 + b1 u + b2 u^2 = level nearest to u = 0; NAN when there is none. */
static double nearest_root(const struct es_fit *fit, double level)
{
    double a = fit->b[2], b = fit->b[1], c = fit->b[0] - level;
    if (fabs(a) < 1e-12 * fabs(b))
        return b != 0 ? -c / b : NAN;
    double root = b * b - 4 * a * c;
    if (root < 0)
        return NAN;
    double q = -0.5 * (b + copysign(sqrt(root), b));
    double one = q / a, two = q != 0 ? c / q : one;
    return fabs(one) < fabs(two) ? one : two;
}

static bool solve_crossing(const struct es_curve_view *c, double level, double centre, double half_width,
                           struct es_local *out)
{
    for (int pass = 0; pass < 12; pass++) { /* follow the crossing until it is in the middle */
        struct es_fit fit;
        if (!fit_around(c, centre, half_width, &fit))
            return false;
        double u = nearest_root(&fit, level);
        if (!isfinite(u))
            return false;
        if (fabs(u) > 0.1 && pass < 11) {
            centre += fmax(-0.7, fmin(0.7, u)) * half_width;
            continue;
        }
        out->at = centre + u * half_width;
        out->slope = es_polynomial_slope(&fit, centre, half_width, out->at);
        out->value = level;
        out->u_value = hypot(es_polynomial_u(&fit, centre, half_width, out->at, noise_of(c, &fit)),
                             structure_of(c, &fit));
        out->u_at = out->slope != 0 ? out->u_value / fabs(out->slope) : INFINITY;
        out->half_width = half_width;
        return fabs(u) <= 1;
    }
    return false;
}

/* The crossing between the two samples on either side of it: coarse, but nothing farther away can bend it.
 * Known to a rectangle of one interval; false where noise could have carried one of them across. */
static bool solve_chord(const struct es_curve_view *c, double level, double guess, double half_width,
                        double steady, struct es_local *out)
{
    size_t a = es_first_at(c->t, c->n, guess - half_width), b = es_first_at(c->t, c->n, guess + half_width),
           i = 0;
    for (size_t k = a + 1; k < b && k < c->n; k++)
        if ((c->y[k] < level) != (c->y[k - 1] < level) &&
            (i == 0 || fabs(c->t[k] - guess) < fabs(c->t[i] - guess)))
            i = k;
    double rise = i ? c->y[i] - c->y[i - 1] : 0, run = i ? c->t[i] - c->t[i - 1] : 0;
    if (!(run > 0) || !(fabs(rise) > CHORD * c->s) || !(steady * run > CHORD_STEADY * c->s))
        return false;
    *out = (struct es_local){.at = c->t[i - 1] + (level - c->y[i - 1]) / rise * run,
                             .value = level,
                             .slope = rise / run,
                             .half_width = 0.5 * run,
                             .u_value = hypot(c->s * sqrt(c->inflation), es_rectangular(0.5 * rise))};
    out->u_at = out->u_value / fabs(out->slope);
    return true;
}

static bool solve_peak(const struct es_curve_view *c, double sign, double centre, double half_width,
                       struct es_local *out)
{
    for (int pass = 0; pass < 12; pass++) {
        struct es_fit fit;
        if (!fit_around(c, centre, half_width, &fit))
            return false;
        if (!(sign * fit.b[2] < 0))
            return false; /* bent the wrong way: no such peak at this width */
        double u = -fit.b[1] / (2 * fit.b[2]);
        if (fabs(u) > 0.2 && pass < 11) {
            centre += fmax(-0.7, fmin(0.7, u)) * half_width;
            continue;
        }
        if (fabs(u) > 1)
            return false;
        out->at = centre + u * half_width;
        out->slope = 0;
        out->value = es_polynomial_at(&fit, centre, half_width, out->at);
        out->u_value = es_polynomial_u(&fit, centre, half_width, out->at, noise_of(c, &fit));
        out->u_at = half_width;
        out->half_width = half_width;
        return true;
    }
    return false;
}

/* Slope of the widest fit that can be had: a narrow one's own slope is chance where noise outweighs it, and
 * steep chances look precise. */
static double steady_slope(const struct es_curve_view *c, double level, double guess, double half_width)
{
    struct es_local l;
    for (int k = 0; k < WIDTHS; k++)
        if (solve_crossing(c, level, guess, half_width / (double)(1 << k), &l))
            return fabs(l.slope);
    return 0;
}

/* Square of what the last widening says of the bend that a parabola does not follow: its error grows at least
 * eightfold with twice the width, so that the estimate moved by nearly all of it, and by noise, whose share
 * is known. A quarter of the move is always kept: the widths were chosen by it. u: without and with the
 * widening. */
static double bend_square(double moved, double u_before, double u_after)
{
    double noise = fmax(0, u_before * u_before - u_after * u_after);
    return fmax(0.25 * moved * moved, moved * moved - noise);
}

/* From narrow to wide as long as the intervals overlap. `by_time`: the time is judged, else the value. */
static bool widest_agreeing(const struct es_curve_view *c, solve_fn *solve, double parameter, double guess,
                            double half_width, bool by_time, struct es_local *out)
{
    double low = -INFINITY, high = INFINITY, centre = guess, bend = 0, u_last = 0;
    double slope = by_time ? steady_slope(c, parameter, guess, half_width) : 0;
    bool any = by_time && solve_chord(c, parameter, guess, half_width, slope, out);
    if (any) {
        low = out->at - AGREE * out->u_at;
        high = out->at + AGREE * out->u_at;
        centre = out->at;
        u_last = out->u_at;
    }
    for (int k = WIDTHS - 1; k >= 0; k--) {
        struct es_local l;
        double h = half_width / (double)(1 << k);
        if (!solve(c, parameter, centre, h, &l))
            continue;
        if (by_time && !(fmin(slope, fabs(l.slope)) * h > INFORMED * l.u_value))
            continue;
        double v = by_time ? l.at : l.value, u = by_time ? l.u_value / slope : l.u_value;
        low = fmax(low, v - AGREE * u);
        high = fmin(high, v + AGREE * u);
        if (any && low > high)
            break;
        if (!any || l.u_value < out->u_value) {
            bend = any ? bend_square(v - (by_time ? out->at : out->value), u_last, u) : 0;
            u_last = u;
            *out = l;
        }
        any = true;
        centre = out->at;
    }
    double *last = by_time ? &out->u_at : &out->u_value;
    if (any)
        *last = sqrt(*last * *last + bend);
    return any;
}

bool es_local_crossing(const struct es_curve_view *c, double level, double guess, double half_width,
                       struct es_local *out)
{
    return widest_agreeing(c, solve_crossing, level, guess, half_width, true, out);
}

bool es_local_peak(const struct es_curve_view *c, int sign, double guess, double half_width,
                   struct es_local *out)
{
    return widest_agreeing(c, solve_peak, sign, guess, half_width, false, out);
}

/* From mean number i on (of the samples y[i] .. y[i + width - 1]): the first that may have passed the level.
 * No mean is beyond the furthest of its samples, so that whole stretches need no sum. */
static size_t skip_far(const struct es_curve_view *c, double level, int sign, size_t i, size_t width)
{
    size_t means = c->n - width + 1;
    for (size_t part = 4096; part >= 256; part /= 16) {
        size_t stride = part + 2 * width;
        while (i + stride < means) {
            struct es_range r = es_range_of(c->y + i, stride + width - 1);
            if (sign > 0 ? r.most >= level : r.least <= level)
                break;
            i += stride;
        }
    }
    return i;
}

double es_first_passage(const struct es_curve_view *c, double level, int sign, double from, size_t m)
{
    size_t width = 2 * m + 1, first = es_first_at(c->t, c->n, from);
    if (c->n < width || first + width > c->n)
        return NAN;
    size_t i = skip_far(c, level, sign, first, width);
    double sum = es_plain_sum(c->y + i, width), before = sum / (double)width;
    if (sign * (before - level) >= 0)
        return c->t[i + m];
    for (size_t k = i + width; k < c->n; k++) {
        sum += c->y[k] - c->y[k - width];
        double mean = sum / (double)width;
        if (sign * (mean - level) >= 0) { /* between the two middles, by straight line */
            double share = mean != before ? (level - before) / (mean - before) : 0;
            return c->t[k - m - 1] + share * (c->t[k - m] - c->t[k - m - 1]);
        }
        before = mean;
    }
    return NAN;
}

bool es_local_passage(const struct es_curve_view *c, double level, int sign, double from, size_t m,
                      struct es_local *out)
{
    double at = es_first_passage(c, level, sign, from, m);
    if (!isfinite(at))
        return false;
    size_t i = es_first_at(c->t, c->n, at), a = i > m + 1 ? i - m - 1 : 0,
           b = i + m < c->n ? i + m : c->n - 1;
    double rise = b > a ? c->y[b] - c->y[a] : 0, run = b > a ? c->t[b] - c->t[a] : 0;
    if (!(sign * rise > 0) || !(run > 0))
        return false;
    double interval = run / (double)(b - a), u_value = c->s * sqrt(c->inflation / (double)(2 * m + 1));
    *out = (struct es_local){.at = at,
                             .slope = rise / run,
                             .value = level,
                             .u_value = u_value,
                             .half_width = ((double)m + 0.5) * interval};
    out->u_at = hypot(u_value / fabs(out->slope), es_rectangular(0.5 * interval));
    return true;
}

/* Half-width of means by which a straight curve's crossing is bracketed most narrowly: noise of the mean
 * against the time over which it is taken. */
static size_t bracket_width(double noise, double slope, double interval, size_t most)
{
    size_t m = 0;
    double before = INFINITY;
    for (; m <= most; m++) {
        double now = SURE * noise / (slope * sqrt(2.0 * (double)m + 1)) + (double)m * interval;
        if (now >= before)
            break;
        before = now;
    }
    return m > 0 ? m - 1 : 0;
}

bool es_local_pause(const struct es_curve_view *c, const struct es_local *l, double u_level, int sign,
                    double from, double *at, double *half_width)
{
    size_t within =
        es_first_at(c->t, c->n, l->at + l->half_width) - es_first_at(c->t, c->n, l->at - l->half_width);
    double slope = fabs(l->slope), noise = c->s * sqrt(c->inflation);
    if (c->n < 2 || !(slope > 0))
        return false;
    double interval = (c->t[c->n - 1] - c->t[0]) / (double)(c->n - 1);
    size_t m = bracket_width(noise, slope, interval, within / 2);
    double a = SURE * hypot(u_level, noise / sqrt(2.0 * (double)m + 1));
    double early = es_first_passage(c, l->value - sign * a, sign, from, m);
    double late = es_first_passage(c, l->value + sign * a, sign, from, m);
    if (!isfinite(early) || !isfinite(late) || !(late - early > PAUSE * 2 * a / slope))
        return false;
    *at = 0.5 * (early + late);
    *half_width = 0.5 * (late - early) / 0.95;
    return true;
}
