#include "procedures/measures/sweep_curve.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/numeric/autocorrelation.h"
#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/numeric/summary.h"

#define LEAST_SPEED_RATIO 1.5

double es_sweep_slope(const struct es_sweep *s, double low, double high, double *work)
{
    struct es_fit f;
    double middle = 0.5 * (low + high), half = 0.5 * (high - low);
    size_t n = es_sweep_gather(s, NULL, low, high, false, work, work + s->n);
    return es_polynomial_fit(work, work + s->n, n, 1, middle, half, &f) ? f.b[1] / half : NAN;
}

/* Median over a leg's readings near `angle`, each carried to it along the slope; NAN when too few. */
static double median_near(const struct es_sweep *s, const struct es_sweep_leg *leg, double angle, double half,
                          double slope, double *work)
{
    double *ratio = work + s->n;
    size_t n = es_sweep_gather(s, leg, angle - half, angle + half, true, work, ratio);
    for (size_t i = 0; i < n; i++)
        ratio[i] -= slope * (work[i] - angle);
    return n >= ES_SWEEP_LEAST_NEAR ? es_median(ratio, n) : NAN;
}

static double angle_of(double low, double high, size_t count, size_t j)
{
    return low + (high - low) * (double)j / (double)(count - 1);
}

/* Readings of all legs at all angles, in angle units, less the mean of each angle; NAN where missing. */
static void departures(const struct es_sweep *s, double low, double high, size_t count, double slope,
                       double *table, double *work)
{
    double half = 0.5 * (high - low) / (double)(count - 1);
    for (size_t j = 0; j < count; j++) {
        double angle = angle_of(low, high, count, j), sum[2] = {0, 0};
        size_t n[2] = {0, 0};
        for (size_t k = 0; k < s->leg_count; k++) {
            double v = median_near(s, &s->legs[k], angle, half, slope, work);
            table[k * count + j] = v / slope;
            if (isfinite(v)) {
                sum[s->legs[k].direction > 0] += v / slope;
                n[s->legs[k].direction > 0]++;
            }
        }
        double centre = n[0] && n[1] ? 0.5 * (sum[0] / (double)n[0] + sum[1] / (double)n[1]) : NAN;
        for (size_t k = 0; k < s->leg_count; k++)
            table[k * count + j] -= centre;
    }
}

/* Speeds of the legs that gave a value at half of the angles or more. */
static void extreme_speeds(const struct es_sweep *s, const double *table, size_t count, double *slow,
                           double *fast)
{
    *slow = INFINITY;
    *fast = 0;
    for (size_t k = 0; k < s->leg_count; k++) {
        size_t given = 0;
        for (size_t j = 0; j < count; j++)
            given += isfinite(table[k * count + j]) ? 1 : 0;
        if (2 * given < count)
            continue;
        *slow = fmin(*slow, s->legs[k].speed);
        *fast = fmax(*fast, s->legs[k].speed);
    }
}

/* One pass: rows (1, direction / 2, -velocity); residuals beyond `cut` are left out. */
static bool delay_fit(const struct es_sweep *s, const double *table, size_t count, const struct es_fit *known,
                      double cut, double *rest, size_t *rests, struct es_fit *f)
{
    struct es_least_squares ls;
    es_ls_start(&ls, 3);
    *rests = 0;
    for (size_t k = 0; k < s->leg_count; k++) {
        const struct es_sweep_leg *leg = &s->legs[k];
        double row[3] = {1, -0.5 * leg->direction, -leg->direction * leg->speed};
        for (size_t j = 0; j < count; j++) {
            double y = table[k * count + j];
            if (!isfinite(y))
                continue;
            double off = known ? y - row[0] * known->b[0] - row[1] * known->b[1] - row[2] * known->b[2] : 0;
            if (fabs(off) > cut)
                continue;
            es_ls_add(&ls, row, y);
            rest[(*rests)++] = off;
        }
    }
    return es_ls_solve(&ls, f);
}

static double off_fit(const struct es_fit *f, const struct es_sweep_leg *leg, double y)
{
    return y - f->b[0] + 0.5 * leg->direction * f->b[1] + leg->direction * leg->speed * f->b[2];
}

