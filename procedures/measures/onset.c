#include "procedures/measures/onset.h"

#include <math.h>

#include "procedures/measures/numeric/columns.h"
#include "procedures/measures/numeric/passes.h"
#include "procedures/measures/numeric/summary.h"

#define GRID   48
#define MISFIT 0.03 /* of the fitted stretch: how far a fit to half of it differs (virtual bench) */
#define HIDDEN 0.02 /* noise of a mean over the stretch, of its rise: more hides the beginning */
#define SPREAD 1.15 /* break and kind are chosen, not only fitted: found by trial (bench_estimators) */

struct stretch {
    const double *t, *y;
    size_t n;
    double scale;  /* s */
    bool smooth;   /* the movement begins level */
    size_t rested; /* samples before every break that is tried: their level, the sum of what they depart */
    double level, rest_sum, rest_square; /* from it, and of the squares */
};

/* Takes in the samples up to `until` once and for all: no break is tried before. */
static void take_rest(struct stretch *w, double until)
{
    w->rested = es_first_at(w->t, w->n, nextafter(until, INFINITY));
    w->level = w->rested ? es_mean(w->y, w->rested) : w->y[0];
    w->rest_sum = es_sum_about(w->y, w->rested, w->level);
    w->rest_square = es_square_about(w->y, w->rested, w->level);
}

struct broken {
    const struct stretch *w;
    double at;
    const struct es_fit *known;
};

static void fill_broken(const void *what, size_t first, size_t count, double *const column[])
{
    const struct broken *b = what;
    const struct stretch *w = b->w;
    const double *t = w->t + w->rested + first;
    es_hinge(t, count, b->at, w->scale, w->smooth, column[1], column[2]);
    for (size_t i = 0; b->known && i < count; i++) {
        const double *c = b->known->b;
        double x = (t[i] - b->at) / w->scale;
        double slope = w->smooth ? (2 * c[1] + 3 * c[2] * x) * x : c[1] + 2 * c[2] * x;
        column[3][i] = x > 0 ? -slope / w->scale : 0;
    }
}

/* Rest, then a movement from `at` on: kinked (x, x^2) or smooth (x^2, x^3). With `known` a last column is
 * added, the derivative by the place of the break. */
static bool fit_break(const struct stretch *w, double at, const struct es_fit *known, struct es_fit *fit)
{
    struct broken b = {w, at, known};
    struct es_columns c = {.n = w->n - w->rested,
                           .p = known ? 4 : 3,
                           .y = w->y + w->rested,
                           .about = w->level,
                           .fill = fill_broken,
                           .what = &b,
                           .level_n = w->rested,
                           .level_sum = w->rest_sum,
                           .level_square = w->rest_square};
    return es_columns_fit(&c, fit);
}

/* Residual sum of squares; a movement that begins against `sign` is no candidate. */
static double misfit(const struct stretch *w, double at, int sign)
{
    struct es_fit fit;
    return fit_break(w, at, NULL, &fit) && sign * fit.b[1] > 0 ? fit.rss : INFINITY;
}

static double golden(const struct stretch *w, double low, double high, int sign)
{
    const double ratio = 0.61803398874989484820;
    double a = high - ratio * (high - low), b = low + ratio * (high - low);
    double fa = misfit(w, a, sign), fb = misfit(w, b, sign);
    for (int i = 0; i < 40 && high - low > 1e-9 * w->scale; i++) {
        if (fa <= fb) {
            high = b;
            b = a;
            fb = fa;
            a = high - ratio * (high - low);
            fa = misfit(w, a, sign);
        } else {
            low = a;
            a = b;
            fa = fb;
            b = low + ratio * (high - low);
            fb = misfit(w, b, sign);
        }
    }
    return 0.5 * (low + high);
}

struct candidate {
    bool found;
    double at, u, rss;
    double misfit; /* of one sample of the movement, standard */
};

/* What the curve leaves of the movement alone: the rest before it fits any curve, and its many samples would
 * hide that a few moving ones do not. */
static double misfit_of_movement(const struct es_curve_view *c, const struct es_fit *fit, size_t moving)
{
    size_t resting = fit->n - moving;
    double rest = resting ? es_square_about(c->y, resting, es_mean(c->y, resting)) : 0;
    double left = fmax((double)moving - 3, 1); /* two coefficients and the place of the break */
    return sqrt(fmax(0, fit->rss - rest) / left);
}

