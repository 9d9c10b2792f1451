#include "procedures/measures/unified.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/measures/numeric/passes.h"

#define PER_FINE_X     16 /* cells of x */
#define PER_FINE_THETA 5  /* steps of theta */
#define MOST_CELLS     4000
#define MOST_STEPS     1000
#define COVERAGE       0.95
#define NORMAL_97_5    1.959963984540054
#define CLEAR          8.0 /* standard uncertainties above all noise: a normal deviate */
#define FAR            9.0 /* standard uncertainties: no double tells the tail beyond from none */

struct table {
    size_t cells, steps, seen; /* `seen`: cell of x */
    double step;               /* of theta */
    double *edge, *below;      /* cells + 1 */
    double *share;             /* steps x cells: probability of a cell */
    double *best;              /* cells: largest of them over theta */
};

static void table_free(struct table *t)
{
    free(t->edge);
    free(t->below);
    free(t->share);
    free(t->best);
}

/* Cells so that x is the middle of one. */
static enum es_status table_new(const struct es_unified *u, struct table *t, struct es_error *err)
{
    double width = fmax(u->fine / PER_FINE_X, (u->most - u->least) / MOST_CELLS);
    size_t before = (size_t)ceil((u->x - u->least) / width), after = (size_t)ceil((u->most - u->x) / width);
    *t = (struct table){.cells = before + after + 1, .seen = before};
    t->steps = 2 + (size_t)fmin(u->top / u->fine * PER_FINE_THETA, MOST_STEPS);
    t->step = u->top / (double)(t->steps - 1);
    t->edge = malloc((t->cells + 1) * sizeof *t->edge);
    t->below = malloc((t->cells + 1) * sizeof *t->below);
    t->share = malloc(t->steps * t->cells * sizeof *t->share);
    t->best = calloc(t->cells, sizeof *t->best);
    if (!t->edge || !t->below || !t->share || !t->best) {
        table_free(t);
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for an interval.");
    }
    for (size_t i = 0; i <= t->cells; i++)
        t->edge[i] = u->x + ((double)i - (double)before - 0.5) * width;
    return ES_OK;
}

static void fill(const struct es_unified *u, struct table *t)
{
    for (size_t s = 0; s < t->steps; s++) {
        double *share = t->share + s * t->cells;
        u->distribution(u->context, t->edge, t->cells + 1, (double)s * t->step, t->below);
        for (size_t i = 0; i < t->cells; i++) {
            double between = t->below[i + 1] - t->below[i];
            share[i] = between > 0 ? between : 0;
            t->best[i] = share[i] > t->best[i] ? share[i] : t->best[i];
        }
    }
}

/* Probability of all x that come before the one seen in the order of this theta: it is accepted when that is
 * less than the coverage. Of x that are alike in rank, half. */
static double before_seen(const struct table *t, size_t s)
{
    const double *share = t->share + s * t->cells;
    double sum = 0, seen = t->best[t->seen] > 0 ? share[t->seen] / t->best[t->seen] : 0;
    for (size_t i = 0; i < t->cells; i++) {
        if (!(t->best[i] > 0))
            continue;
        double rank = share[i] / t->best[i];
        sum += rank > seen ? share[i] : rank == seen ? 0.5 * share[i] : 0;
    }
    return sum;
}

/* Most likely theta: of the steps, then by the parabola through its neighbours' logarithms. */
static double most_likely(const struct table *t)
{
    size_t at = 0;
    for (size_t s = 1; s < t->steps; s++)
        if (t->share[s * t->cells + t->seen] > t->share[at * t->cells + t->seen])
            at = s;
    if (at == 0 || at + 1 == t->steps)
        return (double)at * t->step;
    double y[3];
    for (size_t k = 0; k < 3; k++)
        y[k] = log(t->share[(at + k - 1) * t->cells + t->seen]);
    double bend = y[0] - 2 * y[1] + y[2];
    return t->step * ((double)at + (bend < 0 ? 0.5 * (y[0] - y[2]) / bend : 0));
}

