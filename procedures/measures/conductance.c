#include "procedures/measures/conductance.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/emptying.h"
#include "procedures/measures/numeric/autocorrelation.h"
#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/orifice.h"
#include "procedures/measures/paired.h"
#include "procedures/measures/plateau.h"
#include "procedures/measures/samples.h"
#include "procedures/measures/timing.h"

#define LEAST       10          /* samples in the fit */
#define LEAST_DRIVE 0.3         /* of the largest: below, b decides more than C */
#define COME_UP     0.9         /* of the largest flow: the path is open from here on */
#define POLYTROPIC  (7.0 / 6.0) /* exponent of a quick charge, between 1 and 1.4: middle of 1 / n */
#define HALF_RANGE  (1.0 / 6.0) /* of the result */
#define BY_FLOW     0.3  /* of the gas's excess over the walls that the flow tells: known to (rectangle) */
#define MOST_EXCESS 40.0 /* K: a flow that tells more is a leak */
#define MOST_BEYOND 0.02 /* share of flow readings out of range above which the sensor is not believed */

/* What is varied to see what it does to the result. */
struct shift {
    double upstream, downstream, b, lag, age, T;
};

/* Readings of one series (`y`) with the pressures at their times. */
struct fitted {
    const struct es_conductance_input *in;
    double *t, *y, *up, *down, *T, *drive, *rest, *M; /* up, down: Pa absolute; T: K, upstream */
    size_t *index;
    size_t n, first, end; /* first .. end - 1 count */
    double lag, age;      /* s: y is seen later than the pressures, with first order and as it is */
    double u_lag, u_age;  /* s, standard */
    bool shared_delay;    /* their sum is known: one is larger where the other is smaller */
    double b, u_b;
    double u_T; /* K */
};

static void release(struct fitted *f)
{
    free(f->t);
    free(f->y);
    free(f->up);
    free(f->down);
    free(f->T);
    free(f->drive);
    free(f->rest);
    free(f->M);
    free(f->index);
}

/* `lead` at its own times, and the pressures there. */
static enum es_status gather(const struct es_conductance_input *in, const struct es_series *lead,
                             struct fitted *f, char text[static 160], struct es_error *err)
{
    struct es_pairs out = {0}, supply = {0};
    enum es_status status = es_pairs_take(lead, in->output, in->from, INFINITY, 0, LEAST, &out, text, err);
    if (status == ES_OK && out.n > 0 && in->supply)
        status = es_pairs_take(lead, in->supply, in->from, INFINITY, 0, LEAST, &supply, text, err);
    if (status != ES_OK || out.n == 0 || (in->supply && supply.n == 0))
        goto free_pairs;
    double **room[] = {&f->t, &f->y, &f->up, &f->down, &f->T, &f->drive, &f->rest, &f->M};
    for (size_t k = 0; k < sizeof room / sizeof room[0]; k++)
        if (!(*room[k] = calloc(2 * out.n, sizeof(double))))
            status = ES_NO_MEMORY;
    f->index = calloc(out.n, sizeof *f->index);
    if (status != ES_OK || !f->index) {
        status = es_fail(err, ES_NO_MEMORY, "Not enough memory for %zu readings.", out.n);
        goto free_pairs;
    }
    for (size_t i = 0, k = 0; i < out.n; i++) {
        while (in->supply && k < supply.n && supply.index[k] < out.index[i])
            k++;
        if (in->supply && (k == supply.n || supply.index[k] != out.index[i]))
            continue;
        f->t[f->n] = out.t[i];
        f->y[f->n] = out.a[i];
        f->up[f->n] = in->ambient + (in->supply ? supply.b[k] : out.b[i]);
        f->down[f->n] = in->ambient + (in->supply ? out.b[i] : 0);
        f->T[f->n] = in->T;
        f->index[f->n++] = out.index[i];
    }
free_pairs:
    es_pairs_free(&out);
    es_pairs_free(&supply);
    return status;
}

static double drive_at(const struct fitted *f, size_t i, const struct shift *d)
{
    return es_orifice_drive(f->up[i] + d->upstream, f->down[i] + d->downstream, f->T[i] + d->T,
                            fmin(0.99, fmax(0, f->b + d->b)));
}