/* The break of one kind that fits the samples up to `until` best. */
static struct candidate find_in(const struct es_curve_view *c, double from, double until, int sign,
                                bool smooth)
{
    struct candidate out = {.found = false};
    size_t end = es_first_at(c->t, c->n, until);
    double span = until - from;
    struct stretch w = {.t = c->t, .y = c->y, .n = end, .scale = span, .smooth = smooth};
    if (!(span > 0) || end < 8 || end - es_first_at(c->t, c->n, from) < 5)
        return out;
    double near = (double)(end - es_first_at(c->t, c->n, from));
    if (c->s * sqrt(c->inflation / near) > HIDDEN * fabs(c->y[end - 1] - c->y[0]))
        return out;
    double low = from - 0.3 * span, step = 1.25 * span / GRID, best = INFINITY, where = from;
    take_rest(&w, low - step);
    for (int i = 0; i < GRID; i++) {
        double f = misfit(&w, low + i * step, sign);
        if (f < best) {
            best = f;
            where = low + i * step;
        }
    }
    if (!isfinite(best))
        return out;
    where = golden(&w, where - step, where + step, sign);
    struct es_fit fit, full;
    if (!fit_break(&w, where, NULL, &fit))
        return out;
    out.found = true;
    out.rss = fit.rss;
    out.at = where;
    out.misfit = misfit_of_movement(c, &fit, end - es_first_at(c->t, c->n, where));
    double s = fmax(c->s, out.misfit) * sqrt(c->inflation);
    out.u = fit_break(&w, where, &fit, &full) ? s * sqrt(full.cov[3][3]) : span / 4;
    if (!(out.u < span / 4))
        out.u = span / 4;
    return out;
}

/* Both kinds, weighed by how well they fit (model averaging, Buckland, Burnham and Augustin 1997): where the
 * samples cannot tell them apart, their difference is uncertainty. */
static bool weighed(const struct es_curve_view *c, double from, double until, int sign, double *at, double *u)
{
    struct candidate k = find_in(c, from, until, sign, false), s = find_in(c, from, until, sign, true);
    if (!k.found && !s.found)
        return false;
    double w = k.found ? 0 : 1; /* weight of the smooth one */
    if (k.found && s.found) {
        double misfit = fmin(k.misfit, s.misfit), noise = fmax(c->s * c->s, misfit * misfit) * c->inflation;
        double apart = noise > 0 ? (k.rss - s.rss) / (2 * noise) : (s.rss < k.rss ? 700 : -700);
        w = 1 / (1 + exp(-fmax(-700, fmin(700, apart))));
    }
    *at = k.found && s.found ? (1 - w) * k.at + w * s.at : (k.found ? k.at : s.at);
    /* a real beginning lies somewhere between the two kinds: a rectangle, not one or the other */
    double apart = k.found && s.found ? s.at - k.at : 0, square = w * (1 - w) * apart * apart / 3;
    if (k.found)
        square += (1 - w) * k.u * k.u;
    if (s.found)
        square += w * s.u * s.u;
    *u = SPREAD * hypot(sqrt(square), MISFIT * (until - *at));
    return true;
}

bool es_onset_find(const struct es_curve_view *c, double from, double start, double end, double crude,
                   struct es_onset *out)
{
    static const double tops[] = {0.04, 0.08, 0.16, 0.32};
    int sign = end > start ? 1 : -1;
    size_t m = 0;
    double size = fabs(end - start), low = -INFINITY, high = INFINITY;
    while (m < 64 && c->s * sqrt(c->inflation / (double)(2 * m + 1)) > 0.02 * size)
        m++;
    bool any = false;
    for (size_t k = 0; k < sizeof tops / sizeof tops[0]; k++) {
        double until = es_first_passage(c, start + tops[k] * (end - start), sign, from, m), at, u;
        if (!isfinite(until) || until > crude || !weighed(c, from, until, sign, &at, &u))
            continue;
        low = fmax(low, at - 1.5 * u);
        high = fmin(high, at + 1.5 * u);
        if (any && low > high)
            break;
        if (!any || u < out->u_at) {
            out->at = at;
            out->u_at = u;
        }
        any = true;
    }
    return any;
}
