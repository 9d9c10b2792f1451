#include "procedures/measures/emptying.h"

#include <math.h>

#include "procedures/measures/numeric/autocorrelation.h"
#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/orifice.h"

#define EXPANSION  (0.4 / 1.4) /* (k - 1)/k of air */
#define AT_K       30.0
#define AT_PA      3e5
#define LEAST_K    0.01 /* from the walls: none at all has no power */
#define MOST_SHAPE 1.5
#define MOST_B     0.9
#define LEAST      20
#define STEPS      12

/* exp of -(heat exchanged in dt) */
static double relaxed(const struct es_emptying *e, double T, double p, double dt)
{
    double h = e->exchange;
    if (e->shape != 0) {
        double ratio = p / AT_PA;
        h *= exp(e->shape / 3 * log(fmax(LEAST_K, fabs(T - e->T_wall)) / AT_K * ratio * ratio));
    }
    return e->T_wall + (T - e->T_wall) * exp(-EXPANSION * h * T / p * dt);
}

/* Half of the exchange, the expansion, the other half: second order in the step, and stable for any. */
void es_emptying_temperature(struct es_emptying *e)
{
    double T = e->T_start;
    for (size_t i = 0; i < e->n; i++) {
        if (i > 0) {
            double dt = (e->t[i] - e->t[i - 1]) / 2;
            T = relaxed(e, T, e->p[i - 1], dt);
            T *= exp(EXPANSION * log(e->p[i] / e->p[i - 1]));
            T = relaxed(e, T, e->p[i], dt);
        }
        e->T[i] = T;
        e->M[i] = e->p[i] / ES_P_ANR * ES_T_ANR / T;
    }
}

/* Least squares of M on a constant, on what was counted and on y; with `steps` also on what another 1 % of
 * the exchange and another 0.01 of the shape do. */
static bool balance(struct es_emptying *e, bool steps, struct es_fit *fit)
{
    struct es_least_squares ls;
    es_ls_start(&ls, steps ? 5 : 3);
    struct es_emptying more = *e, other = *e;
    more.exchange *= 1.01;
    other.shape += 0.01;
    double T[3] = {e->T_start, e->T_start, e->T_start}, counted = 0;
    struct es_emptying *all[3] = {e, &more, &other};
    for (size_t i = 0; i < e->n; i++) {
        double M[3] = {0};
        double dt = i > 0 ? (e->t[i] - e->t[i - 1]) / 2 : 0;
        counted += i > 0 ? dt * (e->q[i] + e->q[i - 1]) : 0;
        double expanded = i > 0 ? exp(EXPANSION * log(e->p[i] / e->p[i - 1])) : 1;
        for (int k = 0; k < (steps ? 3 : 1); k++) {
            if (i > 0)
                T[k] = relaxed(all[k], relaxed(all[k], T[k], e->p[i - 1], dt) * expanded, e->p[i], dt);
            M[k] = e->p[i] / ES_P_ANR * ES_T_ANR / T[k];
        }
        double row[5] = {1, -counted, -e->q[i], (M[0] - M[1]) / 0.01, (M[0] - M[2]) / 0.01};
        es_ls_add(&ls, row, M[0]);
    }
    return es_ls_solve(&ls, fit) && isfinite(fit->rss);
}

/* The best of some exchanges of one shape to begin with. */
static double begin(struct es_emptying *e, double shape)
{
    static const double tried[] = {250, 750, 2250, 6750, 20250, 60750};
    double best = INFINITY, at = 0;
    struct es_fit fit;
    e->shape = shape;
    for (size_t k = 0; k < sizeof tried / sizeof tried[0]; k++) {
        e->exchange = tried[k];
        if (balance(e, false, &fit) && fit.rss < best) {
            best = fit.rss;
            at = tried[k];
        }
    }
    e->exchange = at;
    return best;
}

/* A step that makes the fit worse is halved. */
static double step(struct es_emptying *e, const struct es_fit *fit, double rss)
{
    const double exchange = e->exchange, shape = e->shape;
    double share = fmin(1, 1 / fmax(fabs(fit->b[3]), 2 * fabs(fit->b[4])));
    for (int k = 0; k < 5; k++) {
        struct es_fit trial;
        e->exchange = exchange * exp(share * fit->b[3]);
        e->shape = fmax(-0.5, fmin(MOST_SHAPE, shape + share * fit->b[4]));
        if (balance(e, false, &trial) && trial.rss < rss)
            return trial.rss;
        share /= 2;
    }
    e->exchange = exchange;
    e->shape = shape;
    return rss;
}

