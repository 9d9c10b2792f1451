#include "procedures/measures/pressure_rate.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

#include "procedures/measures/numeric/autocorrelation.h"
#include "procedures/measures/numeric/columns.h"
#include "procedures/measures/numeric/passes.h"
#include "procedures/measures/numeric/summary.h"
#include "procedures/measures/orifice.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/samples.h"

#define GAMMA       1.4 /* air */
#define LEAST       12  /* samples in the fit */
#define GROSS       0.5 /* share of the whole rise in the time to settle above which that time is not waited */
#define MOST_MISFIT 2.5  /* residuals over noise of neighbouring samples */
#define MOST_SHARE  0.02 /* ... and over the whole change */
#define BEND_DOUBT                                                                                           \
    0.5 /* of what the bend adds to the straight rate: by trial on ISO 6358 leaks in and out                 \
         */
#define GRID        60
#define HEAT_MIDDLE 0.5   /* of the heat's share: anything from none to all of it */
#define BACK_MIDDLE 1.0   /* exhaust seat's leak over the supply seat's: anything from 0 to 2 */
#define BACK_B      0.3   /* critical ratio of a leaking seat; near equal pressures its value hardly counts */
#define MOST_BACK   0.5   /* of the rate */
#define BLOCKS      240   /* means of blocks are enough to look for the bend, */
#define FEW_BLOCKS  64    /* and of these for where on the grid it lies */
#define DENSE       20000 /* samples from which their means are fitted: */
#define MEANS       1000  /* so many; the curve is straight within each */
#define MOST_BEND   30.0  /* k times the length */

struct fit_job {
    const double *t, *p; /* from the first fitted sample */
    size_t n;
    double start, length; /* s */
    double weight;        /* of the prior on k: (noise / sd of k)^2 */
    double scatter;       /* Pa: of one reading, where t and p are means of many; else 0 */
    double *rest;         /* room for n */
};

struct bent {
    double k;
    struct es_fit fit; /* pressure and rate at `start` */
    double cost;
};

/* (1 - e^-kx) / k and its derivative by k, also near k = 0. */
static double rise(double k, double x)
{
    double kx = k * x;
    return fabs(kx) < 1e-8 ? x * (1 - kx / 2) : -expm1(-kx) / k;
}

static double rise_by_k(double k, double x)
{
    double kx = k * x;
    if (fabs(kx) < 1e-4)
        return -x * x * (0.5 - kx / 3);
    return (x * exp(-kx) - rise(k, x)) / k;
}

/* The model's columns at k: what one unit of rate makes, and with `by_k` its change by k times `rate`. */
struct model {
    const struct fit_job *j;
    double k, rate;
    bool by_k;
};

static void fill_model(const void *what, size_t first, size_t count, double *const column[])
{
    const struct model *m = what;
    for (size_t i = 0; i < count; i++) {
        double x = m->j->t[first + i] - m->j->start;
        column[1][i] = rise(m->k, x);
        if (m->by_k)
            column[2][i] = m->rate * rise_by_k(m->k, x);
    }
}

static bool fit_with(const struct fit_job *j, double k, struct bent *out)
{
    struct model m = {j, k, 0, false};
    struct es_columns c = {.n = j->n, .p = 2, .y = j->p, .about = j->p[0], .fill = fill_model, .what = &m};
    out->k = k;
    if (!es_columns_fit(&c, &out->fit))
        return false;
    out->cost = out->fit.rss + j->weight * k * k;
    return true;
}

/* Of the grid of k with this step, the one of least cost. */
static bool search_grid(const struct fit_job *j, double step, double *k)
{
    struct bent best, b;
    if (!fit_with(j, 0, &best))
        return false;
    for (int i = 0; i <= GRID; i++)
        if (fit_with(j, -2 / j->length + i * step, &b) && b.cost < best.cost)
            best = b;
    *k = best.k;
    return true;
}

/* k of least cost within a step about `at`: golden section. */
static bool search_bend(const struct fit_job *j, double step, double at, double *k)
{
    const double ratio = 0.61803398874989484820;
    struct bent b, a;
    double left = at - step, right = at + step;
    double x = right - ratio * (right - left), y = left + ratio * (right - left);
    if (!fit_with(j, x, &a) || !fit_with(j, y, &b))
        return false;
    for (int i = 0; i < 30; i++) {
        if (a.cost <= b.cost) {
            right = y;
            y = x;
            b = a;
            x = right - ratio * (right - left);
            if (!fit_with(j, x, &a))
                return false;
        } else {
            left = x;
            x = y;
            a = b;
            y = left + ratio * (right - left);
            if (!fit_with(j, y, &b))
                return false;
        }
    }
    *k = 0.5 * (left + right);
    return true;
}

