#include "procedures/measures/onset.h"

#include <math.h>

#include "procedures/measures/numeric/least_squares.h"

#define GRID 48

struct stretch {
    const double *t, *y;
    size_t n;
    double scale; /* s */
};

static size_t first_at(const struct es_curve_view *c, double limit)
{
    size_t low = 0, high = c->n;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (c->t[mid] < limit)
            low = mid + 1;
        else
            high = mid;
    }
    return low;
}

static bool fit_break(const struct stretch *w, double at, bool with_break, const struct es_fit *known,
                      struct es_fit *fit)
{
    struct es_least_squares ls;
    es_ls_start(&ls, with_break ? 4 : 3);
    for (size_t i = 0; i < w->n; i++) {
        double x = fmax(0, (w->t[i] - at) / w->scale);
        double row[4] = {1, x, x * x, 0};
        if (with_break && x > 0)
            row[3] = -(known->b[1] + 2 * known->b[2] * x) / w->scale;
        es_ls_add(&ls, row, w->y[i]);
    }
    return es_ls_solve(&ls, fit);
}

/* Residual sum of squares for a break at `at`; movement against `sign` at the break is not allowed. */
static double misfit(const struct stretch *w, double at, int sign)
{
    struct es_fit fit;
    if (!fit_break(w, at, false, NULL, &fit))
        return INFINITY;
    if (sign * fit.b[1] >= 0)
        return fit.rss;
    struct es_least_squares ls; /* without the linear part */
    es_ls_start(&ls, 2);
    for (size_t i = 0; i < w->n; i++) {
        double x = fmax(0, (w->t[i] - at) / w->scale);
        double row[2] = {1, x * x};
        es_ls_add(&ls, row, w->y[i]);
    }
    return es_ls_solve(&ls, &fit) ? fit.rss : INFINITY;
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

/* The break that fits the samples up to `until` best. */
static bool find_in(const struct es_curve_view *c, double from, double until, int sign, double *at, double *u)
{
    size_t end = first_at(c, until);
    double span = until - from;
    struct stretch w = {c->t, c->y, end, span};
    if (end < 8 || !(span > 0))
        return false;
    size_t after = end - first_at(c, from);
    if (after < 5)
        return false;
    double low = from - 0.3 * span, step = 1.25 * span / GRID, best = INFINITY, where = from;
    for (int i = 0; i < GRID; i++) {
        double f = misfit(&w, low + i * step, sign);
        if (f < best) {
            best = f;
            where = low + i * step;
        }
    }
    where = golden(&w, where - step, where + step, sign);
    struct es_fit fit, full;
    if (!fit_break(&w, where, false, NULL, &fit))
        return false;
    double s = fmax(c->s, fit.n > 4 ? sqrt(fit.rss / (double)(fit.n - 4)) : 0) * sqrt(c->inflation);
    *at = where;
    *u = fit_break(&w, where, true, &fit, &full) ? s * sqrt(full.cov[3][3]) : span / 4;
    if (!(*u < span / 4))
        *u = span / 4;
    return true;
}

bool es_onset_find(const struct es_curve_view *c, double from, double start, double end, double crude,
                   struct es_onset *out)
{
    static const double tops[] = {0.08, 0.16, 0.32};
    int sign = end > start ? 1 : -1;
    size_t m = 0;
    double size = fabs(end - start);
    while (m < 64 && c->s * sqrt(c->inflation / (double)(2 * m + 1)) > 0.02 * size)
        m++;
    bool any = false;
    double low = -INFINITY, high = INFINITY, before = 0;
    for (size_t k = 0; k < sizeof tops / sizeof tops[0]; k++) {
        double until = es_first_passage(c, start + tops[k] * (end - start), sign, from, m);
        double at, u;
        if (!isfinite(until) || until > crude || !find_in(c, from, until, sign, &at, &u))
            continue;
        low = fmax(low, at - 1.5 * u);
        high = fmin(high, at + 1.5 * u);
        if (any && low > high)
            break;
        if (!any || u < out->u_at) {
            double apart = any ? fabs(at - before) : 0;
            double noise = any ? out->u_at : u;
            out->at = at;
            out->u_at = u;
            out->u_model = sqrt(fmax(0, apart * apart - noise * noise));
        }
        before = at;
        any = true;
    }
    if (any)
        out->u_at = hypot(out->u_at, out->u_model);
    return any;
}