enum es_status es_unified_of(const struct es_unified *u, struct es_unified_interval *out,
                             struct es_error *err)
{
    struct table t;
    enum es_status status = table_new(u, &t, err);
    if (status != ES_OK)
        return status;
    fill(u, &t);
    out->best = out->low = out->high = most_likely(&t);
    bool any = false;
    double last = 0;
    for (size_t s = 0; s < t.steps; s++) {
        double now = before_seen(&t, s), theta = (double)s * t.step;
        bool in = now<u->coverage, was = s> 0 && last < u->coverage;
        double between = s > 0 && now != last ? theta - t.step * (now - u->coverage) / (now - last) : theta;
        if (in && !any)
            out->low = fmin(out->low, s > 0 ? between : 0);
        if (in)
            out->high = fmax(out->high, theta);
        if (!in && was)
            out->high = fmax(out->high, between);
        any |= in;
        last = now;
    }
    table_free(&t);
    return ES_OK;
}

/* ---- The largest of many ---- */

struct largest {
    double *noise; /* at each edge: P of all others together */
    double *tails; /* room for two at each edge */
    const double *u;
    size_t n;
    double u_of_it;
};

/* P(|d| < x) of the others at each edge, the first `from` of which are not above 0. */
static void others_within(const struct largest *l, const double *edge, size_t from, size_t count)
{
    for (size_t i = 0; i < count; i++)
        l->noise[i] = i < from ? 0 : 1;
    for (size_t k = 0; k < l->n; k++) {
        size_t end = es_first_at(edge, count, CLEAR * l->u[k]); /* from there on they are surely within */
        if (end <= from)
            continue;
        es_normal_tails(edge + from, end - from, 0, l->u[k], l->tails);
        for (size_t i = from; i < end; i++)
            l->noise[i] *= 1 - 2 * l->tails[i - from];
    }
    es_normal_tails(edge + from, count - from, 0, l->u_of_it, l->tails);
    for (size_t i = from; i < count; i++) /* all but the one */
        l->noise[i] /= 1 - 2 * l->tails[i - from];
}

/* P(|d| < x) for d about theta, at each edge, times that of the others. */
static void largest_distribution(void *context, const double *edge, size_t count, double theta, double *below)
{
    struct largest *l = context;
    size_t from = es_first_at(edge, count, nextafter(0, 1)), end;
    double *above = l->tails, *under = l->tails + count, far = FAR * l->u_of_it;
    if (theta == 0)
        others_within(l, edge, from, count);
    memset(l->tails, 0, 2 * count * sizeof *l->tails);
    if ((end = es_first_at(edge, count, theta + far)) > from)
        es_normal_tails(edge + from, end - from, theta, l->u_of_it, above + from);
    if ((end = es_first_at(edge, count, far - theta)) > from)
        es_normal_tails(edge + from, end - from, -theta, l->u_of_it, under + from);
    for (size_t i = 0; i < count; i++)
        below[i] = l->noise[i] * (1 - above[i] - under[i]);
}

enum es_status es_unified_largest(double largest, double u_of_it, const double *u, size_t n, double *value,
                                  double *doubt, struct es_error *err)
{
    double most_u = u_of_it;
    for (size_t i = 0; i < n; i++)
        most_u = fmax(most_u, u[i]);
    /* what noise alone reaches once in a thousand times, or more */
    double alone = most_u * sqrt(2 * log(1000 * fmax((double)n, 1)));
    *value = largest;
    *doubt = u_of_it;
    if (largest > alone + CLEAR * u_of_it)
        return ES_OK;
    double *room = calloc(3 * (MOST_CELLS + 4), sizeof *room);
    struct largest l = {room, NULL, u, n, u_of_it};
    if (!room)
        return es_fail(err, ES_NO_MEMORY, "Not enough memory for an interval.");
    l.tails = room + MOST_CELLS + 4;
    struct es_unified job = {.distribution = largest_distribution,
                             .context = &l,
                             .least = 0,
                             .most = fmax(largest, alone) + 6 * u_of_it,
                             .x = largest,
                             .top = largest + 4 * u_of_it,
                             .fine = u_of_it,
                             .coverage = COVERAGE};
    struct es_unified_interval in;
    enum es_status status = es_unified_of(&job, &in, err);
    free(room);
    if (status == ES_OK) {
        *value = in.best;
        *doubt = fmax(in.high - in.best, in.best - in.low) / NORMAL_97_5;
    }
    return status;
}
