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

static void solve_delay(const struct es_sweep *s, const double *table, size_t count, double *rest,
                        double *work, struct es_sweep_delay *out)
{
    struct es_fit f, next;
    size_t n;
    if (!delay_fit(s, table, count, NULL, INFINITY, rest, &n, &f))
        return;
    for (int pass = 0; pass < 4; pass++) {
        if (!delay_fit(s, table, count, &f, INFINITY, rest, &n, &next) || n < 6)
            return;
        for (size_t i = 0; i < n; i++)
            work[i] = fabs(rest[i]);
        double cut = 4 * 1.4826 * es_median(work, n);
        if (!delay_fit(s, table, count, &f, fmax(cut, 1e-12), rest, &n, &next))
            return;
        f = next;
    }
    struct es_correlation c = es_correlation_of(rest, n, 3);
    double square = 0;
    for (size_t i = 0; i < n; i++)
        square += rest[i] * rest[i];
    double sd = sqrt(square / (double)(n - 3) * c.inflation);
    out->known = true;
    out->value = f.b[2];
    out->u = sd * sqrt(f.cov[2][2]);
    out->hysteresis = f.b[1];
    out->u_hysteresis = sd * sqrt(f.cov[1][1]);
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

static void point_of(const struct es_sweep *s, double angle, double half, double *work,
                     struct es_sweep_static *st, double *rss, size_t *dof)
{
    double least[2] = {INFINITY, INFINITY}, most[2] = {-INFINITY, -INFINITY}, sum[2] = {0, 0},
           var[2] = {0, 0};
    size_t n[2] = {0, 0};
    for (size_t k = 0; k < s->leg_count; k++) {
        struct es_fit f;
        if (!leg_value(s, &s->legs[k], angle, half, work, &f))
            continue;
        double v = f.b[0], u = sqrt(f.cov[0][0]); /* times the noise */
        int w = s->legs[k].direction > 0;
        least[w] = fmin(least[w], v);
        most[w] = fmax(most[w], v);
        sum[w] += v;
        var[w] += u * u;
        n[w]++;
        *rss += f.rss;
        *dof += f.n - 2;
        st->u_leg = fmax(st->u_leg, u);
    }
    st->angle = angle;
    st->ups = n[1];
    st->downs = n[0];
    st->up = n[1] ? sum[1] / (double)n[1] : NAN;
    st->down = n[0] ? sum[0] / (double)n[0] : NAN;
    st->u_up = n[1] ? sqrt(var[1]) / (double)n[1] : NAN;
    st->u_down = n[0] ? sqrt(var[0]) / (double)n[0] : NAN;
    st->range = fmax(n[1] > 1 ? most[1] - least[1] : 0, n[0] > 1 ? most[0] - least[0] : 0);
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
        point_of(s, angle, 0.5 * spacing, work, &out->at[j], &rss, &dof);
    }
    out->count = count;
    out->slope = es_sweep_slope(s, low, high, work);
    free(work);
    out->noise = dof ? sqrt(rss / (double)dof) : NAN;
    for (size_t j = 0; j < count; j++) {
        out->at[j].u_up *= out->noise;
        out->at[j].u_down *= out->noise;
        out->at[j].u_leg *= out->noise;
    }
    return ES_OK;
}