/* From one shape on, downhill. */
static double search(struct es_emptying *e, double shape)
{
    struct es_fit fit;
    double rss = begin(e, shape);
    for (int k = 0; k < STEPS && isfinite(rss) && balance(e, true, &fit); k++) {
        double now = step(e, &fit, rss);
        bool done = now > (1 - 1e-6) * rss;
        rss = now;
        if (done)
            break;
    }
    return rss;
}

bool es_emptying_heat(struct es_emptying *e)
{
    struct es_fit fit;
    if (e->n < LEAST || !(e->p[e->n - 1] - e->ambient < 0.5 * (e->p[0] - e->ambient)) ||
        !(e->p[e->n - 1] < 0.67 * e->p[0]))
        return false;
    for (size_t i = 0; i < e->n; i++)
        if (!(e->p[i] > 0))
            return false;
    double rss = search(e, 0), exchange = e->exchange, shape = e->shape;
    if (rss < search(e, 1)) { /* the other way downhill ends higher */
        e->exchange = exchange;
        e->shape = shape;
    }
    if (!balance(e, false, &fit) || !(fit.b[1] > 0))
        return false;
    es_emptying_temperature(e);
    e->volume = 1 / fit.b[1];
    e->u_volume = fit.s * sqrt(fit.cov[1][1]) * e->volume * e->volume;
    e->delay = fit.b[2] / fit.b[1];
    e->u_delay = fit.s * sqrt(fit.cov[2][2]) / fit.b[1];
    return true;
}

static double drive(const struct es_emptying *e, size_t i, double b)
{
    return es_orifice_drive(e->p[i], e->ambient, e->T[i], b);
}

/* M on 1, minus the drive's integral, and with `row` what a little more b does. */
static bool path(const struct es_emptying *e, size_t first, size_t end, double b, double c, double *row,
                 struct es_fit *fit)
{
    const double little = 1e-4;
    struct es_least_squares ls;
    double sum = 0, more = 0, scale = (e->t[end - 1] - e->t[first]) * drive(e, first, b);
    es_ls_start(&ls, row ? 3 : 2);
    for (size_t i = first; i < end; i++) {
        double dt = i > first ? (e->t[i] - e->t[i - 1]) / (2 * scale) : 0;
        if (i > first) {
            sum += dt * (drive(e, i, b) + drive(e, i - 1, b));
            more += row ? dt * (drive(e, i, b + little) + drive(e, i - 1, b + little)) : 0;
        }
        double x[3] = {1, -sum, -c * scale * (more - sum) / little};
        if (row)
            row[i - first] = sum;
        es_ls_add(&ls, x, e->M[i]);
    }
    if (!es_ls_solve(&ls, fit))
        return false;
    fit->b[1] /= scale;
    fit->cov[1][1] /= scale * scale;
    for (size_t i = first; row && i < end; i++)
        row[i - first] = e->M[i] - fit->b[0] + fit->b[1] * scale * row[i - first];
    return true;
}

double es_emptying_by(const struct es_emptying *e, size_t first, size_t end, double b)
{
    struct es_fit fit;
    return path(e, first, end, fmin(0.99, fmax(0, b)), 0, NULL, &fit) ? fit.b[1] : NAN;
}

bool es_emptying_path(const struct es_emptying *e, size_t first, size_t end, double b, double *row,
                      struct es_emptied *out)
{
    struct es_fit fit;
    double c = es_emptying_by(e, first, end, b);
    for (int k = 0; k < STEPS; k++) {
        if (end - first < LEAST || !(c > 0) || !path(e, first, end, b, c, row, &fit))
            return false;
        double by = fmax(-0.1, fmin(0.1, fit.b[2]));
        by = fmax(0, fmin(MOST_B, b + by)) - b;
        b += by;
        c = fit.b[1];
        if (fabs(by) < 1e-6)
            break;
    }
    if (b <= 0 || b >= MOST_B)
        return false;
    struct es_correlation r = es_correlation_of(row, end - first, 3);
    *out = (struct es_emptied){c, fit.s * sqrt(fit.cov[1][1] * r.inflation), b,
                               fit.s * sqrt(fit.cov[2][2] * r.inflation)};
    return true;
}