/* The job on means of `count` blocks, to which t and p have room; as it is where it has too few samples. */
static struct fit_job by_blocks(const struct fit_job *j, size_t count, double *t, double *p)
{
    struct fit_job few = *j;
    if (j->n <= 2 * count)
        return few;
    es_block_means(j->t, j->n, count, t);
    es_block_means(j->p, j->n, count, p);
    few.n = count;
    few.t = t;
    few.p = p;
    few.weight = j->weight * (double)count / (double)j->n;
    return few;
}

static bool fit_best(const struct fit_job *j, struct bent *best)
{
    double t[BLOCKS], p[BLOCKS], few_t[FEW_BLOCKS], few_p[FEW_BLOCKS];
    const struct fit_job some = by_blocks(j, BLOCKS, t, p);
    const struct fit_job few = by_blocks(&some, FEW_BLOCKS, few_t, few_p);
    const double step = (MOST_BEND + 2) / j->length / GRID;
    double k;
    return search_grid(&few, step, &k) && search_bend(&some, step, k, &k) && fit_with(j, k, best);
}

/* Residuals of a fit: their standard deviation and how correlated they are. */
static double residuals(const struct fit_job *j, const struct bent *b, double *inflation)
{
    double square = 0;
    for (size_t i = 0; i < j->n; i++) {
        j->rest[i] = j->p[i] - b->fit.b[0] - b->fit.b[1] * rise(b->k, j->t[i] - j->start);
        square += j->rest[i] * j->rest[i];
    }
    *inflation = es_correlation_of(j->rest, j->n, 3).inflation;
    return sqrt(square / (double)(j->n - 3));
}

/* The fit as a linear operator around its solution, with the prior: what it makes of y. */
static bool linear_part(const struct fit_job *j, const struct bent *b, const double *y, struct es_fit *out)
{
    struct model m = {j, b->k, b->fit.b[1], true};
    struct es_columns c = {
        .n = j->n, .p = 3, .y = y, .fill = fill_model, .what = &m, .ridge = {0, 0, j->weight}};
    return es_columns_fit(&c, out);
}

/* Sensitivity of the rate at `begin` to the three coefficients. */
static double rate_of(const struct bent *b, double begin, const double c[3])
{
    return b->k * c[0] + c[1] + (b->fit.b[0] - begin) * c[2];
}

/* What the warming of the gas adds to the rate, per unit of rate: the fit applied to the excess. */
static double heat_in(const struct fit_job *j, const struct bent *b, double begin, double tau)
{
    for (size_t i = 0; i < j->n; i++)
        j->rest[i] = -(GAMMA - 1) * tau * expm1(-j->t[i] / tau);
    struct es_fit f;
    if (!linear_part(j, b, j->rest, &f))
        return 0;
    double share = rate_of(b, begin, f.b);
    return fmax(0, fmin(GAMMA - 1, share));
}

/* Share of the rate that has gone out again once the pressure is `over` above where it began. */
static double back_share(const struct es_pressure_rate_input *in, double over)
{
    double drive = es_orifice_drive(in->ambient + in->supply, in->ambient, ES_T_ANR, BACK_B);
    return drive > 0 && over > 0 ? es_orifice_drive(in->ambient + over, in->ambient, ES_T_ANR, BACK_B) / drive
                                 : 0;
}

/* What escapes again takes off the rate, per unit of rate, for an exhaust seat that leaks like the supply's:
 * the fit applied to what is missing. */
static double back_out(const struct es_pressure_rate_input *in, const struct fit_job *j, const struct bent *b,
                       double begin)
{
    double over = fmax(0, b->fit.b[0] - begin), before = back_share(in, over);
    double missing = 2.0 / 3 * before * j->start; /* until the first fitted sample: the mean of a root */
    for (size_t i = 0; i < j->n; i++) {
        over = b->fit.b[0] + b->fit.b[1] * rise(b->k, j->t[i] - j->start) - begin;
        double now = back_share(in, over);
        if (i > 0)
            missing += 0.5 * (before + now) * (j->t[i] - j->t[i - 1]);
        before = now;
        j->rest[i] = missing;
    }
    struct es_fit f;
    if (!linear_part(j, b, j->rest, &f))
        return 0;
    return fmax(0, fmin(MOST_BACK, rate_of(b, begin, f.b)));
}

