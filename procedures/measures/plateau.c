#include "procedures/measures/plateau.h"

#include <math.h>

#include "procedures/measures/numeric/autocorrelation.h"
#include "procedures/measures/numeric/passes.h"

/* Sum of (r[i] - r[i - 1])^2 of what the line leaves: its square and products tell it. */
static double steps_square(const double *t, const double *y, size_t n, const struct es_line *l)
{
    double first = y[0] - l->b0 - l->b1 * (t[0] - l->middle),
           last = y[n - 1] - l->b0 - l->b1 * (t[n - 1] - l->middle);
    return fmax(0, 2 * (l->square - l->one) - first * first - last * last);
}

/* `sums`: of the samples, where they are known. */
static bool plateau_of(const double *t, const double *y, size_t n, const struct es_line_sums *sums,
                       struct es_plateau *out)
{
    if (n < 3)
        return false;
    struct es_line line = es_line_through(t, y, n, sums);
    struct es_correlation c;
    if (!es_correlation_about(t, y, n, &line, &c))
        return false;
    struct es_plateau p = {.n = n, .mean = line.mean, .length = t[n - 1] - t[0]};
    double lost = line.sloped ? 2 : 1;
    p.s = sqrt(line.square / fmax((double)n - lost, 1));
    p.neighbours = sqrt(steps_square(t, y, n, &line) / (2 * (double)(n - 1)));
    p.u_mean = p.s * sqrt(c.inflation / (double)n);
    p.inflation = c.inflation;
    p.dof = fmax(c.effective - lost, 1);
    if (line.sloped) {
        p.drift = line.b1;
        p.u_drift = p.s * sqrt(c.inflation / line.sxx);
    }
    *out = p;
    return true;
}

bool es_plateau_of(const double *t, const double *y, size_t n, struct es_plateau *out)
{
    return plateau_of(t, y, n, NULL, out);
}

bool es_plateau_of_samples(const struct es_samples *s, struct es_plateau *out)
{
    return plateau_of(s->t, s->y, s->n, s->summed ? &s->sums : NULL, out);
}

double es_plateau_movement(const struct es_plateau *p)
{
    if (!(fabs(p->drift) > 2.5 * p->u_drift))
        return 0;
    return sqrt(p->drift * p->drift - p->u_drift * p->u_drift) * p->length;
}

void es_plateau_noise(struct es_budget *b, const struct es_plateau *p, const struct es_channel_uncertainty *u,
                      double factor)
{
    es_budget_add(b, ES_TERM_REPEAT, factor * p->u_mean, p->dof);
    es_budget_add(b, ES_TERM_REPEAT, factor * es_resolution_u(u->resolution, p->s), INFINITY);
}

void es_channel_terms(struct es_budget *b, const struct es_channel_uncertainty *u, double offset_share,
                      double reading, double factor)
{
    double dof = u->dof > 0 ? u->dof : INFINITY;
    es_budget_add(b, ES_TERM_COMMON, factor * u->offset * offset_share, dof);
    es_budget_add(b, ES_TERM_COMMON, factor * u->gain * reading, dof);
    es_budget_add(b, ES_TERM_REPEAT, factor * u->repeatability, INFINITY);
}