/* Drive at each reading, seen as the flow sensor sees it: through a first order, exact for what moves
 * straight from reading to reading, and `age` late. */
static double drives(struct fitted *f, const struct shift *d)
{
    double lag = f->lag + d->lag, age = f->age + d->age, seen = 0, was = 0, most = 0;
    for (size_t i = 0; i < f->n; i++) {
        double before = seen, dt = i > 0 ? f->t[i] - f->t[i - 1] : 0, now = drive_at(f, i, d);
        seen = now;
        if (i > 0 && lag > 0 && dt > 0) {
            double left = exp(-dt / lag);
            seen += (before - was) * left - (now - was) * lag / dt * (1 - left);
        }
        f->drive[i] = i > 0 && dt > 0 ? seen - age * (seen - before) / dt : seen;
        most = fmax(most, f->drive[i]);
        was = now;
    }
    return most;
}

/* The readings on the drive, and where the sensor lags on what it still owes when the path is open. */
static bool on_drive(struct fitted *f, const struct shift *d, struct es_fit *fit)
{
    struct es_least_squares ls;
    double most = drives(f, d), lag = f->lag + d->lag;
    es_ls_start(&ls, lag > 0 ? 2 : 1);
    for (size_t i = f->first; i < f->end; i++) {
        double row[2] = {f->drive[i] / most, lag > 0 ? exp((f->t[f->first] - f->t[i]) / lag) : 0};
        es_ls_add(&ls, row, f->y[i]);
        f->rest[i - f->first] = row[0];
        f->rest[f->n + i - f->first] = row[1];
    }
    if (!es_ls_solve(&ls, fit))
        return false;
    for (size_t i = 0; i < f->end - f->first; i++)
        f->rest[i] =
            f->y[f->first + i] - fit->b[0] * f->rest[i] - (lag > 0 ? fit->b[1] * f->rest[f->n + i] : 0);
    fit->b[0] /= most;
    fit->cov[0][0] /= most * most;
    return true;
}

/* Slope of the readings on the drive's integral. */
static double on_integral(struct fitted *f, const struct shift *d, struct es_fit *fit)
{
    struct es_least_squares ls;
    double sum = 0, scale = f->t[f->end - 1] - f->t[f->first], most = drives(f, d);
    es_ls_start(&ls, 2);
    for (size_t i = f->first; i < f->end; i++) {
        if (i > f->first)
            sum += 0.5 * (f->drive[i] + f->drive[i - 1]) * (f->t[i] - f->t[i - 1]) / (scale * most);
        f->rest[i] = sum;
        double row[2] = {1, sum};
        es_ls_add(&ls, row, f->y[i]);
    }
    return es_ls_solve(&ls, fit) ? fit->b[1] / (scale * most) : NAN;
}

/* What the pressures, b, the delay and the temperature leave open, by varying each. `C0`: without. */
static void vary(struct fitted *f, bool integral, double factor, double C0, struct es_budget *b)
{
    const struct es_conductance_input *in = f->in;
    const struct es_channel_uncertainty *uo = &in->output->u;
    double up = 0, u_out, u_sup = 0;
    for (size_t i = f->first; i < f->end; i++)
        up += f->up[i] / (double)(f->end - f->first);
    u_out = hypot(uo->offset, uo->gain * fmax(0, (in->supply ? f->down[f->first] : up) - in->ambient));
    if (in->supply)
        u_sup = hypot(in->supply->u.offset, in->supply->u.gain * (up - in->ambient));
    struct shift shifts[] = {{.upstream = in->supply ? u_sup : u_out},
                             {.downstream = in->supply ? u_out : 0},
                             {.upstream = in->u_ambient, .downstream = in->u_ambient},
                             {.b = f->u_b},
                             {.lag = f->u_lag, .age = f->shared_delay ? -f->u_lag : 0},
                             {.age = f->shared_delay ? 0 : f->u_age},
                             {.T = f->u_T}};
    for (size_t k = 0; k < sizeof shifts / sizeof shifts[0]; k++) {
        struct es_fit fit;
        double C = NAN;
        if (integral)
            C = factor * on_integral(f, &shifts[k], &fit);
        else if (on_drive(f, &shifts[k], &fit))
            C = fit.b[0];
        if (isfinite(C))
            es_budget_add(b, ES_TERM_COMMON, fabs(C) - C0, INFINITY);
    }
}