static enum es_status refuse(struct es_pressure_rate *out, const char *format, ...) ES_PRINTF(2, 3);
static enum es_status refuse(struct es_pressure_rate *out, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    // NOLINTNEXTLINE(clang-analyzer-valist.Uninitialized): a false alarm of clang 14, va_start is above
    vsnprintf(out->reason, sizeof out->reason, format, args);
    va_end(args);
    out->valid = false;
    return ES_OK;
}

/* Pressure at the beginning: of the first samples, carried back along their own slope. */
static double begin_of(const struct es_samples *s)
{
    size_t n = s->n < 9 ? s->n : 9;
    struct es_fit line;
    // cppcheck-suppress knownConditionTrueFalse ; n counts samples of the caller
    if (n > 3 && es_polynomial_fit(s->t, s->y, n, 1, s->t[0], s->t[n - 1] - s->t[0] + 1e-9, &line))
        return line.b[0];
    return s->y[0];
}

/* First fitted sample: after the time to settle, or earlier when a gross leak is half through by then. */
static size_t first_fitted(const struct es_samples *s, double settle)
{
    size_t a = es_samples_at(s, s->t[0] + settle);
    if (a >= s->n)
        return s->n;
    double whole = s->y[s->n - 1] - s->y[0], early = s->y[a] - s->y[0];
    bool long_enough = s->t[s->n - 1] - s->t[0] > 2 * settle;
    if (long_enough && early / whole > GROSS && fabs(whole) > 20 * es_noise_from_differences(s->y, s->n))
        for (a = 0; a + 1 < s->n && fabs(s->y[a] - s->y[0]) < 0.05 * fabs(whole);)
            a++;
    return a;
}

/* A gross leak is fitted up to where nine tenths of the rise have happened: beyond there is nothing left of
 * the beginning. */
static size_t last_fitted(const struct es_samples *s, size_t a)
{
    double whole = s->y[s->n - 1] - s->y[a];
    double half_time = 0.5 * (s->t[a] + s->t[s->n - 1]);
    size_t middle = es_samples_at(s, half_time);
    if (fabs(s->y[middle] - s->y[a]) < 0.8 * fabs(whole) ||
        fabs(whole) < 200 * es_noise_from_differences(s->y + a, s->n - a))
        return s->n;
    size_t b = a;
    while (b < s->n && fabs(s->y[b] - s->y[a]) < 0.6 * fabs(whole))
        b++;
    return b < a + LEAST ? (a + LEAST < s->n ? a + LEAST : s->n) : b;
}

static void fill_budget(const struct es_pressure_rate_input *in, const struct fit_job *j,
                        const struct bent *b, double s, double inflation, struct es_pressure_rate *out)
{
    const struct es_channel_uncertainty *u = &in->series->u;
    struct es_fit f;
    double variance = 0;
    const double gradient[3] = {b->k, 1, b->fit.b[0] - out->begin};
    if (linear_part(j, b, j->p, &f)) { /* for its covariance alone */
        /* the third column was scaled by the rate: its coefficient is k itself */
        for (int i = 0; i < 3; i++)
            for (int m = 0; m < 3; m++)
                variance += gradient[i] * f.cov[i][m] * gradient[m];
    }
    double dof = fmax((double)j->n / inflation - 3, 1);
    es_budget_add(&out->budget, ES_TERM_REPEAT, s * sqrt(inflation * fmax(variance, 0)), dof);
    /* a slow ramp read in steps: its ends are known to half a step each */
    double step = es_resolution_u(u->resolution, fmax(s, j->scatter)) * sqrt(12.0);
    es_budget_add(&out->budget, ES_TERM_REPEAT, es_rectangular(step / j->length), INFINITY);
    /* offset and repeatability of connecting are in all samples alike: a rate carries neither */
}

static void take_heat_off(const struct fit_job *j, const struct bent *b, double tau,
                          struct es_pressure_rate *out)
{
    double share = heat_in(j, b, out->begin, tau);
    out->heat = HEAT_MIDDLE * share;
    out->rate /= 1 + out->heat;
    es_budget_add(&out->budget, ES_TERM_COMMON, es_rectangular(out->heat * out->rate), INFINITY);
}

static void put_back(const struct es_pressure_rate_input *in, const struct fit_job *j, const struct bent *b,
                     struct es_pressure_rate *out)
{
    double share = BACK_MIDDLE * back_out(in, j, b, out->begin), kept = 1 - share;
    out->escaped = share / kept;
    out->rate /= kept;
    es_budget_add(&out->budget, ES_TERM_COMMON, es_rectangular(out->escaped * out->rate), INFINITY);
}

