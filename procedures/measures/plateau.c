#include "procedures/measures/plateau.h"

#include <math.h>
#include <stdlib.h>

#include "procedures/measures/numeric/autocorrelation.h"
#include "procedures/measures/numeric/least_squares.h"
#include "procedures/measures/numeric/summary.h"

bool es_plateau_of(const double *t, const double *y, size_t n, struct es_plateau *out)
{
    if (n < 3)
        return false;
    double *rest = malloc(n * sizeof *rest);
    if (!rest)
        return false;
    struct es_plateau p = {.n = n, .mean = es_mean(y, n), .length = t[n - 1] - t[0]};
    struct es_fit line;
    double middle = 0.5 * (t[0] + t[n - 1]), scale = p.length > 0 ? 0.5 * p.length : 1;
    bool sloped = es_polynomial_fit(t, y, n, 1, middle, scale, &line);
    for (size_t i = 0; i < n; i++)
        rest[i] = y[i] - (sloped ? es_polynomial_at(&line, middle, scale, t[i]) : p.mean);
    struct es_correlation c = es_correlation_of(rest, n, sloped ? 2 : 1);
    double lost = sloped ? 2 : 1;
    double left = fmax((double)n - lost, 1);
    double square = 0;
    for (size_t i = 0; i < n; i++)
        square += rest[i] * rest[i];
    p.s = sqrt(square / left);
    p.u_mean = p.s / sqrt(c.effective);
    p.inflation = c.inflation;
    p.dof = fmax(c.effective - lost, 1);
    if (sloped) {
        p.drift = line.b[1] / scale;
        p.u_drift = p.s * sqrt(line.cov[1][1] * c.inflation) / scale;
    }
    free(rest);
    *out = p;
    return true;
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