/* Samples that count: the path open, the drive not yet spent. `opened`: first open one. */
static bool choose(struct fitted *f, size_t opened, char reason[static 160])
{
    const struct shift none = {0};
    double most = drives(f, &none);
    f->first = opened;
    f->end = opened;
    while (f->end < f->n && f->drive[f->end] >= LEAST_DRIVE * most)
        f->end++;
    if (f->end - f->first >= LEAST)
        return true;
    snprintf(reason, 160, "only %zu readings between opening and the end of the flow; sample faster",
             f->end - f->first);
    return false;
}

static bool sensor_fits(const struct es_series *flow, double from)
{
    size_t all = 0, beyond = 0;
    for (size_t i = 0; flow && i < flow->count; i++) {
        if (flow->t[i] < from)
            continue;
        all++;
        beyond += flow->quality[i] == ES_OUT_OF_RANGE;
        if (flow->quality[i] == ES_GOOD && es_at_end(flow, flow->y[i]))
            return false;
    }
    return all > 0 && (double)beyond <= MOST_BEYOND * (double)all;
}

static void finish(struct fitted *f, struct es_conductance *out)
{
    const struct shift none = {0};
    out->drive = 0;
    (void)drives(f, &none);
    for (size_t i = f->first; i < f->end; i++)
        out->drive = fmax(out->drive, f->drive[i]);
    out->first = f->index[f->first];
    out->last = f->index[f->end - 1];
    out->valid = true;
}

/* First reading from which on the path is open. The flow sensor comes up later than the path; what its lag
 * does not explain of its rise (rise times add as squares, common practice) is the path's, and is waited for
 * once more. */
static size_t open_by_flow(const struct fitted *f, double sense)
{
    double most = 0, lag = 2.2 * f->lag; /* ln 9: from 10 to 90 % */
    size_t begun = 0, i = 0;
    for (size_t k = 0; k < f->n; k++)
        most = fmax(most, sense * f->y[k]);
    if (!(most > 0))
        return f->n;
    while (begun < f->n && !(sense * f->y[begun] >= (1 - COME_UP) * most))
        begun++;
    for (i = begun; i < f->n && !(sense * f->y[i] >= COME_UP * most);)
        i++;
    if (i == f->n || begun == i)
        return i;
    double rise = f->t[i] - f->t[begun], until = f->t[i] + sqrt(fmax(0, rise * rise - lag * lag));
    while (i < f->n && f->t[i] < until)
        i++;
    return i;
}

/* By how much the gas is warmer than the walls before the command, by what still flows in: it cools at
 * constant pressure, and what it gives off h1 (T - Tw) V is what the inflow brings, rho cp T q / T. */
static double excess_before(const struct fitted *f, const struct es_emptying *e)
{
    const struct es_series *flow = f->in->flow;
    double sum = 0, n = 0;
    for (size_t i = 0; i < flow->count && flow->t[i] <= f->in->from; i++)
        if (flow->quality[i] == ES_GOOD) {
            sum += flow->y[i];
            n++;
        }
    if (n < 2 || !(e->exchange > 0))
        return 0;
    return fmax(0, fmin(MOST_EXCESS, 3.5 * ES_P_ANR * sum / n / (e->exchange * e->volume)));
}

/* The stated lag and the age of a reading, corrected by the delay that the recording shows: each by its share
 * of what their sum was not known by. */
static void take_delay(struct fitted *f, const struct es_emptying *e)
{
    double lag = f->u_lag * f->u_lag, age = f->u_age * f->u_age, own = e->u_delay * e->u_delay;
    double off = e->delay - f->lag - f->age, all = lag + age + own;
    if (!(lag + age > 0) || fabs(off) > 4 * sqrt(all))
        return; /* no delay of a sensor: what is stated stays */
    f->lag = fmax(0, f->lag + off * lag / all);
    f->age += off * age / all;
    f->u_lag = f->u_age = sqrt(lag * age / (lag + age)); /* of one at the cost of the other */
    f->shared_delay = true;
}

