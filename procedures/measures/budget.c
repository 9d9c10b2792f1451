#include "procedures/measures/budget.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "procedures/measures/numeric/student.h"
#include "procedures/measures/propagate.h"

void es_budget_add(struct es_budget *b, enum es_term term, double u, double dof)
{
    double square = u * u;
    b->square[term] += square;
    if (isfinite(dof) && dof > 0)
        b->fourth_per_dof[term] += square * square / dof;
}

void es_budget_add_rectangle(struct es_budget *b, enum es_term term, double half_width)
{
    es_budget_add(b, term, es_rectangular(half_width), INFINITY);
    if (fabs(half_width) > b->half_width) {
        b->half_width = fabs(half_width);
        b->wide = term;
    }
}

double es_rectangular(double half_width)
{
    return fabs(half_width) / sqrt(3.0);
}

/* Beside noise of standard deviation sigma, the mean of readings in steps of q lies
 * sum over k of (-1)^k q / (k pi) exp(-2 pi^2 k^2 sigma^2 / q^2) sin(2 pi k x / q) off the value x: the
 * rounding error is a sawtooth, smoothed by the density of the noise. Its mean square over x evenly spread in
 * a step is q^2 / (2 pi^2) sum of exp(-4 pi^2 k^2 sigma^2 / q^2) / k^2: q^2 / 12 without noise. For sigma
 * above 0.4 q all but k = 1 is below 1e-9 of it. There the readings scatter by s^2 = sigma^2 + q^2 / 12. */
static double dithered(double scatter)
{
    double pi = 3.14159265358979323846;
    return exp(-2 * pi * pi * (scatter * scatter - 1 / 12.0)) / (sqrt(2.0) * pi);
}

/* Readings of two neighbours only scatter by less than half a step, and do not tell how wide the noise is. Of
 * a share p of the upper one, p (1 - p) q^2 = s^2: the value lies between the edge of the two, if the noise
 * is narrow, and the mean: a rectangle of (1/2 - p) q = sqrt(q^2 / 4 - s^2) from no error to that much. */
double es_resolution_u(double q, double s)
{
    if (!(q > 0))
        return 0;
    if (!(s > 0))
        return q / sqrt(12.0);
    double scatter = s / q, neighbours = sqrt(fmax(0, 0.25 - scatter * scatter) / 3);
    return q * fmax(neighbours, dithered(fmax(scatter, 0.5)));
}

void es_measured_start(struct es_measured *m, const char *name, enum es_dimension dimension)
{
    memset(m, 0, sizeof *m);
    snprintf(m->name, sizeof m->name, "%s", name);
    snprintf(m->reason, sizeof m->reason, "not evaluated");
    m->dimension = dimension;
    m->value = m->u = m->U = m->k = NAN;
    m->u_repeat = m->u_common = NAN;
    m->dof_repeat = m->dof_common = m->dof = INFINITY;
    m->role = ES_ROLE_NONE;
}

void es_measured_refuse(struct es_measured *m, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    vsnprintf(m->reason, sizeof m->reason, format, args);
    va_end(args);
    m->valid = false;
    m->value = m->u = m->U = m->k = m->u_repeat = m->u_common = NAN;
}

static double dof_of(const struct es_budget *b, enum es_term term)
{
    double square = b->square[term];
    return b->fourth_per_dof[term] > 0 ? square * square / b->fourth_per_dof[term] : INFINITY;
}

void es_measured_set(struct es_measured *m, double value, const struct es_budget *b)
{
    m->value = value;
    m->u_repeat = sqrt(b->square[ES_TERM_REPEAT]);
    m->u_common = sqrt(b->square[ES_TERM_COMMON]);
    m->dof_repeat = dof_of(b, ES_TERM_REPEAT);
    m->dof_common = dof_of(b, ES_TERM_COMMON);
    m->valid = true;
    m->reason[0] = '\0';
    es_measured_combine(m);
    if (b->half_width > 0)
        es_model_sum(m, b, b->wide, b->half_width);
    if (!isfinite(m->value) || !isfinite(m->U))
        es_measured_refuse(m, "the calculation gave no finite number");
}

void es_measured_combine(struct es_measured *m)
{
    double r2 = m->u_repeat * m->u_repeat, c2 = m->u_common * m->u_common;
    double below = 0;
    if (isfinite(m->dof_repeat) && r2 > 0)
        below += r2 * r2 / m->dof_repeat;
    if (isfinite(m->dof_common) && c2 > 0)
        below += c2 * c2 / m->dof_common;
    m->u = sqrt(r2 + c2);
    m->dof = below > 0 ? (r2 + c2) * (r2 + c2) / below : INFINITY;
    m->k = es_t_quantile(0.975, m->dof);
    m->U = m->k * m->u;
}