/* What a fit leaves of all values; returns how many. */
static size_t left_of(const struct es_sweep *s, const double *table, size_t count, const struct es_fit *f,
                      double *rest)
{
    size_t n = 0;
    for (size_t k = 0; k < s->leg_count; k++) {
        const struct es_sweep_leg *leg = &s->legs[k];
        for (size_t j = 0; j < count; j++)
            if (isfinite(table[k * count + j]))
                rest[n++] = fabs(off_fit(f, leg, table[k * count + j]));
    }
    return n;
}

/* Standard deviation, correlation counted. */
static double spread_of(const double *rest, size_t n, size_t dof)
{
    double square = 0;
    for (size_t i = 0; i < n; i++)
        square += rest[i] * rest[i];
    return sqrt(square / (double)dof * es_correlation_of(rest, n, 3).inflation);
}

struct within {
    double *rest;
    size_t n, groups;
    double speeds; /* sum of squared departures of the velocities */
};

/* Legs of one direction at angle j; those beyond `cut` of the fit are left out. */
static void add_group(const struct es_sweep *s, const double *table, size_t count, size_t j, int direction,
                      const struct es_fit *f, double cut, struct within *w)
{
    double y[ES_SWEEP_MAX_LEGS], v[ES_SWEEP_MAX_LEGS], mean_y = 0, mean_v = 0;
    size_t n = 0;
    for (size_t k = 0; k < s->leg_count; k++) {
        const struct es_sweep_leg *leg = &s->legs[k];
        double here = table[k * count + j];
        if (leg->direction != direction || !isfinite(here) || fabs(off_fit(f, leg, here)) > cut)
            continue;
        y[n] = here;
        v[n++] = -direction * leg->speed;
        mean_y += here;
        mean_v -= direction * leg->speed;
    }
    if (n < 2)
        return;
    for (size_t i = 0; i < n; i++) {
        double off = v[i] - mean_v / (double)n;
        w->speeds += off * off;
        w->rest[w->n++] = y[i] - mean_y / (double)n - f->b[2] * off;
    }
    w->groups++;
}

/* Standard uncertainty of the delay from what legs of one direction do at one angle: what the sensor does at
 * that angle in that direction is in all of them and does not matter. 0 where it cannot be told. */
static double u_within(const struct es_sweep *s, const double *table, size_t count, const struct es_fit *f,
                       double cut, double *rest)
{
    struct within w = {.rest = rest};
    for (size_t j = 0; j < count; j++) {
        add_group(s, table, count, j, -1, f, cut, &w);
        add_group(s, table, count, j, 1, f, cut, &w);
    }
    bool told = w.n > w.groups + 1 && w.speeds > 0;
    return told ? spread_of(rest, w.n, w.n - w.groups - 1) / sqrt(w.speeds) : 0;
}

static void solve_delay(const struct es_sweep *s, const double *table, size_t count, double *rest,
                        double *work, struct es_sweep_delay *out)
{
    struct es_fit f, next;
    size_t n;
    double cut = INFINITY;
    if (!delay_fit(s, table, count, NULL, INFINITY, rest, &n, &f))
        return;
    for (int pass = 0; pass < 4; pass++) {
        if ((n = left_of(s, table, count, &f, work)) < 6)
            return;
        cut = fmax(4 * 1.4826 * es_median(work, n), 1e-12);
        if (!delay_fit(s, table, count, &f, cut, rest, &n, &next))
            return;
        /* and so would all further ones be */
        bool same = next.b[0] == f.b[0] && next.b[1] == f.b[1] && next.b[2] == f.b[2];
        f = next;
        if (same)
            break;
    }
    out->known = true;
    out->value = f.b[2];
    out->hysteresis = f.b[1];
    out->u_hysteresis = spread_of(rest, n, n - 3) * sqrt(f.cov[1][1]);
    out->u = u_within(s, table, count, &f, cut, rest);
    if (!(out->u > 0)) /* no angle with two legs of one direction */
        out->u = spread_of(rest, n, n - 3) * sqrt(f.cov[2][2]);
}