/* Conductance of a path by the known volume that empties through it. */
static void by_volume(const struct fitted *f, const struct es_emptying *e, const struct es_emptied *path,
                      struct es_conductance *out)
{
    const struct es_conductance_input *in = f->in;
    struct es_budget *b = &out->volume_budget;
    double C = path->c * in->volume, p = f->up[f->first];
    double u_p = hypot(in->output->u.offset, in->output->u.gain * (p - in->ambient));
    double other = es_emptying_by(e, f->first, f->end, f->b + f->u_b);
    if (!(C > 0) || !isfinite(other))
        return;
    out->C_by_volume = C;
    es_budget_add(b, ES_TERM_REPEAT, path->u_c * in->volume, INFINITY);
    es_budget_add(b, ES_TERM_COMMON, (other - path->c) * in->volume, INFINITY);
    es_budget_add(b, ES_TERM_COMMON, C * in->u_volume / in->volume, INFINITY);
    es_budget_add(b, ES_TERM_COMMON, C * u_p / p, INFINITY);
    es_budget_add(b, ES_TERM_COMMON, 0.5 * C * f->u_T / in->T, INFINITY);
}

/* A closed volume that empties: temperature of the gas, delay of the flow sensor, critical ratio, and the
 * conductance by the volume. False, and all as stated, where the recording does not tell the temperature. */
static bool take_emptying(struct fitted *f, double sense, struct es_conductance *out)
{
    const struct es_conductance_input *in = f->in;
    struct es_emptied path;
    double *leaving = f->rest;
    for (size_t i = 0; i < f->n; i++)
        leaving[i] = sense * f->y[i];
    struct es_emptying e = {.t = f->t,
                            .p = f->up,
                            .q = leaving,
                            .n = f->n,
                            .ambient = in->ambient,
                            .T_wall = in->T,
                            .T_start = in->T,
                            .T = f->M + f->n,
                            .M = f->M};
    if (!es_emptying_heat(&e))
        return false;
    double excess = excess_before(f, &e);
    e.T_start += excess;
    if (!es_emptying_heat(&e))
        return false;
    memcpy(f->T, e.T, f->n * sizeof *f->T);
    f->u_T = hypot(in->u_T, es_rectangular(BY_FLOW * excess));
    take_delay(f, &e);
    if (!es_emptying_path(&e, f->first, f->end, in->b, f->drive, &path))
        return true;
    if (path.u_b < in->u_b) {
        f->b = path.b;
        f->u_b = path.u_b;
    } else { /* what is stated is known better */
        path.c = es_emptying_by(&e, f->first, f->end, in->b);
    }
    if (in->volume > 0)
        by_volume(f, &e, &path, out);
    return true;
}

static void by_flow(struct fitted *f, struct es_conductance *out)
{
    const struct es_channel_uncertainty *u = &f->in->flow->u;
    const double sense = f->in->supply ? 1 : -1;
    const struct shift none = {0};
    size_t opened = open_by_flow(f, sense);
    struct es_fit fit;
    if (opened == f->n) {
        snprintf(out->reason, sizeof out->reason, "no air flows the way it should");
        return;
    }
    if (!choose(f, opened, out->reason))
        return;
    if (!f->in->supply &&
        !take_emptying(f, -1, out)) /* cooled by anything from nothing to an adiabatic fall */
        f->u_T = hypot(f->u_T, es_rectangular(f->T[0] * -expm1(2.0 / 7 * log(f->up[f->end - 1] / f->up[0]))));
    if (!on_drive(f, &none, &fit)) {
        snprintf(out->reason, sizeof out->reason, "the flow does not follow the pressures");
        return;
    }
    size_t n = f->end - f->first;
    struct es_correlation c = es_correlation_of(f->rest, n, fit.p);
    double drive = 0, square = 0;
    for (size_t i = f->first; i < f->end; i++) {
        drive += f->drive[i];
        square += f->drive[i] * f->drive[i];
    }
    out->C = fabs(fit.b[0]);
    es_budget_add(&out->budget, ES_TERM_REPEAT, fit.s * sqrt(c.inflation * fit.cov[0][0]),
                  fmax(1, c.effective - (double)fit.p));
    es_budget_add(&out->budget, ES_TERM_REPEAT, es_resolution_u(u->resolution, fit.s) * drive / square,
                  INFINITY);
    es_budget_add(&out->budget, ES_TERM_COMMON, u->offset * drive / square, u->dof > 0 ? u->dof : INFINITY);
    es_budget_add(&out->budget, ES_TERM_COMMON, u->gain * out->C, u->dof > 0 ? u->dof : INFINITY);
    es_budget_add(&out->budget, ES_TERM_REPEAT, u->repeatability * drive / square, INFINITY);
    vary(f, false, 1, out->C, &out->budget);
    out->by_flow = true;
    finish(f, out);
}

