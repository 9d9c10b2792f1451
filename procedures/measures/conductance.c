#include "procedures/measures/conductance.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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
#define MOST_BEYOND 0.02 /* share of flow readings out of range above which the sensor is not believed */

/* What is varied to see what it does to the result. */
struct shift {
    double upstream, downstream, b, lag;
};

/* Readings of one series (`y`) with the pressures at their times. */
struct fitted {
    const struct es_conductance_input *in;
    double *t, *y, *up, *down, *drive, *rest; /* up, down: Pa absolute */
    size_t *index;
    size_t n, first, end; /* first .. end - 1 count */
    double lag;           /* s: y is seen later than the pressures */
};

static void release(struct fitted *f)
{
    free(f->t);
    free(f->y);
    free(f->up);
    free(f->down);
    free(f->drive);
    free(f->rest);
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
    double **room[] = {&f->t, &f->y, &f->up, &f->down, &f->drive, &f->rest};
    for (size_t k = 0; k < sizeof room / sizeof room[0]; k++)
        if (!(*room[k] = calloc(out.n, sizeof(double))))
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
        f->index[f->n++] = out.index[i];
    }
free_pairs:
    es_pairs_free(&out);
    es_pairs_free(&supply);
    return status;
}

/* Drive at each reading, seen with the lag of the flow sensor. */
static double drives(struct fitted *f, const struct shift *d)
{
    double seen = 0, most = 0, lag = f->lag * (1 + d->lag);
    for (size_t i = 0; i < f->n; i++) {
        double now = es_orifice_drive(f->up[i] + d->upstream, f->down[i] + d->downstream, f->in->T,
                                      fmin(0.99, fmax(0, f->in->b + d->b)));
        if (i == 0 || !(lag > 0))
            seen = now;
        else
            seen += (now - seen) * -expm1(-(f->t[i] - f->t[i - 1]) / lag);
        f->drive[i] = seen;
        most = fmax(most, seen);
    }
    return most;
}

/* Slope of the readings on the drive through 0. */
static double through_origin(struct fitted *f, const struct shift *d, double *square)
{
    double product = 0;
    *square = 0;
    (void)drives(f, d);
    for (size_t i = f->first; i < f->end; i++) {
        product += f->y[i] * f->drive[i];
        *square += f->drive[i] * f->drive[i];
    }
    return *square > 0 ? product / *square : NAN;
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

/* What the pressures, b, the lag and the temperature leave open, by varying each. `C0`: without. */
static void vary(struct fitted *f, bool integral, double factor, double C0, struct es_budget *b)
{
    const struct es_conductance_input *in = f->in;
    const struct es_channel_uncertainty *uo = &in->output->u;
    double up = 0, u_out, u_sup = 0, square;
    for (size_t i = f->first; i < f->end; i++)
        up += f->up[i] / (double)(f->end - f->first);
    u_out = hypot(uo->offset, uo->gain * fmax(0, (in->supply ? f->down[f->first] : up) - in->ambient));
    if (in->supply)
        u_sup = hypot(in->supply->u.offset, in->supply->u.gain * (up - in->ambient));
    struct shift shifts[] = {{.upstream = in->supply ? u_sup : u_out},
                             {.downstream = in->supply ? u_out : 0},
                             {.upstream = in->u_ambient, .downstream = in->u_ambient},
                             {.b = in->u_b},
                             {.lag = es_rectangular(ES_LAG_KNOWN_TO)}};
    for (size_t k = 0; k < sizeof shifts / sizeof shifts[0]; k++) {
        struct es_fit fit;
        double C =
            factor * (integral ? on_integral(f, &shifts[k], &fit) : through_origin(f, &shifts[k], &square));
        if (isfinite(C))
            es_budget_add(b, ES_TERM_COMMON, fabs(C) - C0, INFINITY);
    }
    es_budget_add(b, ES_TERM_COMMON, 0.5 * C0 * in->u_T / in->T, INFINITY);
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

static void by_flow(struct fitted *f, struct es_conductance *out)
{
    const struct es_conductance_input *in = f->in;
    const struct es_channel_uncertainty *u = &in->flow->u;
    double sense = in->supply ? 1 : -1, most = 0, square, drive = 0, residual = 0;
    size_t opened = 0;
    const struct shift none = {0};
    for (size_t i = 0; i < f->n; i++)
        most = fmax(most, sense * f->y[i]);
    while (opened < f->n && !(sense * f->y[opened] >= COME_UP * most))
        opened++;
    if (!(most > 0) || !choose(f, opened, out->reason)) {
        if (!(most > 0))
            snprintf(out->reason, sizeof out->reason, "no air flows the way it should");
        return;
    }
    double slope = through_origin(f, &none, &square);
    for (size_t i = f->first; i < f->end; i++) {
        f->rest[i - f->first] = f->y[i] - slope * f->drive[i];
        residual += f->rest[i - f->first] * f->rest[i - f->first];
        drive += f->drive[i];
    }
    size_t n = f->end - f->first;
    struct es_correlation c = es_correlation_of(f->rest, n, 1);
    double s = sqrt(residual / (double)(n - 1));
    out->C = fabs(slope);
    es_budget_add(&out->budget, ES_TERM_REPEAT, s * sqrt(c.inflation / square), fmax(1, c.effective - 1));
    es_budget_add(&out->budget, ES_TERM_REPEAT, es_resolution_u(u->resolution, s) * drive / square, INFINITY);
    es_budget_add(&out->budget, ES_TERM_COMMON, u->offset * drive / square, INFINITY);
    es_budget_add(&out->budget, ES_TERM_COMMON, u->gain * out->C, INFINITY);
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

enum es_status es_conductance_of(const struct es_conductance_input *in, struct es_conductance *out,
                                 struct es_error *err)
{
    struct fitted f = {.in = in};
    bool flow = !in->by_pressure && sensor_fits(in->flow, in->from);
    memset(out, 0, sizeof *out);
    if (!flow && !(in->volume > 0)) {
        snprintf(out->reason, sizeof out->reason, "%s, and the volume is not known",
                 in->by_pressure ? "the pressure is asked for"
                 : in->flow      ? "the flow is beyond the flow sensor's range"
                                 : "no series of the flow");
        return ES_OK;
    }
    f.lag = flow ? fmax(0, in->flow->u.lag - in->output->u.lag) : 0;
    enum es_status status = gather(in, flow ? in->flow : in->output, &f, out->reason, err);
    if (status == ES_OK && f.n >= LEAST) {
        if (flow)
            by_flow(&f, out);
        else
            by_pressure(&f, out);
    } else if (status == ES_OK && out->reason[0] == '\0') {
        snprintf(out->reason, sizeof out->reason, "too few readings with pressures around them");
    }
    release(&f);
    return status;
}