enum es_status es_sweep_delay_of(const struct es_sweep *s, double low, double high, size_t count,
                                 struct es_sweep_delay *out, struct es_error *err)
{
    memset(out, 0, sizeof *out);
    size_t cells = s->leg_count * count;
    double *table = calloc(2 * cells + 1, sizeof *table);
    double *work = malloc((2 * s->n + cells + 1) * sizeof *work);
    enum es_status status = ES_OK;
    if (!table || !work) {
        status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", s->n);
        goto free_both;
    }
    double slow, fast, slope = es_sweep_slope(s, low, high, work);
    if (!isfinite(slope) || slope == 0)
        goto free_both;
    departures(s, low, high, count, slope, table, work);
    extreme_speeds(s, table, count, &slow, &fast);
    out->speed_ratio = fast > 0 ? fast / slow : 0;
    if (out->speed_ratio >= LEAST_SPEED_RATIO)
        solve_delay(s, table, count, table + cells, work, out);
free_both:
    free(table);
    free(work);
    return status;
}

/* A leg's reading at `angle`: straight line through its good readings nearby. */
static bool leg_value(const struct es_sweep *s, const struct es_sweep_leg *leg, double angle, double half,
                      double *work, struct es_fit *f)
{
    size_t n = es_sweep_gather(s, leg, angle - half, angle + half, false, work, work + s->n);
    return n >= ES_SWEEP_LEAST_NEAR && es_polynomial_fit(work, work + s->n, n, 1, angle, half, f);
}

struct leg_values {
    double v[ES_SWEEP_MAX_LEGS], u[ES_SWEEP_MAX_LEGS]; /* u: times the noise of a reading */
    size_t n;
};

static void mean_of(const struct leg_values *l, double *mean, double *u)
{
    double sum = 0, square = 0;
    for (size_t i = 0; i < l->n; i++) {
        sum += l->v[i];
        square += l->u[i] * l->u[i];
    }
    *mean = l->n ? sum / (double)l->n : NAN;
    *u = l->n ? sqrt(square) / (double)l->n : NAN;
}

/* Every two legs of one direction. */
static void compare_legs(const struct leg_values *l, struct es_sweep_static *st, struct es_sweep_curve *out)
{
    for (size_t i = 0; i < l->n; i++)
        for (size_t k = 0; k < i; k++) {
            double apart = fabs(l->v[i] - l->v[k]), u = hypot(l->u[i], l->u[k]);
            if (apart > st->range || st->u_range == 0) {
                st->range = apart;
                st->u_range = u;
            }
            if (out->pairs < ES_SWEEP_MAX_PAIRS)
                out->u_pair[out->pairs++] = u;
        }
}

static void point_of(const struct es_sweep *s, double angle, double half, double *work,
                     struct es_sweep_static *st, struct es_sweep_curve *out, double *rss, size_t *dof)
{
    struct leg_values to[2] = {{.n = 0}, {.n = 0}};
    for (size_t k = 0; k < s->leg_count; k++) {
        struct es_fit f;
        if (!leg_value(s, &s->legs[k], angle, half, work, &f))
            continue;
        struct leg_values *l = &to[s->legs[k].direction > 0];
        l->v[l->n] = f.b[0];
        l->u[l->n++] = sqrt(f.cov[0][0]);
        *rss += f.rss;
        *dof += f.n - 2;
    }
    st->angle = angle;
    st->ups = to[1].n;
    st->downs = to[0].n;
    mean_of(&to[1], &st->up, &st->u_up);
    mean_of(&to[0], &st->down, &st->u_down);
    compare_legs(&to[0], st, out);
    compare_legs(&to[1], st, out);
}

enum es_status es_sweep_curve_of(const struct es_sweep *s, double low, double high, size_t count,
                                 struct es_sweep_curve *out, struct es_error *err)
{
    memset(out, 0, sizeof *out);
    double *work = malloc((2 * s->n + 1) * sizeof *work);
    if (!work)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", s->n);
    double spacing = (high - low) / (double)(count - 1), rss = 0;
    size_t dof = 0;
    for (size_t j = 0; j < count; j++) {
        double angle = angle_of(low, high, count, j);
        point_of(s, angle, 0.5 * spacing, work, &out->at[j], out, &rss, &dof);
    }
    out->count = count;
    out->slope = es_sweep_slope(s, low, high, work);
    free(work);
    out->noise = dof ? sqrt(rss / (double)dof) : NAN;
    for (size_t j = 0; j < count; j++) {
        out->at[j].u_up *= out->noise;
        out->at[j].u_down *= out->noise;
        out->at[j].u_range *= out->noise;
    }
    for (size_t i = 0; i < out->pairs; i++)
        out->u_pair[i] *= out->noise;
    return ES_OK;
}