/* First reading at which a tenth of the whole change is done: the path is open. */
static size_t opened_at(const struct fitted *f)
{
    double begin = f->y[0], end = f->y[f->n - 1];
    for (size_t i = 0; i < f->n; i++)
        if (fabs(f->y[i] - begin) >= 0.1 * fabs(end - begin))
            return i;
    return f->n;
}

static void by_pressure(struct fitted *f, struct es_conductance *out)
{
    const struct es_conductance_input *in = f->in;
    const struct shift none = {0};
    struct es_fit fit;
    double sense = in->supply ? 1 : -1, change = sense * (f->y[f->n - 1] - f->y[0]);
    if (!(change > 0.05 * in->ambient)) {
        snprintf(out->reason, sizeof out->reason, "the pressure in the volume changes by %.2f bar only",
                 change / 1e5);
        return;
    }
    if (!choose(f, opened_at(f), out->reason))
        return;
    double factor = in->volume * ES_T_ANR / (in->T * ES_P_ANR * POLYTROPIC);
    double slope = on_integral(f, &none, &fit);
    size_t n = f->end - f->first;
    for (size_t i = 0; i < n; i++)
        f->rest[i] = f->y[f->first + i] - fit.b[0] - fit.b[1] * f->rest[f->first + i];
    struct es_correlation c = es_correlation_of(f->rest, n, 2);
    out->C = fabs(factor * slope);
    double relative = fit.s * sqrt(fit.cov[1][1] * c.inflation) / fabs(fit.b[1]);
    es_budget_add(&out->budget, ES_TERM_REPEAT, relative * out->C, fmax(1, c.effective - 2));
    es_budget_add(&out->budget, ES_TERM_COMMON, out->C * in->output->u.gain, INFINITY);
    es_budget_add(&out->budget, ES_TERM_COMMON, out->C * in->u_volume / in->volume, INFINITY);
    out->half_width = out->C * HALF_RANGE;
    es_budget_add(&out->budget, ES_TERM_COMMON, es_rectangular(out->half_width), INFINITY);
    vary(f, true, factor, out->C, &out->budget);
    finish(f, out);
}

/* A reading that is held until the next refresh is half a refresh old on the average; by how much more or
 * less depends on how refresh and sampling fall together. */
static void stated_delay(struct fitted *f)
{
    const struct es_channel_uncertainty *u = &f->in->flow->u;
    double interval = (f->t[f->n - 1] - f->t[0]) / (double)(f->n - 1);
    f->lag = fmax(0, u->lag - f->in->output->u.lag);
    f->age = u->refresh / 2;
    f->u_lag = es_rectangular(ES_LAG_KNOWN_TO * f->lag);
    f->u_age = hypot(u->time, es_rectangular(fmin(u->refresh, interval) / 2));
}

enum es_status es_conductance_of(const struct es_conductance_input *in, struct es_conductance *out,
                                 struct es_error *err)
{
    struct fitted f = {.in = in, .b = in->b, .u_b = in->u_b, .u_T = in->u_T};
    bool flow = !in->by_pressure && sensor_fits(in->flow, in->from);
    memset(out, 0, sizeof *out);
    if (!flow && !(in->volume > 0)) {
        snprintf(out->reason, sizeof out->reason, "%s, and the volume is not known",
                 in->by_pressure ? "the pressure is asked for"
                 : in->flow      ? "the flow is beyond the flow sensor's range"
                                 : "no series of the flow");
        return ES_OK;
    }
    enum es_status status = gather(in, flow ? in->flow : in->output, &f, out->reason, err);
    if (status == ES_OK && f.n >= LEAST) {
        if (flow) {
            stated_delay(&f);
            by_flow(&f, out);
        } else {
            by_pressure(&f, out);
        }
    } else if (status == ES_OK && out->reason[0] == '\0') {
        snprintf(out->reason, sizeof out->reason, "too few readings with pressures around them");
    }
    release(&f);
    return status;
}