static enum es_status fit_all(const struct es_pressure_rate_input *in, struct fit_job *j,
                              struct es_pressure_rate *out)
{
    struct bent straight, free_bend, best;
    struct es_fit line;
    if (!fit_with(j, 0, &straight) || !fit_best(j, &free_bend))
        return refuse(out, "the samples do not determine a rate");
    double inflation;
    double noise = residuals(j, &free_bend, &inflation);
    double local = es_noise_from_differences(j->p, j->n);
    double floor = in->series->u.resolution / sqrt(12.0);
    double size = fabs(j->p[j->n - 1] - j->p[0]);
    /* neighbouring samples differ by noise and by the rise from one to the next */
    local = hypot(local, hypot(floor, size / (double)j->n));
    if (noise > MOST_MISFIT * local && noise > MOST_SHARE * size)
        return refuse(out,
                      "no single rate describes the recording: it departs from a slowing rise by %.2g Pa, "
                      "noise is %.2g Pa",
                      noise, local);
    double rate_guess = fmax(fabs(straight.fit.b[1]), fabs(free_bend.fit.b[1]));
    double sd_k = rate_guess / in->driving;
    double sd = noise * sqrt(inflation);
    j->weight = sd_k > 0 ? sd * sd / (sd_k * sd_k) : 0;
    if (!(sd > 0) || !fit_best(j, &best))
        best = sd > 0 ? straight : free_bend;
    out->bend = best.k;
    out->rate = best.fit.b[1] + best.k * (best.fit.b[0] - out->begin);
    if (es_polynomial_fit(j->t, j->p, j->n, 1, j->start + j->length / 2, j->length / 2, &line)) {
        out->straight = line.b[1] / (j->length / 2);
        out->u_straight = line.s * sqrt(line.cov[1][1] * inflation) / (j->length / 2);
    }
    es_budget_add(&out->budget, ES_TERM_REPEAT, BEND_DOUBT * (out->rate - out->straight), INFINITY);
    out->mean = es_mean(j->p, j->n);
    out->length = j->length;
    fill_budget(in, j, &best, noise, inflation, out);
    if (in->thermal_time > 0)
        take_heat_off(j, &best, in->thermal_time, out);
    if (in->supply > 0 && in->ambient > 0)
        put_back(in, j, &best, out);
    out->valid = true;
    return ES_OK;
}

/* Fits samples a .. b - 1, or their means. */
static enum es_status fit_part(const struct es_pressure_rate_input *in, const struct es_samples *s, size_t a,
                               size_t b, struct es_pressure_rate *out, struct es_error *err)
{
    struct es_samples part = *s, means = {0};
    part.t += a;
    part.y += a;
    part.n = b - a;
    double length = part.t[part.n - 1] - part.t[0], scatter = 0;
    if (!(length > 0))
        return refuse(out, "all samples carry the same time");
    if (part.n > DENSE) {
        enum es_status status = es_samples_thin(&part, MEANS, &means, err);
        if (status != ES_OK)
            return status;
        scatter = es_noise_from_differences(part.y, DENSE);
        part = means;
    }
    struct fit_job job = {.t = part.t,
                          .p = part.y,
                          .n = part.n,
                          .start = part.t[0],
                          .length = part.t[part.n - 1] - part.t[0],
                          .scatter = scatter,
                          .rest = calloc(part.n + 1, sizeof *job.rest)};
    enum es_status status = job.rest
                                ? fit_all(in, &job, out)
                                : es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu samples.", job.n);
    free(job.rest);
    es_samples_free(&means);
    return status;
}

enum es_status es_pressure_rate_of(const struct es_pressure_rate_input *in, struct es_pressure_rate *out,
                                   struct es_error *err)
{
    struct es_samples s;
    char text[160];
    *out = (struct es_pressure_rate){0};
    enum es_status status = es_samples_take(in->series, -INFINITY, INFINITY, &s, err);
    if (status != ES_OK)
        return status;
    const char *why = es_samples_unfit(&s, LEAST, text);
    if (why) {
        status = refuse(out, "%s", why);
        goto free_samples;
    }
    out->change = s.y[s.n - 1] - s.y[0];
    size_t a = first_fitted(&s, in->settle), b = last_fitted(&s, a < s.n ? a : 0);
    if (b < a + LEAST) {
        status = refuse(out, "too short: %zu samples after %.1f s to settle, at least %d are needed",
                        b > a ? b - a : 0, in->settle, LEAST);
        goto free_samples;
    }
    out->begin = begin_of(&s);
    out->first = es_samples_index(&s, a);
    out->last = es_samples_index(&s, b - 1);
    status = fit_part(in, &s, a, b, out, err);
free_samples:
    es_samples_free(&s);
    return status;
}
